"""One independent block of a case: every set of unbroken runs of its slots, with cost and chance at once.

A box per slot is a run of sizes times a run of second measures. The chance that all drawn lies in
the boxes is a sum over its joint table; taken slot by slot it is a product of matrices (runs x cells), so
that all boxes of all slots are worked out together, and the cheapest of each chance is exact.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations, repeat

import numpy as np

from cases.planning.bringing import Box, SlotRanks, Stock
from cases.planning.kinds import UNUSED, CaseDemand
from cases.planning.parts import Bools, Floats, Ints, Part, serving
from cases.planning.stretches import EVEN, Axis, SlotRuns, exactly, runs_of

MOST_BOXES = 400_000
"""Combinations of boxes that are worked out at once."""
MOST_CELLS = 1_000_000
"""Cells of a block's joint table."""
MOST_OPTIONS = 5
"""Designs of one need whose choices are all priced; beyond it a need is priced at its cheapest design."""


@dataclass(frozen=True)
class Entries:
    """Choices of boxes for a block by cost, none beaten by another in cost and both chances; never empty.

    Attributes
    ----------
    cost : int array, shape (E,)
        Points of one unit of each item in the boxes that is there, and of the sets that serve them.
    full, bare : float arrays, shape (E,)
        Chance that all drawn is in the boxes, with every second unit that is there, and with none.
    boxes : callable
        The boxes of a choice, one per slot of the block.
    complete : bool
        No choice was left out.
    """

    cost: Ints
    full: Floats
    bare: Floats
    boxes: Callable[[int], tuple[Box | None, ...]]
    complete: bool


@dataclass(frozen=True)
class _Trial:
    """One choice of boxes, as in `Entries`."""

    cost: int
    full: float
    bare: float
    boxes: tuple[Box | None, ...]


