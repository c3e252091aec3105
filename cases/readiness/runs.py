"""Which sizes to bring: the smallest unbroken run that reaches the target, never below the site's minimum.

Sizes are brought as a run per slot, and the second measures (thickness, neck length) as a run of their
own over
all the sizes brought.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.kinds import SLACK, UNUSED, SetNeed
from cases.planning.parts import Bools, Floats, Part, serving
from cases.readiness.laws import ConstructLaw, SlotPart
from cases.readiness.search import Box, Ends, Search, hull_of, whole
from cases.readiness.shelf import NOTHING

LIKELY = 0.10


@dataclass(frozen=True)
class Brought:
    """One item of a slot's run. `minimum`: it is there for the site's minimum alone."""

    index: int
    minimum: bool
    quantity: int


@dataclass(frozen=True)
class Run:
    """What to bring for one side: per slot the box and the items of it that are there; set items per need."""

    boxes: tuple[Box, ...]
    items: tuple[tuple[Brought, ...], ...]
    sets: tuple[tuple[SetNeed, tuple[str, ...]], ...]


def choose(
    law: ConstructLaw, available: Mapping[str, int], sets: Mapping[str, int], *, target: float, each_way: int
) -> Run:
    """The run for one side.

    Parameters
    ----------
    law : ConstructLaw
        A possible one (`law.joint.impossible` is False).
    available : mapping of item to int
        Units that this side may take.
    sets : mapping of item to int
        Sets of each design that may be taken.
    target : float
        Chance wanted in the room. Where the shelf cannot give it, the same share of what it can give.
    each_way : int
        The site's minimum: so many sizes each way of the prediction.
    """
    there = [_there(slot, available) for slot in law.slots]
    computed = Search(law, there, available, sets, target).best()
    minimum = _minimum(law, each_way, computed)
    boxes = tuple(a.hull(b) for a, b in zip(computed, minimum, strict=True))
    left = dict(available)
    items = []
    for slot, box, bare in zip(law.slots, boxes, computed, strict=True):
        items.append(_items(slot, box, bare, left))
    seconds = _second_units(law, boxes, items, left, target)
    chosen = tuple(
        tuple(Brought(one.index, one.minimum, 2 if (s, one.index) in seconds else 1) for one in rows)
        for s, rows in enumerate(items)
    )
    return Run(boxes, chosen, _sets(law, boxes, there, sets))


def _there(slot: SlotPart, available: Mapping[str, int]) -> Bools:
    """Per item whether one is there; "not used" always.

    A slot of which nothing is there counts as there: it is told apart, and must not empty the runs of the
    others.
    """
    found = [available.get(item, 0) > 0 for item in slot.law.items]
    if not any(here and weight > 0 for here, weight in zip(found, slot.law.weights, strict=True)):
        found = [True] * len(found)
    return np.array([*found, True], dtype=np.bool_)


def _minimum(law: ConstructLaw, each_way: int, computed: Sequence[Box]) -> list[Box]:
    """The site's minimum: sizes each way of the prediction, what must fit them, every second measure
    asked for."""
    wholes = [whole(slot) for slot in law.slots]
    sizes: list[Ends] = [box.sizes for box in computed]
    for number, slot in enumerate(law.slots):
        if slot.planned is not None:
            last = wholes[number].sizes[1]
            low, high = (min(rank, last) for rank in slot.planned)
            sizes[number] = max(0, low - each_way), min(last, high + each_way)
    for number, slot in enumerate(law.slots):
        if slot.planned is None and (fitting := _fitting(law, number, sizes)) is not None:
            sizes[number] = fitting
    return [
        Box(sizes[n], wholes[n].seconds if slot.facts.bring_all else computed[n].seconds)
        for n, slot in enumerate(law.slots)
    ]


def _fitting(law: ConstructLaw, number: int, sizes: Sequence[Ends]) -> Ends | None:
    """Sizes of a slot without prediction that fit the minimum of a predicted one; None if no rule narrows
    them."""
    found: Ends | None = None
    own = law.slots[number].components
    for rule in law.demand.rules:
        if number not in (rule.a, rule.b):
            continue
        other = rule.b if number == rule.a else rule.a
        if law.slots[other].planned is None:
            continue
        low, high = sizes[other]
        pairs = rule.allow | rule.unknown
        if len(pairs) == len(own) * len(law.slots[other].components):
            continue
        ranks = {
            own[mine].size_rank
            for mine, its in (pairs if number == rule.a else ((b, a) for a, b in pairs))
            if low <= law.slots[other].components[its].size_rank <= high
            and not law.slots[number].contingency[mine]
            and not law.slots[other].contingency[its]
        }
        if ranks:
            ends = (min(ranks), max(ranks))
            found = ends if found is None else hull_of(found, ends)
    return found


def _items(slot: SlotPart, box: Box, computed: Box, left: dict[str, int]) -> list[Brought]:
    """The items in the box that are still there, one unit each; takes them from `left`."""
    found = []
    for index, (item, row) in enumerate(zip(slot.law.items, slot.components, strict=True)):
        spare = slot.contingency[index]
        if spare and not slot.law.weights[index] > 0:
            continue
        if left.get(item, 0) > 0 and box.holds(row.size_rank, row.second_rank):
            left[item] -= 1
            found.append(Brought(index, not computed.holds(row.size_rank, row.second_rank), 1))
    return found


def _second_units(
    law: ConstructLaw,
    boxes: Sequence[Box],
    items: Sequence[Sequence[Brought]],
    left: Mapping[str, int],
    target: float,
) -> set[tuple[int, int]]:
    """Items of which a second unit is brought against waste: the most useful first, until the target
    holds."""
    if not any(slot.law.extra > 0 for slot in law.slots):
        return set()
    parts = []
    for part in law.joint.parts:
        weights: Floats = part.p.copy()
        for slot in part.slots:
            own = np.zeros(len(law.slots[slot].law.items) + 1)
            own[[one.index for one in items[slot]]] = 1.0
            own[UNUSED] = 1.0
            weights = weights * own[part.column(slot)]
        parts.append((part, weights))
    useful = sorted(
        (-law.slots[s].law.extra * float(law.marginals[s][one.index]), s, one.index)
        for s in range(len(law.slots))
        for one in items[s]
        if law.slots[s].law.extra > 0 and left.get(law.slots[s].law.items[one.index], 0) > 0
    )
    chosen: set[tuple[int, int]] = set()
    rest = dict(left)
    for gain, slot, index in useful:
        if gain == 0 or _with_waste(law, parts, chosen) >= target - SLACK:
            break
        item = law.slots[slot].law.items[index]
        if rest.get(item, 0) > 0:
            rest[item] -= 1
            chosen.add((slot, index))
    return chosen


def _with_waste(
    law: ConstructLaw, parts: Sequence[tuple[Part, Floats]], chosen: set[tuple[int, int]]
) -> float:
    total = 1.0
    for part, weights in parts:
        for slot in part.slots:
            extra = law.slots[slot].law.extra
            if extra > 0:
                factor = np.full(len(law.slots[slot].law.items) + 1, 1.0 - extra)
                factor[[index for s, index in chosen if s == slot]] = 1.0
                factor[UNUSED] = 1.0
                weights = weights * factor[part.column(slot)]
        total *= float(weights.sum())
    return total


def _sets(
    law: ConstructLaw, boxes: Sequence[Box], there: Sequence[Bools], sets: Mapping[str, int]
) -> tuple[tuple[SetNeed, tuple[str, ...]], ...]:
    """For each need the designs that serve the run, first choice first, no more than it takes."""
    left = dict(sets)
    found = []
    for part in law.joint.parts:
        wanted = np.ones(len(part.p), dtype=np.bool_)
        for slot in part.slots:
            ranks = np.array(
                [*(boxes[slot].holds(r.size_rank, r.second_rank) for r in law.slots[slot].components), True]
            )
            wanted &= (ranks & there[slot])[part.column(slot)]
        for number in part.needs:
            need = law.demand.needs[number]
            masks = [(option.item, serving(law.demand, part, option)) for option in need.options]
            chosen = covering(masks, wanted, left)
            for item in chosen:
                left[item] -= 1
            found.append((need, chosen))
    return tuple(found)


def covering(masks: Sequence[tuple[str, Bools]], wanted: Bools, left: Mapping[str, int]) -> tuple[str, ...]:
    """The first option that serves all that is wanted; else options in order, each that serves something
    new."""
    for item, mask in masks:
        if item == NOTHING:
            wanted = wanted & ~mask
    if not wanted.any():
        return ()
    real = [(item, mask) for item, mask in masks if item != NOTHING and left.get(item, 0) > 0]
    for item, mask in real:
        if not (wanted & ~mask).any():
            return (item,)
    chosen = []
    for item, mask in real:
        if item not in chosen and (wanted & mask).any():
            chosen.append(item)
            wanted = wanted & ~mask
    return tuple(chosen)
