"""Which sets to bring for a run of sizes: with them every size brought is served, as far as any set there
does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from cases.planning.boxes import Block
from cases.planning.bringing import Box, Costs, SlotRanks, Stock
from cases.planning.kinds import CaseDemand, SetNeed
from cases.planning.parts import Bools

Kit = tuple[str, ...]

MOST_WAYS = 2_000
"""Ways to share sets out among needs that are tried."""


def concerned(need: SetNeed) -> set[int]:
    """Slots whose sizes decide which of its designs a need takes."""
    return {slot for option in need.options for slot, _ in option.serves}


def sets_for(
    case: CaseDemand,
    ranks: Sequence[SlotRanks],
    blocks: Sequence[Block],
    boxes: Mapping[int, Box | None],
    stock: Stock,
) -> tuple[tuple[int, Kit], ...]:
    """Designs to bring for each need, by need number.

    As many needs as possible are served in full, then at the least cost, then by the designs listed first.
    A set is brought once for each need that takes it.
    """
    served: dict[int, dict[str, Bools]] = {}
    for block in blocks:
        own = [boxes[slot] for slot in block.part.slots]
        for number, masks in block.needs.items():
            held = block.held(own, concerned(case.needs[number]))
            served[number] = {item: mask[block.rows][held] for item, mask in masks.items()}
    for number, need in enumerate(case.needs):
        if number not in served:
            served[number] = _by_slot(case, ranks, need, boxes, stock)
    chosen = _shared_out([served[number] for number in sorted(served)], stock.sets, stock.costs)
    return tuple(zip(sorted(served), chosen, strict=True))


def _by_slot(
    case: CaseDemand, ranks: Sequence[SlotRanks], need: SetNeed, boxes: Mapping[int, Box | None], stock: Stock
) -> dict[str, Bools]:
    """For a need that several blocks decide: which items brought each design serves, slot by slot."""
    found: dict[str, list[bool]] = {}
    for option in need.options:
        if stock.sets.get(option.item, 0) < 1:
            continue
        serves, line = dict(option.serves), [True]
        for slot in sorted(concerned(need)):
            own, box, law = ranks[slot], boxes[slot], case.slots[slot]
            line += [
                slot not in serves or n in serves[slot]
                for n, at in enumerate(zip(own.sizes, own.seconds, strict=True))
                if law.weights[n] > 0 and box is not None and box.holds(*at)
            ]
        before = found.get(option.item, [False] * len(line))
        found[option.item] = [a or b for a, b in zip(before, line, strict=True)]
    return {item: np.array(line, dtype=np.bool_) for item, line in found.items()}


def _ways(masks: Mapping[str, Bools], costs: Costs) -> list[Kit]:
    """Choices of designs that serve all that any of them serves, cheapest first, none with one too many."""
    if len(masks) < 2:
        return [tuple(item for item, mask in masks.items() if mask.any())]
    servable = np.logical_or.reduce(list(masks.values()))
    found: list[Kit] = []
    for size in range(len(masks) + 1):
        for way in combinations(masks, size):
            if any(set(smaller) <= set(way) for smaller in found):
                continue
            served = np.logical_or.reduce([masks[item] for item in way]) if way else np.zeros_like(servable)
            if not (servable & ~served).any():
                found.append(way)
    return sorted(found, key=lambda way: sum(costs.of_set(item) for item in way))


def _shared_out(served: Sequence[Mapping[str, Bools]], there: Mapping[str, int], costs: Costs) -> list[Kit]:
    """One choice for each need within what is there; what serves the most, for a need that must go short."""
    ways = [_ways(masks, costs) for masks in served]
    first = [own[0] for own in ways]
    if _fits(first, there):
        return first
    best: tuple[int, int, list[Kit]] | None = None
    trials = 0

    def go(number: int, left: dict[str, int], short: int, cost: int, chosen: list[Kit]) -> None:
        nonlocal best, trials
        trials += 1
        if best is not None and (trials > MOST_WAYS or (short, cost) >= best[:2]):
            return
        if number == len(ways):
            best = (short, cost, chosen)
            return
        full = [(0, way) for way in ways[number] if _fits([way], left)]
        for lack, way in full or [(1, _partly(served[number], left))]:
            taken = {item: left[item] - 1 for item in way}
            more = sum(costs.of_set(item) for item in way)
            go(number + 1, {**left, **taken}, short + lack, cost + more, [*chosen, way])
        if full and any(full[0][1]):
            # Leaving the set to another need may serve more of them.
            go(number + 1, left, short + 1, cost, [*chosen, ()])

    go(0, dict(there), 0, 0, [])
    return best[2] if best else first


def _partly(masks: Mapping[str, Bools], left: Mapping[str, int]) -> Kit:
    """Designs still there, in order, each that serves something new."""
    found: list[str] = []
    for item, mask in masks.items():
        new = mask if not found else mask & ~np.logical_or.reduce([masks[one] for one in found])
        if left.get(item, 0) > 0 and new.any():
            found.append(item)
    return tuple(found)


def _fits(kits: Sequence[Kit], there: Mapping[str, int]) -> bool:
    """Whether so many sets of each design are there."""
    taken: dict[str, int] = {}
    for kit in kits:
        for item in kit:
            taken[item] = taken.get(item, 0) + 1
    return all(there.get(item, 0) >= n for item, n in taken.items())
