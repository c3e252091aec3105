"""Cases that share stock, in order: a list, a day, a fortnight.

A case draws its whole demand; if every unit and set is there it takes them, else it is short and takes
nothing. Exact as long as it can be afforded (`flows`), then a proven upper bound (`bounds`), marked
`exact=False`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from cases.planning.agenda import Agenda, Visit
from cases.planning.bounds import Demands, bound
from cases.planning.coverage import impossible, ranked
from cases.planning.fit import Joint, joint
from cases.planning.flows import Finding, Flow, Purse
from cases.planning.kinds import CaseAnswer, CaseDemand, ListAnswer, Shelf
from cases.planning.parts import Unions
from cases.planning.stores import Sets

MOST_IN_CIRCLE = 7
"""Cases that are taken together to answer for the last of them."""
CIRCLE_BUDGET = 8_000_000
"""Work for all such circles of one call (see `flows.Purse`)."""


def assess(
    cases: Sequence[CaseDemand],
    shelf: Shelf,
    laws: Sequence[Joint] | None = None,
    *,
    good_enough: float = 0.0,
) -> tuple[CaseAnswer, ...]:
    """What each case finds after the cases before it.

    Parameters
    ----------
    cases : sequence of CaseDemand, length J
        In the order in which they draw: neither `start` nor `day` may decrease. A list's order of position
        is kept by lifting a start that lies before its predecessor's.
    shelf : Shelf
    laws : sequence of Joint, length J, optional
        `fit.joint` of each case if it is at hand.
    good_enough : float
        A chance of short for which nobody asks what would help: with a bound at most this, `one_more` stays
        empty.

    Returns
    -------
    tuple of CaseAnswer, length J, in the same order

    Raises
    ------
    PlanningError
        Cases out of order, or two with one `ref`.
    TooManyOutcomesError
        See `fit.joint`.

    Notes
    -----
    Unknown outcomes draw their items like others; they change only the case's own low and high. The same
    input gives the same answer to the last bit: limits are on work, not on time.
    """
    agenda = Agenda(cases, shelf, laws)
    visits = agenda.visits(range(len(cases)))
    flow, purse = Flow(visits), Purse(CIRCLE_BUDGET)
    demands, linked = Demands(agenda.asked), Unions()
    answers = []
    for visit in visits:
        if visit.law.impossible:
            answers.append(impossible(visit.law.case))
            continue
        _link(visit, linked)
        finding = flow.visit(visit, explain=True)
        if finding is None or _in_noise(finding):
            finding = in_circle(agenda, visit, purse)
        exact = finding is not None
        if finding is None:
            finding = bound(visit, demands, linked, explain=True, good_enough=good_enough)
        answers.append(_answer(visit, finding, exact, cases))
    return tuple(answers)


def in_circle(agenda: Agenda, visit: Visit, purse: Purse) -> Finding | None:
    """Exact finding from the earlier cases that can matter to this one alone, if these are few enough.

    `agenda.visits` of all cases must have been asked for once.
    """
    positions = agenda.circle(visit.position) if purse.left > 0 else []
    if not 0 < len(positions) <= MOST_IN_CIRCLE:
        return None
    visits = agenda.visits(positions)
    flow = Flow(visits, purse=purse)
    finding = None
    for one in visits:
        finding = None if one.law.impossible else flow.visit(one, explain=one.position == visit.position)
        if finding is None and flow.broken:
            return None
    return None if finding is None or _in_noise(finding) else finding


def what_if(cases: Sequence[CaseDemand], shelf: Shelf, item: str, more: int = 1) -> tuple[CaseAnswer, ...]:
    """`assess` with `more` further free units (or sets) of `item` on the shelf from the start."""
    return assess(cases, shelf.with_more(item, more))


def serve_list(cases: Sequence[CaseDemand], shelf: Shelf) -> ListAnswer:
    """Chances of the list as a whole: all served, which case is the first short, how many are short.

    Parameters and errors as `assess`. Unknown pairs are taken as fitting.
    """
    agenda = Agenda(cases, shelf)
    visits = agenda.visits(range(len(cases)))
    served, count, careful = Flow(visits, "served"), Flow(visits, "count"), Flow(visits, "served")
    first_short, exact = [], True
    for visit in visits:
        if visit.law.impossible:
            first_short.append(served.kept())
            for flow in (served, count, careful):
                flow.skip()
            continue
        before = served.kept()
        finding = served.visit(visit)
        exact = finding is not None and count.visit(visit) is not None and exact
        careful.visit(_known_only(visit))
        if not exact or finding is None:
            break
        first_short.append(before * finding.failed if before > 0 else 0.0)
    if not exact or served.broken or count.broken or careful.broken:
        return _list_bound(agenda, visits)
    spread = count.spread()
    spread = np.concatenate([spread, np.zeros(len(cases) + 1 - len(spread))])
    any_short = float(spread[1:].sum())
    expected = float(spread @ np.arange(len(spread)))
    return ListAnswer(
        True,
        served.kept(),
        careful.kept(),
        any_short,
        tuple(first_short),
        tuple(spread.tolist()),
        expected,
    )


def over_demand(cases: Sequence[CaseDemand], counts: dict[str, int]) -> dict[str, float]:
    """Per item, the chance that all cases together ask for more than `counts` has of it, served or not."""
    asked = [joint(case).asked for case in cases]
    found = {}
    for item, there in counts.items():
        total = np.ones(1)
        for one in asked:
            total = np.convolve(total, one.get(item, np.ones(1)))
        found[item] = float(total[there + 1 :][::-1].sum())
    return found


def _known_only(visit: Visit) -> Visit:
    """The visit without its unknown outcomes."""
    return replace(visit, known_only=True)


def _link(visit: Visit, linked: Unions) -> None:
    for items in visit.part_items:
        linked.join(("item", item) for item in items)


def _in_noise(finding: Finding) -> bool:
    return finding.total.short_high < finding.noise


def _answer(visit: Visit, finding: Finding, exact: bool, cases: Sequence[CaseDemand]) -> CaseAnswer:
    total = finding.total
    return CaseAnswer(
        visit.law.case.ref,
        False,
        exact,
        _clipped(total.cover_low),
        _clipped(total.cover_high),
        _clipped(total.short_low),
        _clipped(total.short_high),
        total.unknown,
        ranked(finding.missing),
        ranked(_unserved(visit)),
        _competitors(visit, finding.missing, cases),
        finding.more,
    )


def _clipped(p: float) -> float:
    return min(1.0, max(0.0, p))


def _unserved(visit: Visit) -> dict[str, float]:
    found: dict[str, float] = {}
    for part in visit.law.rows:
        for need in part.needs:
            for name, p in need.unserved(part.p).items():
                found[name] = found.get(name, 0.0) + p
    return found


def _competitors(visit: Visit, missing: Mapping[str, float], cases: Sequence[CaseDemand]) -> tuple[int, ...]:
    """Earlier cases that may draw on missing items beyond their own hold; for sets, whose set may still be
    away."""
    positions = set()
    for item, p in missing.items():
        track, t = visit.turns[item]
        for s in range(t):
            away = not isinstance(track.store, Sets) or track.store.meets(s, t)
            if p > 0 and away and track.most[s] > track.store.own(s):
                positions.add(track.takers[s])
    return tuple(cases[position].ref for position in sorted(positions))


def _list_bound(agenda: Agenda, visits: Sequence[Visit]) -> ListAnswer:
    """P(all served) at least, and cases short at most: the bounds of the cases added up."""
    demands, linked = Demands(agenda.asked), Unions()
    expected = careful = 0.0
    for visit in visits:
        if visit.law.impossible:
            expected, careful = expected + 1.0, careful + 1.0
            continue
        _link(visit, linked)
        finding = bound(visit, demands, linked, explain=False)
        expected += min(1.0, finding.failed)
        careful += finding.total.short_high
    short, careful = min(1.0, expected), min(1.0, careful)
    return ListAnswer(False, 1.0 - short, 1.0 - careful, short, (), (), expected)
