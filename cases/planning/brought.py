"""Boxes turned into what is brought: which items, how many of each, with which sets, at what cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cases.planning.boxes import Block
from cases.planning.bringing import Box, Brought, Costs, Run, SlotRanks, Stock
from cases.planning.joining import Together
from cases.planning.kinds import CaseDemand
from cases.planning.kits import sets_for


def brought(
    case: CaseDemand,
    ranks: Sequence[SlotRanks],
    stock: Stock,
    blocks: Sequence[Block],
    bare: Together,
    best: Together,
) -> Run:
    """What is brought for the boxes of `best`; what lies outside of those of `bare` is for the minimum."""
    left = dict(stock.units)
    rows = [
        _items(case, number, own, best.boxes[number], bare.boxes[number], left)
        for number, own in enumerate(ranks)
    ]
    twice = set()
    for slot, index in sorted(best.seconds):
        item = case.slots[slot].items[index]
        if left.get(item, 0) > 0:
            left[item] -= 1
            twice.add((slot, index))
    items = tuple(
        tuple(Brought(index, extra, 2 if (slot, index) in twice else 1) for index, extra in row)
        for slot, row in enumerate(rows)
    )
    boxes = tuple(best.boxes[number] for number in range(len(case.slots)))
    sets = sets_for(case, ranks, blocks, best.boxes, stock)
    gap = best.cost - best.least
    run = Run(boxes, items, sets, 0, 0, gap == 0, gap)
    cost = points_of(case, run, stock.costs)
    return replace(run, cost=cost, computed=min(cost, cost - best.cost + bare.cost))


def counts_of(case: CaseDemand, run: Run) -> dict[str, int]:
    """How many units of each item, and sets of each design, a run brings."""
    found: dict[str, int] = {}
    for slot, row in zip(case.slots, run.items, strict=True):
        for one in row:
            item = slot.items[one.index]
            found[item] = found.get(item, 0) + one.quantity
    for _, kit in run.sets:
        for item in kit:
            found[item] = found.get(item, 0) + 1
    return found


def _items(
    case: CaseDemand, number: int, own: SlotRanks, box: Box | None, bare: Box | None, left: dict[str, int]
) -> list[tuple[int, bool]]:
    """Items of a slot that are in the box and still there, by index, and whether only for the minimum; takes
    one of each from `left`."""
    if box is None:
        return []
    law, (low, high), (first, last) = case.slots[number], box.sizes, box.seconds
    found = []
    for index, (item, size, second) in enumerate(zip(law.items, own.sizes, own.seconds, strict=True)):
        if not (low <= size <= high and first <= second <= last) or left.get(item, 0) < 1:
            continue
        if own.is_spare(index) and not law.weights[index] > 0:
            continue
        left[item] -= 1
        found.append((index, bare is None or not bare.holds(size, second)))
    return found


def points_of(case: CaseDemand, run: Run, costs: Costs) -> int:
    """What all that a run brings costs."""
    units: dict[str, int] = {}
    total = 0
    for slot, row in zip(case.slots, run.items, strict=True):
        for one in row:
            item = slot.items[one.index]
            for _ in range(one.quantity):
                units[item] = units.get(item, 0) + 1
                total += costs.unit(item, units[item])
    return total + sum(costs.of_set(item) for _, kit in run.sets for item in kit)
