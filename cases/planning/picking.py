"""The shortest list for a target, gaps between sizes allowed: which units, and which sets serve them.

A size counts only with the sets that serve it. Which sets are brought is tried out, cheapest first; given
them, outcomes that they do not serve are lost, and what units may be left out of the rest is searched
(`leaving`). Parts are independent, so the best of each for every cost is enough.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from cases.planning.bringing import BY_NUMBER, Costs, Shortest, Stock
from cases.planning.coverage import missed
from cases.planning.fit import Joint, joint, marginals
from cases.planning.kinds import SLACK, CaseDemand, PlanningError
from cases.planning.leaving import Left, frontier, pieces
from cases.planning.parts import Bools
from cases.planning.rows import PartRows
from cases.planning.splitting import Menu, cheapest, together, undominated
from cases.planning.units import UnitTable, unit_table

MOST_SET_TRIALS = 200
"""Choices of sets tried for one part; beyond it only all of them together."""

_PLENTY = 2**15

Counts = tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Choice:
    """One way to fill a part's share of the list. `left`: units left out; the rest of its table is
    brought."""

    cost: int
    loss: float
    sets: Counts
    left: Left


@dataclass(frozen=True)
class Filled:
    """A part with its choices, each dearer than the one before and losing less; `hoped` are lower bounds."""

    table: UnitTable
    choices: tuple[Choice, ...]
    hoped: Menu

    @property
    def menu(self) -> Menu:
        return _menu([(one.cost, one.loss) for one in self.choices])


def shortest(
    case: CaseDemand,
    target: float,
    *,
    law: Joint | None = None,
    available: Mapping[str, int] | None = None,
    sets: Mapping[str, int] | None = None,
    costs: Costs = BY_NUMBER,
) -> Shortest:
    """The cheapest list with which the case finds what it needs with chance `target`.

    Minimise the points of all units and sets on the list R, subject to P(R) >= target, where P(R) is the
    chance that every item drawn, second units that may be opened among them, is on R together with sets
    that meet all needs of the outcome. Outcomes with a pair that has no rule on file are taken as fitting.

    Parameters
    ----------
    case : CaseDemand
    target : float
        0 gives the empty list; 1 all that can be drawn.
    law : Joint, optional
        `fit.joint(case)` if it is at hand.
    available : mapping of item to int, optional
        Units that may be brought; default: as many as can be asked for.
    sets : mapping of item to int, optional
        Sets that may be brought; default: of each listed option as many as there are needs that list it.
    costs : Costs
        Default: every unit and every set counts 1, so that the cheapest list is the shortest.

    Returns
    -------
    Shortest
        Where what is there cannot give the target, the same share of what it can give. Of the cheapest
        lists one with the least P(short).

    Raises
    ------
    PlanningError
        An impossible case, or a target outside 0..1.
    TooManyOutcomesError
        See `fit.joint`.

    Notes
    -----
    Independent slots of equal cost: leaving out the least likely first is best for every length (adding by
    gain, said backwards), and the split over slots is a knapsack over whole points; with unequal costs each
    slot is a knapsack too. Linked slots: branch and bound over what is left out. Where a search is cut short
    the answer says by how much it may be too dear.

    Examples
    --------
    >>> from cases.planning.kinds import SlotLaw
    >>> femoral = SlotLaw("femoral", ("F3", "F4", "F5"), (1, 6, 3))
    >>> shortest(CaseDemand(1, (femoral,)), 0.9).units
    (('F4', 1), ('F5', 1))
    """
    if not 0.0 <= target <= 1.0:
        raise PlanningError("A target must be a chance between 0 and 1.")
    law = law or joint(case)
    if law.impossible:
        raise PlanningError(f"Case {case.ref}: no combination meets the fit rules.")
    if target <= 0.0:
        return Shortest((), (), 1.0, 0, True, True, 0)
    units = _plenty(case) if available is None else available
    stock = Stock(units, _listed(case) if sets is None else sets, costs)
    full = together(_all_there(law, number, stock) for number in range(len(law.parts)))
    reached = full <= 1.0 - target + SLACK
    limit = (1.0 - target if reached else full + (1.0 - target) * (1.0 - full)) + SLACK
    parts = [_filled(law, number, limit, stock) for number in range(len(law.parts))]
    chosen = cheapest([part.menu for part in parts], limit)
    hoped = cheapest([part.hoped for part in parts], limit)
    picked = [part.choices[n] for part, n in zip(parts, chosen, strict=True)]
    cost = sum(one.cost for one in picked)
    gap = cost - sum(int(part.hoped[0][n]) for part, n in zip(parts, hoped, strict=True))
    listed, kits = _in_order(case, parts, picked), tuple(pair for one in picked for pair in one.sets)
    counts = dict((*listed, *kits))
    return Shortest(
        listed,
        kits,
        together(
            _lost(law, n, part, one, counts) for n, (part, one) in enumerate(zip(parts, picked, strict=True))
        ),
        cost,
        reached,
        gap == 0,
        gap,
    )


def _plenty(case: CaseDemand) -> Mapping[str, int]:
    return {item: _PLENTY for slot in case.slots for item in slot.items}


def _listed(case: CaseDemand) -> dict[str, int]:
    """How many needs list each set."""
    wanted: dict[str, int] = {}
    for need in case.needs:
        for item in dict.fromkeys(option.item for option in need.options):
            wanted[item] = wanted.get(item, 0) + 1
    return wanted


# One part


def _table(law: Joint, number: int, stock: Stock) -> UnitTable:
    return unit_table(law, number, lambda item: stock.units.get(item, 0), stock.costs)


def _points(sets: Counts, costs: Costs) -> int:
    return sum(costs.of_set(item) * n for item, n in sets)


def _all_there(law: Joint, number: int, stock: Stock) -> float:
    """Chance that the part is short with everything that is there."""
    table, part = _table(law, number, stock), law.parts[number]
    return (table.served(part, _served(law.rows[number], stock.sets)) if part.needs else table).lost


def _filled(law: Joint, number: int, limit: float, stock: Stock) -> Filled:
    table, part = _table(law, number, stock), law.parts[number]
    whole = table.cost
    choices: list[Choice] = []
    hoped: list[tuple[int, float]] = []
    ways, every = _set_choices(law, number, stock)
    for sets, served in ways:
        under = table if served is None else table.served(part, served)
        if under.lost > limit:
            continue
        points = _points(sets, stock.costs) + whole
        found = frontier(under, limit - under.lost)
        choices += [
            Choice(points - saved, under.lost + loss, sets, left)
            for saved, (loss, left) in enumerate(zip(found.loss, found.left, strict=True))
        ]
        hopes = _least_sums(law, table, limit) if table.summed else found.hoped
        # Where not every choice is tried, fewer sets might do: they are counted for nothing.
        least = points if every else whole
        hoped += [(least - saved, under.lost + loss) for saved, loss in enumerate(hopes)]
    best = undominated(*_menu([(one.cost, one.loss) for one in choices]))
    return Filled(table, tuple(choices[n] for n in best.tolist()), _menu(hoped))


def _menu(pairs: Sequence[tuple[int, float]]) -> Menu:
    return np.array([cost for cost, _ in pairs], dtype=np.int64), np.array([loss for _, loss in pairs])


def _lost(law: Joint, number: int, part: Filled, one: Choice, counts: Mapping[str, int]) -> float:
    """Chance that the part is short with the list; of a part too large to list, worked out now."""
    return missed(law.rows[number], counts) if part.table.summed else one.loss


def _least_sums(law: Joint, table: UnitTable, limit: float) -> list[float]:
    """Lower bounds of the loss by points saved, for a part too large to list: the items of one slot exclude
    each other, so within a slot chances do add; second units may all go for nothing."""
    cost: dict[str, int] = {}
    for item, points in zip(table.names, table.first.tolist(), strict=True):
        cost.setdefault(item, points)
    free = table.cost - sum(cost.values())
    sums: list[float] = []
    for slot, shares in zip(law.case.slots, marginals(law), strict=True):
        total = 0.0
        for p, points in sorted(
            (p, cost[item]) for item, p in zip(slot.items, shares.tolist(), strict=True) if item in cost
        ):
            total += p
            sums += [total] * points
    return [0.0] * (1 + free) + [total for total in sorted(sums) if total <= limit]


def _served(rows: PartRows, sets: Mapping[str, int]) -> Bools:
    """Rows of a part whose needs can all be met at once."""
    served = np.ones(len(rows.p), dtype=np.bool_)
    for one in rows.needs:
        served &= one.judge(sets)[one.row]
    return served


def _set_choices(law: Joint, number: int, stock: Stock) -> tuple[list[tuple[Counts, Bools | None]], bool]:
    """Numbers of sets that may be brought, cheapest first, of those that serve alike the first; and whether
    these are all."""
    if not law.parts[number].needs:
        return [((), None)], True
    rows = law.rows[number]
    wanted: dict[str, int] = {}
    for one in rows.needs:
        wanted.update((item, min(n, stock.sets.get(item, 0))) for item, n in one.most().items())
    items = [item for item, n in wanted.items() if n > 0]
    ranges = [range(wanted[item] + 1) for item in items]
    every = math.prod(len(numbers) for numbers in ranges) <= MOST_SET_TRIALS
    if not every:
        ranges = [range(wanted[item], wanted[item] + 1) for item in items]
    ways = [tuple((i, n) for i, n in zip(items, way, strict=True) if n) for way in product(*ranges)]
    found: dict[bytes, tuple[Counts, Bools | None]] = {}
    for way in sorted(ways, key=lambda way: _points(way, stock.costs)):
        served = _served(rows, dict(way))
        found.setdefault(served.tobytes(), (way, served))
    return list(found.values()), every


def _in_order(case: CaseDemand, parts: Sequence[Filled], picked: Sequence[Choice]) -> Counts:
    counts: dict[str, int] = {}
    for part, one in zip(parts, picked, strict=True):
        gone, second = pieces(one.left)
        for place, item in enumerate(part.table.names):
            own = 0 if place in gone else 1
            more = 1 if part.table.extra[place] > 0 and place not in gone | second else 0
            counts[item] = counts.get(item, 0) + own + more
    names = dict.fromkeys(item for slot in case.slots for item in slot.items)
    return tuple((item, counts[item]) for item in names if counts.get(item, 0) > 0)
