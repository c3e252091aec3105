"""Blocks of a case together: boxes and second units of each, at the least cost in all for a goal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cases.planning.bringing import Box
from cases.planning.filling import Choosing, Filling
from cases.planning.splitting import Menu, cheapest, together

MOST_ROUNDS = 60
"""Times that an optimistic figure is replaced by the true one before the answer is taken as it is."""


@dataclass(frozen=True)
class Together:
    """The cheapest boxes of all blocks for a goal, with second units.

    Attributes
    ----------
    boxes : mapping of slot to Box or None
    seconds : frozenset of (slot, item index)
    cost : int
        Points of all of it.
    chance : float
        That all drawn is brought.
    least : int
        Points that any boxes cost at the least.
    """

    boxes: Mapping[int, Box | None]
    seconds: frozenset[tuple[int, int]]
    cost: int
    chance: float
    least: int

    def holds(self, minimum: Mapping[int, Box]) -> bool:
        """Whether every box holds the minimum of its slot."""
        return all(
            (own := self.boxes[slot]) is not None and own.hull(least) == own
            for slot, least in minimum.items()
        )


def solve(
    blocks: Sequence[Filling], goal: float, minimum: Mapping[int, Box], floor: float | None = None
) -> Together:
    """The cheapest boxes whose chance is `goal` in all, each holding the minimum of its slot.

    Blocks are worked out for chances from `floor` (by default the goal) on, once for all goals above it.

    Notes
    -----
    What second units can gain is first taken at its most. Where the cheapest choice rests on such a figure,
    its boxes are worked out in full and the choice is made again, until it rests on true figures alone. In
    the same way a lower bound of the cost is found, from bounds for each choice of boxes.
    """
    asked = [
        (one, goal if floor is None else floor, tuple(minimum.get(slot) for slot in one.block.part.slots))
        for one in blocks
    ]
    menus = [one.true(low, least) for one, low, least in asked]
    picked = _settled(menus, goal)
    chosen = [one.at(low, least, n) for (one, low, least), n in zip(asked, picked, strict=True)]
    cost = sum(choice.cost for choice in chosen)
    boxes: dict[int, Box | None] = {}
    seconds: set[tuple[int, int]] = set()
    for one, choice in zip(blocks, chosen, strict=True):
        slots = one.block.part.slots
        boxes.update(zip(slots, choice.boxes, strict=True))
        seconds |= {(slots[place], index) for place, index in choice.seconds}
    if not all(one.complete(low, least) for one, low, least in asked):
        bound = 0
    elif (
        _points([menu.first for menu in menus], cheapest([menu.first for menu in menus], 1.0 - goal)) == cost
    ):
        bound = cost
    else:
        hopes = [one.hoped(low, least) for one, low, least in asked]
        hoped = _settled(hopes, goal, cost)
        bound = _points([hope.menu for hope in hopes], hoped)
    return Together(
        boxes,
        frozenset(seconds),
        cost,
        1.0 - together(1.0 - choice.chance for choice in chosen),
        bound,
    )


def _settled(menus: Sequence[Choosing], goal: float, enough: int | None = None) -> list[int]:
    """The cheapest choice of each menu that rests on settled figures, or that costs `enough` as it is."""
    for _ in range(MOST_ROUNDS):
        now = [one.menu for one in menus]
        picked = cheapest(now, 1.0 - goal)
        if _points(now, picked) == enough or not _settle(menus, picked):
            return picked
    return cheapest([one.menu for one in menus], 1.0 - goal)


def _settle(menus: Sequence[Choosing], picked: Sequence[int]) -> bool:
    return any([one.settle(n) for one, n in zip(menus, picked, strict=True)])


def _points(menus: Sequence[Menu], picked: Sequence[int]) -> int:
    return sum(int(cost[n]) for (cost, _), n in zip(menus, picked, strict=True))
