"""The search for the smallest unbroken runs of one side that reach a target.

From everything, the end that costs least is taken off as long as the target holds: with linked slots adding
by gain fails, since one part alone gains nothing. It is done twice, by loss and by loss per unit (there also
the same end of two linked slots at once), and mended by giving an end back and taking off again; the fewest
units count. Not exhaustive: in tests beside every run there is, at most one unit longer than the shortest.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.kinds import SLACK, UNUSED
from cases.planning.parts import Bools, Floats, Ints, Part, serving
from cases.readiness.laws import ConstructLaw, SlotPart

Ends = tuple[int, int]


@dataclass(frozen=True)
class Box:
    """Ranks brought for one slot, both ends included: of sizes, and of second measures."""

    sizes: Ends
    seconds: Ends

    def holds(self, size: int, second: int) -> bool:
        return self.sizes[0] <= size <= self.sizes[1] and self.seconds[0] <= second <= self.seconds[1]

    def hull(self, other: "Box") -> "Box":
        return Box(hull_of(self.sizes, other.sizes), hull_of(self.seconds, other.seconds))


_Move = tuple[tuple[int, Box], ...]


@dataclass(frozen=True, slots=True)
class _Offer:
    """A move, the share of the part's chance that it loses, and how dear that is; least `cost` first."""

    cost: tuple[float, float, int]
    share: float
    move: _Move


class _Block:
    """An independent part of a side: its rows, where each slot stands in them, and which rows are to be
    had."""

    def __init__(
        self,
        law: ConstructLaw,
        part: Part,
        there: Sequence[Bools],
        available: Mapping[str, int],
        sets: Mapping[str, int],
    ) -> None:
        self.part = part
        self.axes: dict[int, tuple[Ints, Ints]] = {}
        self._inside: dict[tuple[int, Box], Bools] = {}
        found = np.ones(len(part.p), dtype=np.bool_)
        p: Floats = part.p
        for slot in part.slots:
            own, drawn = law.slots[slot], part.column(slot)
            self.axes[slot] = (
                _coordinates(own, drawn, "size_rank"),
                _coordinates(own, drawn, "second_rank"),
            )
            found &= there[slot][drawn]
            if own.law.extra > 0:
                # Where a second unit is there, it can be brought against waste; else its chance is lost.
                spare = [1.0 if available.get(i, 0) > 1 else 1.0 - own.law.extra for i in own.law.items]
                p = p * np.array([*spare, 1.0])[drawn]
        served = _served(law, part, sets)
        self.found = found & served if (found & served).any() else found
        self.p = p

    def alive(self, boxes: Sequence[Box]) -> Bools:
        """Rows to be had from within the boxes."""
        held = self.found.copy()
        for slot in self.part.slots:
            held &= self.inside(slot, boxes[slot])
        return held

    def inside(self, slot: int, box: Box) -> Bools:
        """Rows in which the slot is not used or draws from the box."""
        if (slot, box) not in self._inside:
            sizes, seconds = self.axes[slot]
            held = (sizes >= box.sizes[0]) & (sizes <= box.sizes[1])
            held &= (seconds >= box.seconds[0]) & (seconds <= box.seconds[1])
            self._inside[slot, box] = held | (sizes == UNUSED)
        return self._inside[slot, box]


