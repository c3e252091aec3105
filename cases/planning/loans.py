"""Loans, single orders and transfers at least cost, so that every case reaches its target.

Choose how often to do each action a, so that the sum of cost_a x_a is least and P(case c covered) >= tau for
every case c. What an action brings in time is taken to be free for each case (`loans_cover`), so less never
covers more. Solved as an integer programme with an exact check of its answer (`loans_programme`); without
the solver, or when its time is over, a greedy answers: everything is done, then each action is dropped that
no case needs, the dearest first. The answer says which it was, and how far from the least cost it can be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from time import monotonic
from typing import Literal

from cases.planning.kinds import SLACK, CaseDemand, PlanningError
from cases.planning.loans_cover import Action, Present, Wish, brought, short
from cases.planning.loans_programme import TIE, cheapest
from cases.planning.milp import installed

FAINT = 1e-6
"""Demands less likely than this are counted as lost by the programme; the check of its answer counts them."""

SECONDS = 5.0

Method = Literal["programme", "greedy"]


@dataclass(frozen=True)
class CaseShort:
    """A case by its ref, and P(short)."""

    ref: int
    p_short: float


@dataclass(frozen=True)
class Proposal:
    """What to do, and what it comes to.

    Attributes
    ----------
    chosen : tuple of (ref, times), in the order of the actions
    cost : float
    bound : float
        Proven: no choice that reaches the targets costs less (with faint demands counted as lost).
    method : "programme" or "greedy"
    proven : bool
        The cost is the least, by the programme.
    cases : tuple of CaseShort
        Every case with P(short) after what is chosen, exact where what is there is certain.
    hopeless : tuple of CaseShort
        Cases that miss the target even if everything is done, with P(short) then. The others are solved for.
    charged : float
        The greatest chance of faint demands in one case that the programme counted as lost.
    rounds : int
        Programmes solved.
    """

    chosen: tuple[tuple[str, int], ...]
    cost: float
    bound: float
    method: Method
    proven: bool
    cases: tuple[CaseShort, ...]
    hopeless: tuple[CaseShort, ...]
    charged: float
    rounds: int

    @property
    def gap(self) -> float:
        """By how much a cheaper choice could cost less, at most, as a share of the cost."""
        return max(0.0, self.cost - self.bound) / self.cost if self.cost > 0.0 else 0.0


def propose(
    cases: Sequence[CaseDemand],
    present: Sequence[Present],
    actions: Sequence[Action],
    target: float,
    *,
    seconds: float = SECONDS,
    faint: float = FAINT,
    solver: bool | None = None,
) -> Proposal:
    """The cheapest actions with which every case reaches its target.

    Parameters
    ----------
    cases : sequence of CaseDemand
    present : sequence of mapping of item to chances, one per case
        P(at least 1, 2, … are there) for that case before anything is done.
    actions : sequence of Action
    target : float
        tau, above 0 and at most 1.
    seconds : float
        Wall time for the bound and the programmes; then the greedy answers, with the bound found so far, and
        stops dropping after as long again: its answer serves at every moment, only dearer.
    faint : float
        Demands less likely than this are counted as lost; if that alone leaves no answer, none are.
    solver : bool, optional
        Whether to use the solver; if left out, where it is installed.

    Returns
    -------
    Proposal

    Raises
    ------
    PlanningError
        A target outside its range, two actions of one name, or as many `present` as cases are not given.

    Notes
    -----
    For independent slots, F linear in what is there, sum of log F >= log tau is concave: outer approximation
    with tangents is exact and finite (Duran & Grossmann 1986, doi:10.1007/BF02592064).

    Examples
    --------
    >>> from cases.planning.kinds import SlotLaw
    >>> case = CaseDemand(1, (SlotLaw("femoral", ("F3", "F4", "F5"), (2, 7, 1)),), day=5)
    >>> several = [
    ...     Action("whole set", "loan", 90.0, {"F3": 1, "F4": 1, "F5": 1}, arrives=3),
    ...     Action("one F3", "order", 20.0, {"F3": 1}, arrives=4),
    ...     Action("one F5", "order", 20.0, {"F5": 1}, arrives=6),
    ... ]
    >>> best = propose([case], [{"F4": (1.0,)}], several, 0.9)
    >>> best.chosen, best.cost, [round(one.p_short, 3) for one in best.cases]
    ((('one F3', 1),), 20.0, [0.1])
    """
    if not 0.0 < target <= 1.0:
        raise PlanningError("A target lies above 0 and is at most 1.")
    if len(present) != len(cases):
        raise PlanningError("What is there is given for each case.")
    if len({action.ref for action in actions}) != len(actions):
        raise PlanningError("Two actions have the same name.")
    wishes = [Wish.of(case, own) for case, own in zip(cases, present, strict=True)]
    return _Search(wishes, actions, target).answer(seconds, faint, installed() if solver is None else solver)


class _Search:
    """The cases that can be helped, and who is short with a choice."""

    def __init__(self, wishes: Sequence[Wish], actions: Sequence[Action], target: float) -> None:
        self.wishes, self.actions, self.target = wishes, actions, target
        self.everything = tuple(action.most for action in actions)
        self.allowed = 1.0 - target + max(SLACK, TIE)
        shorts = self.shorts(wishes, self.everything)
        self.hopeless = [n for n, p in enumerate(shorts) if p > self.allowed]
        self.able = [wish for n, wish in enumerate(wishes) if n not in set(self.hopeless)]
        self._helped = [[wish for wish in self.able if _helps(action, wish)] for action in actions]

    def shorts(self, wishes: Sequence[Wish], chosen: Sequence[int]) -> list[float]:
        return [short(wish, brought(wish, self.actions, chosen)) for wish in wishes]

    def missed(self, chosen: Sequence[int]) -> list[int]:
        """The cases that could be helped and miss the target with a choice."""
        return [n for n, p in enumerate(self.shorts(self.able, chosen)) if p > self.allowed]

    def spares(self, number: int, chosen: Sequence[int]) -> bool:
        """Whether a choice with less of one action still does, given that it did with more of it."""
        return all(p <= self.allowed for p in self.shorts(self._helped[number], chosen))

    def answer(self, seconds: float, faint: float, solver: bool) -> Proposal:
        end = monotonic() + seconds
        bound, charged, rounds = self.needed(end), 0.0, 0
        if solver:
            for dropped in (faint, 0.0) if faint > 0.0 else (0.0,):
                found = cheapest(
                    self.able,
                    self.actions,
                    self.target,
                    faint=dropped,
                    left=lambda: end - monotonic(),
                    enough=self.missed,
                )
                rounds, charged = rounds + found.rounds, found.charged
                if found.chosen is not None:
                    cost = self.cost(found.chosen)
                    bound = cost if found.proven else min(cost, max(bound, found.bound))
                    return self._told(found.chosen, bound, "programme", found.proven, charged, rounds)
                if not (found.proven and charged > 0.0):
                    bound = max(bound, found.bound if not found.proven else 0.0)
                    break
        chosen = self.dropped(monotonic() + seconds)
        cost = self.cost(chosen)
        return self._told(chosen, min(bound, cost), "greedy", False, charged, rounds)

    def cost(self, chosen: Sequence[int]) -> float:
        costs = (action.cost * times for action, times in zip(self.actions, chosen, strict=True))
        return sum(costs, 0.0)

    def dropped(self, end: float) -> tuple[int, ...]:
        """All of it done, less what no case needs, the dearest first; of equal cost the last first."""
        chosen = list(self.everything)
        order = sorted(range(len(chosen)), key=lambda n: (-self.actions[n].cost, -n))
        for number in order:
            while chosen[number] and monotonic() < end and self.spares(number, _less(chosen, number)):
                chosen[number] -= 1
        return tuple(chosen)

    def needed(self, end: float) -> float:
        """A cost that no choice undercuts: of what must be done even with all else done, as time allows."""
        must = 0.0
        for number, action in enumerate(self.actions):
            if monotonic() >= end:
                break
            if action.most and not self.spares(number, _less(self.everything, number, action.most)):
                must += action.cost
        return must

    def _told(
        self,
        chosen: Sequence[int],
        bound: float,
        method: Method,
        proven: bool,
        charged: float,
        rounds: int,
    ) -> Proposal:
        after = self.shorts(self.wishes, chosen)
        best = self.shorts([self.wishes[n] for n in self.hopeless], self.everything)
        refs = [wish.case.ref for wish in self.wishes]
        return Proposal(
            chosen=tuple(
                (action.ref, times) for action, times in zip(self.actions, chosen, strict=True) if times
            ),
            cost=self.cost(chosen),
            bound=bound,
            method=method,
            proven=proven,
            cases=tuple(CaseShort(ref, p) for ref, p in zip(refs, after, strict=True)),
            hopeless=tuple(CaseShort(refs[n], p) for n, p in zip(self.hopeless, best, strict=True)),
            charged=charged,
            rounds=rounds,
        )


def _helps(action: Action, wish: Wish) -> bool:
    """Whether an action brings in time what a case may ask for."""
    return action.arrives <= wish.case.day and any(
        item in action.brings
        for part in wish.parts
        for ask in part
        for item in (*(item for item, _ in ask.units), *(item for needs in ask.needs for item in needs))
    )


def _less(chosen: Sequence[int], number: int, by: int = 1) -> list[int]:
    return [times - by if n == number else times for n, times in enumerate(chosen)]