class Block:
    """A part of a case over what is there.

    A slot of which nothing that it may draw is there counts as if all of it were, as does a need that no set
    there serves: both are told apart, and must not empty the runs of the other slots.
    """

    def __init__(self, case: CaseDemand, part: Part, ranks: Sequence[SlotRanks], stock: Stock) -> None:
        self.case, self.part, self.stock = case, part, stock
        self.ranks = [ranks[slot] for slot in part.slots]
        self.at = [(_line(own.sizes), _line(own.seconds)) for own in self.ranks]
        self.extra = [case.slots[slot].extra for slot in part.slots]
        have = [np.array([*map(stock.units.get, case.slots[slot].items, repeat(0))]) for slot in part.slots]
        self._pretended = [not (n[_drawn(case, s)] > 0).any() for n, s in zip(have, part.slots, strict=True)]
        # "Not used" comes last: it is always there, and never opened twice.
        there = [
            np.append(n > 0 if not pretend else np.ones(len(n), dtype=np.bool_), True)
            for n, pretend in zip(have, self._pretended, strict=True)
        ]
        self.spare = [np.append(n > 1, False) for n in have]
        self.needs = {n: self._options(n) for n in part.needs}
        columns = [part.column(slot) for slot in part.slots]
        self.rows = np.flatnonzero(self._found(columns, there))
        self.drawn = [drawn[self.rows] for drawn in columns]
        self.p = none = most = part.p[self.rows]
        for extra, spare, drawn in zip(self.extra, self.spare, self.drawn, strict=True):
            if extra > 0:
                none = none * np.where(drawn == UNUSED, 1.0, 1.0 - extra)
                most = most * np.where((drawn == UNUSED) | spare[drawn], 1.0, 1.0 - extra)
        self.bare, self.most = none, most
        self.axes = [self._axis(n, here) for n, here in enumerate(there)]

    def _found(self, columns: Sequence[Ints], there: Sequence[Bools]) -> Bools:
        """Rows of the part of which all is there, and served by some set that is."""
        found = np.ones(len(self.part.p), dtype=np.bool_)
        for drawn, here, extra, spare in zip(columns, there, self.extra, self.spare, strict=True):
            found &= here[drawn]
            if extra >= 1.0:
                found &= spare[drawn] | (drawn == UNUSED)
        for masks in self.needs.values():
            served = np.logical_or.reduce(list(masks.values())) if masks else found
            found = found & served if (found & served).any() else found
        return found

    @property
    def full(self) -> float:
        """Chance that the block finds all it needs among everything that is there."""
        return float(self.most.sum())

    def unit_costs(self, slot: int, number: int) -> Ints:
        """Points of the `number`-th unit of each item of a slot, shape (N,)."""
        items, costs = self.case.slots[slot].items, self.stock.costs
        if not costs.units:
            return np.ones(len(items), dtype=np.int64)
        return np.array([costs.unit(item, number) for item in items], dtype=np.int64)

    def hopeless(self, slot: int) -> bool:
        """Whether nothing that the slot may draw is there."""
        return self._pretended[self.part.slots.index(slot)]

    def _options(self, need: int) -> dict[str, Bools]:
        """Designs of a need that are there, in order, with the rows each serves."""
        found: dict[str, Bools] = {}
        for option in self.case.needs[need].options:
            if self.stock.sets.get(option.item, 0) > 0:
                served = serving(self.case, self.part, option)
                found[option.item] = found[option.item] | served if option.item in found else served
        return found

    def _axis(self, place: int, there: Bools) -> Axis:
        slot, own = self.part.slots[place], self.ranks[place]
        law = self.case.slots[slot]
        sizes, seconds = self.at[place][0][:-1], self.at[place][1][:-1]
        mass = np.bincount(self.drawn[place] + 1, weights=self.most, minlength=len(law.items) + 1)
        wide = own.last[1] + 1
        codes = sizes * wide + seconds
        distinct, inverse = np.unique(codes[mass[1:] > 0], return_inverse=True)
        cell = np.full(len(law.items) + 1, -1, dtype=np.int64)
        cell[:-1][mass[1:] > 0] = inverse
        cell[-1] = len(distinct)
        by_cell = np.bincount(inverse, weights=mass[1:][mass[1:] > 0], minlength=len(distinct))
        points = np.zeros((own.last[0] + 2, wide + 1), dtype=np.int64)
        brought = there[:-1].copy()
        if own.spare:
            brought &= ~(np.array(own.spare) & (np.array(law.weights) <= 0))
        cost = np.ones_like(sizes) if self._pretended[place] else self.unit_costs(slot, 1)
        np.add.at(points, (sizes[brought] + 1, seconds[brought] + 1), cost[brought])
        return Axis(
            slot,
            cell,
            distinct // wide,
            distinct % wide,
            np.append(by_cell, mass[0]),
            points.cumsum(axis=0).cumsum(axis=1),
        )

    # All boxes at once

    def entries(self, goal: float, minimum: Sequence[Box | None]) -> Entries:
        """The cheapest boxes for every chance from `goal` on that hold the minimum."""
        runs = [runs_of(axis, goal, box) for axis, box in zip(self.axes, minimum, strict=True)]
        shape = [len(one.cost) for one in runs]
        cells = math.prod(len(axis.mass) for axis in self.axes)
        if math.prod(shape) > MOST_BOXES or cells > MOST_CELLS:
            return self._shrunk(goal, minimum)
        inside = self._inside(self.most, runs)
        full, bare, cost = inside.ravel(), self._bare(inside, runs).ravel(), self._cost(runs).ravel()
        able = np.flatnonzero(full >= goal - EVEN)
        if not len(able):
            able = np.array([int(np.argmax(full))])
        kept = able[_best(cost[able], full[able], bare[able])]

        def boxes(number: int) -> tuple[Box | None, ...]:
            where = np.unravel_index(kept[number], shape)
            return tuple(one.box(int(place)) for one, place in zip(runs, where, strict=True))

        return Entries(cost[kept], full[kept], bare[kept], boxes, True)

    def _inside(self, weights: Floats, runs: Sequence[SlotRuns]) -> Floats:
        """Summed weights of the rows inside each combination of boxes, shape (boxes of each slot...)."""
        shape = [len(axis.mass) for axis in self.axes]
        cells = [axis.cell[drawn] for axis, drawn in zip(self.axes, self.drawn, strict=True)]
        codes = np.ravel_multi_index(cells, shape)
        summed = np.bincount(codes, weights=weights, minlength=math.prod(shape))
        table = np.asarray(summed, dtype=np.float64).reshape(shape)
        for one in runs:
            # The first axis is taken up and comes back as the last, so that all come round in order.
            table = np.tensordot(table, one.inside, axes=(0, 1))
        return np.asarray(table, dtype=np.float64)

    def _bare(self, full: Floats, runs: Sequence[SlotRuns]) -> Floats:
        if self.bare is self.most:
            return full
        ratio = self.bare / self.most
        if not len(ratio) or ratio.max() - ratio.min() < EVEN:
            return full * (ratio[0] if len(ratio) else 1.0)
        return self._inside(self.bare, runs)

    def _cost(self, runs: Sequence[SlotRuns]) -> Ints:
        total = np.zeros([len(one.cost) for one in runs], dtype=np.int64)
        for place, one in enumerate(runs):
            total += one.cost.reshape([-1 if n == place else 1 for n in range(len(runs))])
        for number in self.needs:
            total = total + self._set_cost(number, runs)
        return total

    def _set_cost(self, need: int, runs: Sequence[SlotRuns]) -> Ints | int:
        """Points of the cheapest designs that together serve all of each combination of boxes that any
        does."""
        masks = {item: mask[self.rows] for item, mask in self.needs[need].items()}
        costs = {item: self.stock.costs.of_set(item) for item in masks}
        slots = {slot for o in self.case.needs[need].options if o.item in masks for slot, _ in o.serves}
        servable = np.logical_or.reduce(list(masks.values())) if masks else np.zeros(0, dtype=np.bool_)
        if not servable.any():
            return 0
        if len(masks) > MOST_OPTIONS or not slots:
            return min(costs.values())
        concerned = [n for n, slot in enumerate(self.part.slots) if slot in slots]
        ways = [way for size in range(len(masks) + 1) for way in combinations(masks, size)]
        ways.sort(key=lambda way: sum(costs[item] for item in way))
        shape = [len(one.cost) if n in concerned else 1 for n, one in enumerate(runs)]
        cost = np.full(shape, -1, dtype=np.int64)
        for way in ways:
            unmet = servable & ~np.logical_or.reduce([masks[item] for item in way]) if way else servable
            free = self._count(unmet, concerned, runs).reshape(shape) < 0.5
            cost[free & (cost < 0)] = sum(costs[item] for item in way)
            if (cost >= 0).all():
                break
        return cost

    def _count(self, rows: Bools, concerned: Sequence[int], runs: Sequence[SlotRuns]) -> Floats:
        """How many distinct draws of the concerned slots among `rows` lie in each combination of boxes."""
        table = np.zeros([len(self.axes[n].mass) for n in concerned])
        table[tuple(self.axes[n].cell[self.drawn[n][rows]] for n in concerned)] = 1.0
        if len(concerned) == 1:
            return np.asarray(runs[concerned[0]].inside @ table, dtype=np.float64)
        for n in concerned:
            table = np.tensordot(table, runs[n].inside, axes=(0, 1))
        return np.asarray(table, dtype=np.float64)

    # Too many boxes

    def _shrunk(self, goal: float, minimum: Sequence[Box | None]) -> Entries:
        """From all sizes, the end that loses least per point is taken off as long as the goal holds."""
        now = self._trial([_whole(own, least) for own, least in zip(self.ranks, minimum, strict=True)])
        path = [now]
        while True:
            offers = [
                self._trial([*now.boxes[:n], box, *now.boxes[n + 1 :]])
                for n, least in enumerate(minimum)
                for box in _trimmed(now.boxes[n], least)
            ]
            able = [one for one in offers if one.full >= goal]
            if not able:
                break
            gone, spent = now.full, now.cost
            now = min(able, key=lambda one: (gone - one.full) / max(0.5, spent - one.cost))
            path.append(now)
        path.reverse()
        return Entries(
            np.array([one.cost for one in path], dtype=np.int64),
            np.array([one.full for one in path]),
            np.array([one.bare for one in path]),
            lambda number: path[number].boxes,
            False,
        )

    def _trial(self, boxes: Sequence[Box | None]) -> _Trial:
        held = self.held(boxes)
        runs = [exactly(axis, box) for axis, box in zip(self.axes, boxes, strict=True)]
        cost = int(self._cost(runs).ravel()[0])
        return _Trial(cost, float(self.most[held].sum()), float(self.bare[held].sum()), tuple(boxes))

    def held(self, boxes: Sequence[Box | None], slots: set[int] | None = None) -> Bools:
        """Rows of which every slot (or those of `slots`) is not used or draws from its box, shape (rows,)."""
        held = np.ones(len(self.p), dtype=np.bool_)
        for slot, (sizes, seconds), box, drawn in zip(
            self.part.slots, self.at, boxes, self.drawn, strict=True
        ):
            if slots is None or slot in slots:
                low, high = box.sizes if box else (1, 0)
                inside = (sizes >= low) & (sizes <= high)
                if box:
                    inside &= (seconds >= box.seconds[0]) & (seconds <= box.seconds[1])
                held &= (inside | (sizes == UNUSED))[drawn]
        return held


