"""From a snapshot's rows to the flat arrays of `cases.planning.horizon`.

Each distinct law is turned into a pattern once; cases with the same plan, side and prediction share it. Items
are named as in `shelf` and numbered through: every component and set design that some case may ask for.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np

from cases.planning.fit import Joint
from cases.planning.horizon_arrays import Arrays, lay_out
from cases.planning.horizon_patterns import Pattern, pattern_of
from cases.planning.horizon_shelf import stock_of, with_holds_drawn_out
from cases.planning.kinds import SetNeed, SetOption, Shelf
from cases.planning.parts import serving
from cases.readiness.facts import Snapshot
from cases.readiness.parts import CaseLaw, ConstructLaw, Shape
from cases.readiness.shelf import NOTHING, fingerprint, set_item, shelf_for_items, unit_item

MOST_WHOLE = 300
"""Combinations of both sides of a case that are listed as one; beyond it each side is a group of its own."""


@dataclass(frozen=True)
class Layout:
    """A horizon's arrays; `items` gives each number its item, `number` the other way round."""

    arrays: Arrays
    items: tuple[str, ...]
    number: Mapping[str, int]
    shelf: Shelf

    @cached_property
    def told(self) -> tuple[bytes, ...]:
        """All that is there of each item, as a value that can be compared."""
        return tuple(
            fingerprint((self.shelf.units.get(item), self.shelf.sets.get(item))) for item in self.items
        )


@dataclass
class Patterns:
    """Patterns by law, kept from one snapshot to the next while items keep their numbers."""

    number: dict[str, int] = field(default_factory=dict)
    made: dict[Shape, Pattern] = field(default_factory=dict)

    def fit_to(self, snapshot: Snapshot) -> None:
        """Number what the snapshot knows; forget the patterns if that changes a number."""
        items = [unit_item(key) for key in sorted(snapshot.components)]
        items += [set_item(key) for key in sorted(snapshot.designs)]
        number = {item: n for n, item in enumerate(items)}
        if number != self.number:
            self.number, self.made = number, {}

    def of(self, shape: Shape) -> Pattern:
        """The pattern of a law."""
        if shape not in self.made:
            self.made[shape] = _pattern(shape, self.number)
        return self.made[shape]


def lay_out_cases(snapshot: Snapshot, ordered: Sequence[CaseLaw], patterns: Patterns) -> Layout:
    """The arrays of the cases in the order in which they draw."""
    patterns.fit_to(snapshot)
    shapes = list(dict.fromkeys(law.shape for law in ordered))
    place = {shape: n for n, shape in enumerate(shapes)}
    items = tuple(patterns.number)
    shelf = _shelf(snapshot, ordered, patterns.number)
    ref, list_ref, day, start, end = np.array(
        [
            (law.facts.id, law.facts.list_id, law.facts.day.toordinal(), law.start, law.back)
            for law in ordered
        ],
        dtype=np.int64,
    ).reshape(-1, 5).T  # fmt: skip
    arrays = lay_out(
        [patterns.of(shape) for shape in shapes],
        np.array([place[law.shape] for law in ordered], dtype=np.int64),
        stock_of(shelf, patterns.number, ref=ref, list_ref=list_ref, day=day, start=start),
        ref=ref,
        day=day,
        start=start,
        end=end,
        list_ref=list_ref,
    )
    patterns.made = {shape: patterns.made[shape] for shape in shapes}
    return Layout(arrays, items, patterns.number, shelf)


def _pattern(shape: Shape, number: Mapping[str, int]) -> Pattern:
    sizes = [max((len(part.p) for part in one.joint.parts), default=1) for one in shape.constructs]
    if len(sizes) == 1 or math.prod(sizes) <= MOST_WHOLE:
        return pattern_of([(shape.whole.joint, -1)], number, sure=(NOTHING,))
    # Sides one by one. What they share (items, a set that only a contingency of either needs) ties them.
    blocks: list[tuple[Joint, int]] = [(one.joint, 0) for one in shape.constructs]
    return pattern_of(
        blocks,
        number,
        sure=(NOTHING,),
        once=[
            (need.name, [o.item for o in need.options if o.item != NOTHING], _asked(shape, need))
            for need in shape.once
        ],
    )


def _asked(shape: Shape, need: SetNeed) -> float:
    """Chance that a need that a case has once asks for a set at all."""
    free = next((option for option in need.options if option.item == NOTHING), None)
    if free is None:
        return 1.0
    without, shift = 1.0, 0
    for construct in shape.constructs:
        without *= _all_served(construct, free, shift)
        shift += len(construct.slots)
    return 1.0 - without


def _all_served(construct: ConstructLaw, option: SetOption, shift: int) -> float:
    served = 1.0
    for part in construct.joint.parts:
        mine = tuple((slot - shift, own) for slot, own in option.serves if slot - shift in part.slots)
        served *= float(part.p[serving(construct.demand, part, SetOption(option.item, mine))].sum())
    return served


def _shelf(snapshot: Snapshot, ordered: Sequence[CaseLaw], number: Mapping[str, int]) -> Shelf:
    """What is there; holds of sets are drawn out to their cases, so that it serves for a few of them too."""
    last = max((law.back for law in ordered), default=0)
    shelf = shelf_for_items(snapshot, {*number, NOTHING}, last)
    times = [_Times(law.facts.id, law.facts.list_id, law.start, law.back) for law in ordered]
    return Shelf(
        shelf.units, {item: with_holds_drawn_out(stock, times) for item, stock in shelf.sets.items()}
    )


class _Times(NamedTuple):
    """When a case has its sets."""

    ref: int
    list_ref: int
    start: int
    end: int
