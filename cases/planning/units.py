"""The items that a part of a case may ask for, as one table: which outcomes ask for each, and what is lost
without it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from cases.planning.bringing import Costs
from cases.planning.fit import Joint
from cases.planning.kinds import UNUSED, CaseDemand
from cases.planning.parts import Bools, Floats, Ints, Part

MOST_LISTED = 100_000
"""Outcomes of one part, second units opened out, that are listed."""

Have = Callable[[str], int]
"""How many units of an item are there."""


@dataclass(frozen=True)
class UnitTable:
    """R outcomes that can be met at all, and the G units they ask for.

    Attributes
    ----------
    p : float array, shape (R,)
        Their chances with every unit there.
    asks : bool array, shape (R, G)
        Which outcomes ask for a unit.
    extra : float array, shape (G,)
        Share of an asking outcome's chance that is lost if a second unit, which is there, is left out; 0: no
        second unit comes with it.
    first, second : int arrays, shape (G,)
        Cost of the unit, and of the second one that comes with it (0 for none).
    names : tuple of str
        Their items, in order of slot and rank; an item of several slots once for each unit.
    lost : float
        Chance of asking for what is not there.
    blur : float
        What is lost is at least the sum of the losses less this share of it: the chance that any slot opens
        a second unit, 1 - prod (1 - e_s).
    origin : int array, shape (R,)
        The row of the part that each outcome comes from.
    summed : bool
        The part is too large to list: each unit has an outcome of its own, with the chance that it is asked
        for, so that what is lost is added up, which is the most it can be.
    """

    p: Floats
    asks: Bools
    extra: Floats
    first: Ints
    second: Ints
    names: tuple[str, ...]
    lost: float
    blur: float
    origin: Ints
    summed: bool = False

    @property
    def cost(self) -> int:
        """Points of everything."""
        return int(self.first.sum() + self.second.sum())

    def served(self, part: Part, rows: Bools) -> UnitTable:
        """The same with the part's rows outside `rows`, shape (part's rows,), lost as well."""
        if self.summed:
            return replace(self, lost=self.lost + float(part.p[~rows].sum()))
        inside = rows[self.origin]
        lost = self.lost + float(self.p[~inside].sum())
        return replace(self, p=self.p[inside], asks=self.asks[inside], lost=lost, origin=self.origin[inside])


def unit_table(law: Joint, number: int, have: Have, costs: Costs) -> UnitTable:
    """Every unit that some outcome of part `number` asks for and that is there.

    Notes
    -----
    Where no item belongs to two slots, a second unit only thins the outcomes that draw its item, and rows
    stay as they are. Otherwise demands add, and each pattern of second units is an outcome of its own.
    """
    case, part = law.case, law.parts[number]
    if _apart(case, part):
        return _thinned(case, part, have, costs)
    opened = sum(case.slots[slot].extra > 0 for slot in part.slots)
    if len(part.p) << opened > MOST_LISTED:
        return _summed(law, number, have, costs)
    return _opened(case, part, have, costs)


def _apart(case: CaseDemand, part: Part) -> bool:
    items = [item for slot in part.slots for item in case.slots[slot].items]
    return len(set(items)) == len(items) and all(case.slots[slot].extra <= 0.5 for slot in part.slots)


def _thinned(case: CaseDemand, part: Part, have: Have, costs: Costs) -> UnitTable:
    p = part.p.copy()
    columns: list[Bools] = []
    extra: list[float] = []
    names: list[str] = []
    for slot in part.slots:
        own, drawn = case.slots[slot], part.column(slot)
        there = np.array([*(min(have(item), 2) for item in own.items), 2], dtype=np.int64)[drawn]
        p = np.where(there == 0, 0.0, np.where(there == 1, p * (1.0 - own.extra), p))
        for index in np.unique(drawn).tolist():
            if index != UNUSED and have(own.items[index]) > 0:
                columns.append(drawn == index)
                extra.append(own.extra if have(own.items[index]) > 1 else 0.0)
                names.append(own.items[index])
    rows = np.flatnonzero(p > 0)
    return UnitTable(
        p[rows],
        _stacked(columns, len(p))[rows],
        np.array(extra, dtype=np.float64),
        np.array([costs.unit(item, 1) for item in names], dtype=np.int64),
        np.array(
            [costs.unit(i, 2) if e > 0 else 0 for i, e in zip(names, extra, strict=True)], dtype=np.int64
        ),
        tuple(names),
        float((part.p - p).sum()),
        1.0 - math.prod(1.0 - case.slots[slot].extra for slot in part.slots) if len(part.slots) > 1 else 0.0,
        rows,
    )


def _opened(case: CaseDemand, part: Part, have: Have, costs: Costs) -> UnitTable:
    names = list(dict.fromkeys(item for slot in part.slots for item in case.slots[slot].items))
    chance, demand = _demands(case, part, names)
    there = np.array([have(item) for item in names], dtype=np.int64)
    met = (demand <= there).all(axis=1)
    kept = np.flatnonzero(met & (chance > 0))
    most = demand[kept].max(axis=0, initial=0).tolist()
    units = [(place, item, k) for place, item in enumerate(names) for k in range(1, most[place] + 1)]
    columns = [demand[kept, place] >= k for place, _, k in units]
    return _alike(
        chance[kept],
        _stacked(columns, len(kept)),
        [(item, k) for _, item, k in units],
        costs,
        lost=float(chance[~met].sum()),
        origin=kept % len(part.p),
    )


def _demands(case: CaseDemand, part: Part, names: list[str]) -> tuple[Floats, Ints]:
    """Chance of each outcome, each pattern of second units one of its own, and how many it asks of each
    item."""
    place = {item: n for n, item in enumerate(names)}
    chances: list[Floats] = []
    demands: list[Ints] = []
    wasteful = [slot for slot in part.slots if case.slots[slot].extra > 0]
    for pattern in product((0, 1), repeat=len(wasteful)):
        second = dict(zip(wasteful, pattern, strict=True))
        p, asked = part.p, np.zeros((len(part.p), len(names)), dtype=np.int64)
        for slot in part.slots:
            own, drawn = case.slots[slot], part.column(slot)
            used, opened = drawn != UNUSED, second.get(slot, 0)
            table = np.array([*(place[item] for item in own.items), 0], dtype=np.int64)
            asked[np.flatnonzero(used), table[drawn[used]]] += 1 + opened
            p = p * np.where(used, own.extra if opened else 1.0 - own.extra, 1.0 - opened)
        chances.append(p)
        demands.append(asked)
    return np.concatenate(chances), np.concatenate(demands)


def _summed(law: Joint, number: int, have: Have, costs: Costs) -> UnitTable:
    slots = law.parts[number].slots
    lost = 0.0
    tails: list[float] = []
    units: list[tuple[str, int]] = []
    for item in dict.fromkeys(item for slot in slots for item in law.case.slots[slot].items):
        asked = np.cumsum(law.asked.get(item, np.ones(1))[::-1])[::-1]
        there = min(have(item), len(asked) - 1)
        lost += float(asked[there + 1]) if there + 1 < len(asked) else 0.0
        tails += asked[1 : there + 1].tolist()
        units += [(item, k) for k in range(1, there + 1)]
    one_each = np.eye(len(units), dtype=np.bool_)
    none = np.zeros(len(units), dtype=np.int64)
    found = _alike(np.array(tails), one_each, units, costs, lost=min(1.0, lost), origin=none)
    return replace(found, summed=True)


def _alike(
    p: Floats, asks: Bools, units: list[tuple[str, int]], costs: Costs, *, lost: float, origin: Ints
) -> UnitTable:
    """A table of units, none of which comes with a second one."""
    cost = np.array([costs.unit(*unit) for unit in units], dtype=np.int64)
    names = tuple(item for item, _ in units)
    return UnitTable(p, asks, np.zeros(len(units)), cost, np.zeros_like(cost), names, lost, 0.0, origin)


def _stacked(columns: list[Bools], rows: int) -> Bools:
    return np.column_stack(columns) if columns else np.zeros((rows, 0), dtype=np.bool_)