def _line(ranks: Sequence[int]) -> Ints:
    """Ranks of a slot's items, "not used" last."""
    return np.array([*ranks, UNUSED], dtype=np.int64)


def _best(cost: Ints, full: Floats, bare: Floats) -> Ints:
    """Places of the choices that no other beats in cost and both chances, by cost; of equal ones the first.

    Chances are compared to 12 digits, so that no last bit decides.
    """
    left = np.arange(len(cost))
    found: list[Ints] = []
    while len(left):
        ranked = left[np.lexsort((-np.round(full[left], 12), cost[left]))]
        better = np.ones(len(ranked), dtype=np.bool_)
        better[1:] = full[ranked][1:] > np.maximum.accumulate(full[ranked])[:-1] + EVEN
        best = ranked[better]
        found.append(best)
        beaten = (cost[left][:, None] >= cost[best]) & (full[left][:, None] <= full[best] + EVEN)
        left = left[~(beaten & (bare[left][:, None] <= bare[best] + EVEN)).any(axis=1)]
    every = np.concatenate(found)
    return every[np.argsort(cost[every], kind="stable")]


def _drawn(case: CaseDemand, slot: int) -> Bools:
    """Items of a slot that may be drawn at all."""
    return np.array(case.slots[slot].weights) > 0


def _whole(own: SlotRanks, minimum: Box | None) -> Box:
    box = Box((0, own.last[0]), (0, own.last[1]))
    return box if minimum is None else box.hull(minimum)


def _trimmed(box: Box | None, minimum: Box | None) -> list[Box]:
    """The box without one of its four sides, as far as it keeps the minimum and something."""
    if box is None:
        return []
    (low, high), (first, last) = box.sizes, box.seconds
    found = []
    if low < high:
        found += [Box((low + 1, high), box.seconds), Box((low, high - 1), box.seconds)]
    if first < last:
        found += [Box(box.sizes, (first + 1, last)), Box(box.sizes, (first, last - 1))]
    return [one for one in found if minimum is None or one.hull(minimum) == one]
