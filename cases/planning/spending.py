"""A budget over a whole site: what to buy so that the proven average of cases served is greatest.

With P(case c is short) at most m_c(S), the sum of `misses` over its draws, a plan S is worth

    sum over the cases of max(0, 1 - m_c(S))    cases served, at least.

This value is cheap for hundreds of items. Its best plan is an integer programme, solved where the solver is
there; else a heuristic (`buying`) answers, beside a bound that no plan exceeds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.buying import Move, Purse, search, trimmed
from cases.planning.fit import joint
from cases.planning.kinds import CaseDemand, PlanningError
from cases.planning.milp import installed
from cases.planning.misses import Draws, Misses, misses
from cases.planning.parts import Floats, Ints
from cases.planning.spending_programme import best_plan, linear_ceiling

SECONDS = 2.0
"""Time that the integer programme may take; what it has found by then is used, with its bound."""

TIE = 1e-9


@dataclass(frozen=True)
class Spent:
    """Units to add and what they are worth.

    Attributes
    ----------
    plan : int array, shape (items,)
    cost : float
    served, before : float
        Cases served, at least, with and without the plan.
    bound : float
        Proven: no plan within the budget has a greater `served`.
    exact : bool
        Proven: nothing has a greater `served`, but for what is left out as not worth a unit.
    solver : bool
        The programme was asked; else the heuristic alone.
    each : float array, shape (items,)
        By how much `served` would fall without the item's units: what it buys in whole cases.
    """

    plan: Ints
    cost: float
    served: float
    before: float
    bound: float
    exact: bool
    solver: bool
    each: Floats

    @property
    def gap(self) -> float:
        """By how much another plan's `served` could be greater, at most."""
        return max(0.0, self.bound - self.served)


class AtLeast:
    """The value of plans by the bound of `misses`; see `buying.Value`."""

    def __init__(self, table: Misses, start: Ints, *, together: bool = False) -> None:
        """`together`: the chance at least that none is short, in place of the cases served."""
        self.table, self.start, self._together = table, start, together
        self._order = np.argsort(table.draws.item, kind="stable").astype(np.int64)
        counts = np.bincount(table.draws.item, minlength=len(start))
        self._first, self._count = np.cumsum(counts) - counts, counts

    def worth(self, plan: Ints) -> float:
        return self._of(self.table.short(self.start + plan))

    def after(self, plan: Ints, moves: Sequence[Move]) -> Floats:
        """All moves at once: the pairs of their items, by (move, case)."""
        short = self.table.short(self.start + plan)
        move, item, n = (
            np.array([(k, i, n) for k, m in enumerate(moves) for i, n in m], dtype=np.int64).reshape(-1, 3).T
        )
        counts = self._count[item]
        skip = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
        pairs = self._order[np.repeat(self._first[item], counts) + skip]
        now = (self.start + plan)[self.table.draws.item[pairs]]
        change = self._at(pairs, now + np.repeat(n, counts)) - self._at(pairs, now)
        keys = np.repeat(move, counts) * self.table.draws.cases + self.table.draws.case[pairs]
        distinct, inverse = np.unique(keys, return_inverse=True)
        change = np.bincount(inverse.ravel(), weights=change, minlength=len(distinct)).astype(np.float64)
        case, line = distinct % self.table.draws.cases, distinct // self.table.draws.cases
        if self._together:
            total = short.sum() + np.bincount(line, weights=change, minlength=len(moves))
            return np.asarray(1.0 - total, dtype=np.float64)
        gain = np.maximum(0.0, 1.0 - short[case] - change) - np.maximum(0.0, 1.0 - short[case])
        gained = np.bincount(line, weights=gain, minlength=len(moves)).astype(np.float64)
        return np.asarray(self._of(short) + gained, dtype=np.float64)

    def bundles(self, plan: Ints) -> Sequence[Move]:
        """For each case the items that it misses most, as many as bring it below being short for sure."""
        at = self.table.at(self.start + plan)
        short = self.table.sums(at)
        found: dict[Move, None] = {}
        for case in np.flatnonzero(short > 0.0).tolist():
            own = np.flatnonzero(self.table.draws.case == case)
            own = own[np.argsort(-at[own], kind="stable")]
            reached = int(np.searchsorted(np.cumsum(at[own]), short[case] - 1.0)) + 1
            for size in {2, 3, min(reached, len(own))}:
                found[tuple(sorted((int(i), 1) for i in self.table.draws.item[own[:size]]))] = None
        return list(found)

    def _at(self, pairs: Ints, units: Ints) -> Floats:
        column = np.minimum(units, self.table.width - 1)
        return np.asarray(self.table.chance[pairs, column], dtype=np.float64)

    def _of(self, short: Floats) -> float:
        if self._together:
            # Not cut off at nought, so that a hopeless list still knows the better plan.
            return 1.0 - float(short.sum())
        return float(np.maximum(0.0, 1.0 - short).sum())