class Search:
    """The runs of one side. `there` says per slot which items are to be had ("not used" last)."""

    def __init__(
        self,
        law: ConstructLaw,
        there: Sequence[Bools],
        available: Mapping[str, int],
        sets: Mapping[str, int],
        target: float,
    ) -> None:
        self.slots = law.slots
        self.links = sorted({(rule.a, rule.b) for rule in law.demand.rules})
        self.blocks = [_Block(law, part, there, available, sets) for part in law.joint.parts if part.slots]
        self.wholes = [whole(slot) for slot in law.slots]
        self.grids = [_grid(slot, box, available) for slot, box in zip(law.slots, self.wholes, strict=True)]
        full = self.chance(self.wholes)
        # Where the shelf cannot give the target, the same share of what it can give.
        self.goal = (target if full >= target - SLACK else target * full) - SLACK

    def chance(self, boxes: Sequence[Box]) -> float:
        return float(np.prod([block.p[block.alive(boxes)].sum() for block in self.blocks]))

    def units(self, boxes: Sequence[Box]) -> int:
        """How many units the boxes bring."""
        return sum(_inside(grid, box) for grid, box in zip(self.grids, boxes, strict=True))

    def best(self) -> list[Box]:
        """The fewest units found, then the greatest chance, then the lowest ranks."""
        candidates = [self.shrunk(self.wholes, by_unit=by_unit) for by_unit in (False, True)]
        best = min(candidates, key=self._worth)
        for larger in self._larger(best):
            again = self.shrunk(larger, by_unit=True)
            if self._worth(again) < self._worth(best):
                best = again
        return best

    def _worth(self, boxes: Sequence[Box]) -> tuple[int, float, list[tuple[Ends, Ends]]]:
        chance = round(self.chance(boxes), 12)
        return self.units(boxes), -chance, [(box.sizes, box.seconds) for box in boxes]

    def _larger(self, boxes: Sequence[Box]) -> Iterable[list[Box]]:
        """The boxes with one end of one run given back."""
        for slot, box in enumerate(boxes):
            last = self.wholes[slot]
            (low, high), (first, end) = box.sizes, box.seconds
            for more in (
                Box((low - 1, high), box.seconds) if low > 0 else None,
                Box((low, high + 1), box.seconds) if high < last.sizes[1] else None,
                Box(box.sizes, (first - 1, end)) if first > 0 else None,
                Box(box.sizes, (first, end + 1)) if end < last.seconds[1] else None,
            ):
                if more is not None:
                    yield [*boxes[:slot], more, *boxes[slot + 1 :]]

    def shrunk(self, start: Sequence[Box], *, by_unit: bool) -> list[Box]:
        """The boxes with the cheapest end taken off as long as the goal holds."""
        boxes = list(start)
        alive = [block.alive(boxes) for block in self.blocks]
        masses = [float(block.p[held].sum()) for block, held in zip(self.blocks, alive, strict=True)]
        total = float(np.prod(masses))
        offers = [self._offers(n, boxes, alive[n], masses[n], total, by_unit) for n in range(len(alive))]
        while True:
            # What is too dear now stays so: the chance only falls.
            offers = [[one for one in rows if not total * (1.0 - one.share) < self.goal] for rows in offers]
            if not any(offers):
                return boxes
            offer, number = min(
                ((one, n) for n, rows in enumerate(offers) for one in rows), key=lambda pair: pair[0].cost
            )
            total *= 1.0 - offer.share
            for slot, box in offer.move:
                boxes[slot] = box
                alive[number] = alive[number] & self.blocks[number].inside(slot, box)
            masses[number] = float(self.blocks[number].p[alive[number]].sum())
            # The other parts are independent of this one: what they offer is the same.
            offers[number] = self._offers(number, boxes, alive[number], masses[number], total, by_unit)

    def _offers(
        self, number: int, boxes: Sequence[Box], alive: Bools, mass: float, total: float, by_unit: bool
    ) -> list[_Offer]:
        """The moves of one block that the goal allows, with what they cost."""
        found = []
        for order, (loss, move) in enumerate(self._moves(self.blocks[number], boxes, alive, by_unit)):
            share = loss / mass if mass > 0 else 0.0
            if total * (1.0 - share) < self.goal:
                continue
            freed = self._freed(boxes, move) if by_unit and share > 0 else 1
            found.append(_Offer((share / freed if freed else 2.0, share, order), share, move))
        return found

    def _moves(
        self, block: _Block, boxes: Sequence[Box], alive: Bools, in_pairs: bool
    ) -> Iterable[tuple[float, _Move]]:
        """Every end that may be taken off, and with `in_pairs` the same end of two linked slots at once."""
        for slot in block.part.slots:
            for loss, box in _ends(block, slot, boxes[slot], alive):
                yield loss, ((slot, box),)
        for a, b in self.links if in_pairs else ():
            if a not in block.axes or b not in block.axes:
                continue
            for one, two in zip(_trimmed(boxes[a]), _trimmed(boxes[b]), strict=True):
                if one is not None and two is not None:
                    lost = alive & ~(block.inside(a, one) & block.inside(b, two))
                    yield float(block.p[lost].sum()), ((a, one), (b, two))

    def _freed(self, boxes: Sequence[Box], move: _Move) -> int:
        return sum(
            _inside(self.grids[slot], boxes[slot]) - _inside(self.grids[slot], box) for slot, box in move
        )


def _trimmed(box: Box) -> tuple[Box | None, Box | None]:
    """The box without its lowest size, and without its highest; None where it has only one."""
    low, high = box.sizes
    if low == high:
        return None, None
    return Box((low + 1, high), box.seconds), Box((low, high - 1), box.seconds)


def hull_of(a: Ends, b: Ends) -> Ends:
    return min(a[0], b[0]), max(a[1], b[1])


def whole(slot: SlotPart) -> Box:
    """Every size and every second measure of the slot's families."""
    return Box(
        (0, max(row.size_rank for row in slot.components)),
        (0, max(row.second_rank for row in slot.components)),
    )


def _served(law: ConstructLaw, part: Part, sets: Mapping[str, int]) -> Bools:
    served = np.ones(len(part.p), dtype=np.bool_)
    for number in part.needs:
        masks = [
            serving(law.demand, part, option)
            for option in law.demand.needs[number].options
            if sets.get(option.item, 0) > 0
        ]
        # A need that nothing on the shelf meets is told apart; it must not empty the run.
        if masks and (mask := np.logical_or.reduce(masks)).any():
            served &= mask
    return served


def _coordinates(slot: SlotPart, drawn: Ints, name: str) -> Ints:
    ranks = np.array([*(getattr(row, name) for row in slot.components), UNUSED], dtype=np.int64)
    return ranks[drawn]


def _grid(slot: SlotPart, box: Box, available: Mapping[str, int]) -> Ints:
    """Units that a size and a second measure would bring, one of each item that is there. Shape (sizes,
    seconds)."""
    grid = np.zeros((box.sizes[1] + 1, box.seconds[1] + 1), dtype=np.int64)
    for item, row in zip(slot.law.items, slot.components, strict=True):
        if available.get(item, 0) > 0:
            grid[row.size_rank, row.second_rank] += 1
    return grid


def _inside(grid: Ints, box: Box) -> int:
    return int(grid[box.sizes[0] : box.sizes[1] + 1, box.seconds[0] : box.seconds[1] + 1].sum())


def _ends(block: _Block, slot: int, box: Box, alive: Bools) -> Iterable[tuple[float, Box]]:
    """What taking one end off costs, and the box without it."""
    p = block.p[alive]
    for axis, ends, of_sizes in (
        (block.axes[slot][0], box.sizes, True),
        (block.axes[slot][1], box.seconds, False),
    ):
        if ends[0] == ends[1]:
            continue
        mass = np.bincount(axis[alive] + 1, weights=p, minlength=ends[1] + 2)[1:]
        for value, kept in ((ends[0], (ends[0] + 1, ends[1])), (ends[1], (ends[0], ends[1] - 1))):
            yield float(mass[value]), Box(kept, box.seconds) if of_sizes else Box(box.sizes, kept)
