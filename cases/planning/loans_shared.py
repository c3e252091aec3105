"""Loans for cases that share a shelf: what the others leave counts as what is there.

First each case is taken to find the whole shelf. If then, with everything drawn in order by `sharing`, a case
misses its target, what earlier cases leave for each (at most taken: proven) is fed back once as what is
there. Either way the answer is checked by `sharing` with the arrivals on the shelf, where a loaned unit that
one case takes is gone for the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cases.planning import sharing
from cases.planning.agenda import Agenda, Visit
from cases.planning.bounds import Demands
from cases.planning.kinds import CaseAnswer, CaseDemand, SetStock, Shelf, UnitStock
from cases.planning.loans import FAINT, SECONDS, Proposal, propose
from cases.planning.loans_cover import Action, Present
from cases.planning.loans_programme import TIE
from cases.planning.parts import Floats

DAY = 24 * 60
"""Turnaround, in minutes, of a lent set of a design of which the shelf knows none."""


@dataclass(frozen=True)
class SharedProposal:
    """A proposal, and what each case then finds after those before it.

    Attributes
    ----------
    proposal : Proposal
    answers : tuple of CaseAnswer
        From `sharing.assess` on the shelf with what was chosen; exact or "at most", as they say.
    fed_back : bool
        What earlier cases leave was fed back.
    missed : tuple of int
        Refs of cases that still miss the target there, in order; hopeless ones included.
    """

    proposal: Proposal
    answers: tuple[CaseAnswer, ...]
    fed_back: bool
    missed: tuple[int, ...]


def propose_shared(
    cases: Sequence[CaseDemand],
    shelf: Shelf,
    actions: Sequence[Action],
    target: float,
    *,
    seconds: float = SECONDS,
    faint: float = FAINT,
    solver: bool | None = None,
) -> SharedProposal:
    """The cheapest actions for cases in order on one shelf.

    Parameters
    ----------
    cases : sequence of CaseDemand, in the order in which they draw (see `sharing.assess`)
    shelf : Shelf
        What is there, held and due before anything is done.
    actions, target, seconds, faint, solver : see `loans.propose`

    Returns
    -------
    SharedProposal

    Raises
    ------
    PlanningError
        As `loans.propose` and `sharing.assess`.
    """
    agenda = Agenda(cases, shelf)
    demands = Demands(agenda.asked)
    alone = [_present(agenda, demands, agenda.visits([n])[0]) for n in range(len(cases))]
    first = propose(cases, alone, actions, target, seconds=seconds, faint=faint, solver=solver)
    checked = _checked(cases, shelf, actions, first, target, fed_back=False)
    hopeless = {one.ref for one in first.hopeless}
    if all(ref in hopeless for ref in checked.missed):
        return checked
    shared = [_present(agenda, demands, visit) for visit in agenda.visits(range(len(cases)))]
    again = propose(cases, shared, actions, target, seconds=seconds, faint=faint, solver=solver)
    return _checked(cases, shelf, actions, again, target, fed_back=True)


def _present(agenda: Agenda, demands: Demands, visit: Visit) -> Present:
    """P(at least 1, 2, … are there) of all that a case may ask for, at least."""
    found: dict[str, tuple[float, ...]] = {}
    for item, law in agenda.asked[visit.position].items():
        most = len(law) - 1
        if item in visit.turns:
            lack: Floats = demands.lack(*visit.turns[item])
            found[item] = tuple((1.0 - lack[1 : most + 1]).tolist())
        else:
            found[item] = (1.0,) * most
    return found


def _checked(
    cases: Sequence[CaseDemand],
    shelf: Shelf,
    actions: Sequence[Action],
    proposal: Proposal,
    target: float,
    *,
    fed_back: bool,
) -> SharedProposal:
    answers = sharing.assess(cases, with_arrivals(cases, shelf, actions, proposal))
    # Pairs without a rule are not counted as short here: no action makes a rule.
    missed = tuple(answer.ref for answer in answers if answer.p_short_low > 1.0 - target + TIE)
    return SharedProposal(proposal, answers, fed_back, missed)


def with_arrivals(
    cases: Sequence[CaseDemand], shelf: Shelf, actions: Sequence[Action], proposal: Proposal
) -> Shelf:
    """The shelf with all that the chosen actions bring, from the day of each.

    Names that are sets of the shelf, or that a case lists for a need, come as sets; others as units.
    """
    designs = set(shelf.sets) | {o.item for case in cases for need in case.needs for o in need.options}
    units, sets = dict(shelf.units), dict(shelf.sets)
    turnaround = max((stock.turnaround for stock in sets.values()), default=DAY)
    by_ref = {action.ref: action for action in actions}
    for ref, times in proposal.chosen:
        action = by_ref[ref]
        for item, n in action.brings.items():
            if item not in designs:
                stock = units.get(item, UnitStock())
                units[item] = replace(stock, arrivals=stock.arrivals + (action.arrives,) * (n * times))
                continue
            starts = [case.start for case in cases if case.day >= action.arrives]
            if starts:
                own = sets.get(item, SetStock(0, turnaround))
                sets[item] = replace(own, due=own.due + (min(starts),) * (n * times))
    return Shelf(units, sets)