def spend(table: Misses, start: Ints, purse: Purse, *, seconds: float = SECONDS, grain: float = 0.0) -> Spent:
    """What to buy within a purse so that the most cases are served, at least.

    Parameters
    ----------
    table : Misses
    start : int array, shape (items,)
        Units that are there.
    purse : Purse
    seconds : float
        Time for the programme.
    grain : float
        In the end a unit that adds no more than this to the cases served is left out.

    Returns
    -------
    Spent
        Without the solver, and within the time with it, the same for the same input.

    Examples
    --------
    >>> chance, nought = np.array([0.6, 0.4, 0.3, 0.7]), np.zeros(4)
    >>> table = misses(Draws(np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]), chance, nought, nought))
    >>> purse = Purse(np.ones(2), np.array([2, 2]), 2.0)
    >>> found = spend(table, np.zeros(2, dtype=np.int64), purse)
    >>> found.plan.tolist(), round(found.served, 2), round(found.bound, 2)
    ([1, 1], 1.54, 1.54)
    """
    value = AtLeast(table, start)
    plan, bound = search(value, purse), linear_ceiling(table, start, purse)
    proven, solver = False, bool(installed() and purse.budget > 0.0 and purse.most.any())
    if solver:
        other, limit, proven = best_plan(table, start, purse, seconds)
        bound = min(bound, limit)
        if other is not None and value.worth(other) > value.worth(plan):
            plan = trimmed(value, other)
    bound = max(bound, value.worth(plan))
    exact = proven or bound - value.worth(plan) <= TIE
    plan = trimmed(value, plan, max(grain, TIE))
    served = value.worth(plan)
    return Spent(
        plan=plan,
        cost=purse.price(plan),
        served=served,
        before=value.worth(np.zeros_like(plan)),
        bound=bound,
        exact=exact,
        solver=solver,
        each=_each(value, plan, served),
    )


def _each(value: AtLeast, plan: Ints, served: float) -> Floats:
    bought = np.flatnonzero(plan).tolist()
    each = np.zeros(len(plan))
    if bought:
        each[bought] = served - value.after(plan, [((item, -int(plan[item])),) for item in bought])
    return each


def draws_of(cases: Sequence[CaseDemand]) -> tuple[tuple[str, ...], Draws]:
    """The draws of cases in their order, and the items in the order of their numbers.

    Demands of a case that do not exclude each other (both sides on one item) count as one or as two; a case
    that may ask for three of one item is refused, and so is one that needs sets.
    """
    items: dict[str, int] = {}
    rows: list[tuple[int, int, float, float]] = []
    for number, case in enumerate(cases):
        if case.needs:
            raise PlanningError(f"Case {case.ref}: sets come back and are not bought by the unit.")
        law = joint(case)
        if law.impossible:
            # Short whatever is there: it asks for something that nobody has.
            rows.append((number, items.setdefault("", len(items)), 1.0, 0.0))
            continue
        for item, asked in sorted(law.asked.items()):
            if len(asked) > 3:
                raise PlanningError(f"Case {case.ref} may ask for three or more of {item}.")
            one, two = (*asked[1:].tolist(), 0.0)[:2]
            rows.append((number, items.setdefault(item, len(items)), one, two))
    case_of, item_of, one, two = (
        (np.array(column) for column in zip(*rows, strict=True))
        if rows
        else (np.zeros(0, dtype=np.int64),) * 4
    )
    draws = Draws(
        case_of.astype(np.int64),
        item_of.astype(np.int64),
        one.astype(np.float64),
        two.astype(np.float64),
        np.zeros(len(rows)),
    )
    return tuple(items), draws


def at_least(
    cases: Sequence[CaseDemand], stock: Mapping[str, int], aim: str
) -> tuple[tuple[str, ...], AtLeast, Ints]:
    """The items of a list, the value of plans for it by the bound, and what is there of each."""
    items, draws = draws_of(cases)
    start = np.array([stock.get(item, 0) for item in items], dtype=np.int64)
    return items, AtLeast(misses(draws), start, together=aim == "all"), start
