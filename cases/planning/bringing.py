"""What a pick list is asked for, and what it is made of: frozen values.

Sizes and second measures (thickness, neck length) are ranks from 0; a cost is a whole number of points, the
same kind of point for all that is brought.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from cases.planning.kinds import PlanningError

Ends = tuple[int, int]
"""Lowest and highest rank of an unbroken run, both included."""


@dataclass(frozen=True)
class Costs:
    """What it costs to bring a thing: handling it, hiring it, the risk of having to pay for it once opened.

    Parameters
    ----------
    units : mapping of item to tuple of int
        Points of its first, second, ... unit; further ones cost as the last. Items not named cost 1 each.
    sets : mapping of item to int
        Points of one set of a design; designs not named cost 1, and 0 is a set that need not be brought.

    Raises
    ------
    PlanningError
        A unit that costs less than 1, a set that costs less than 0.
    """

    units: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    sets: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        bad = [item for item, row in self.units.items() if not row or min(row) < 1]
        bad += [item for item, points in self.sets.items() if points < 0]
        if bad:
            raise PlanningError(f"The cost of item {min(bad)} is not a whole number of points above 0.")

    def unit(self, item: str, number: int) -> int:
        """Points of the `number`-th unit of an item, counted from 1."""
        row = self.units.get(item, (1,))
        return row[min(number, len(row)) - 1]

    def of_set(self, item: str) -> int:
        """Points of one set of a design."""
        return self.sets.get(item, 1)


BY_NUMBER = Costs()
"""Every unit and every set counts one: the shortest list."""


@dataclass(frozen=True)
class Stock:
    """What may be brought, by item, and what each costs."""

    units: Mapping[str, int]
    sets: Mapping[str, int]
    costs: Costs


@dataclass(frozen=True)
class SlotRanks:
    """Where the items of one slot stand in its range, and how much of it is brought at the least.

    Attributes
    ----------
    sizes, seconds : tuple of int, length N
        Rank of each item's size and of its second measure.
    planned : (low, high), optional
        Ranks of the predicted sizes; None for a slot without a prediction.
    all_seconds : bool
        The minimum has every second measure of its sizes.
    spare : tuple of bool, length N
        Items of a contingency family: they come with the run, and do not say which sizes fit another slot.
    """

    sizes: tuple[int, ...]
    seconds: tuple[int, ...]
    planned: Ends | None = None
    all_seconds: bool = False
    spare: tuple[bool, ...] = ()

    @property
    def last(self) -> Ends:
        """The highest rank of sizes and of second measures."""
        return max(self.sizes, default=0), max(self.seconds, default=0)

    def is_spare(self, index: int) -> bool:
        """Whether an item is of a contingency family."""
        return bool(self.spare) and self.spare[index]

    @classmethod
    def in_order(
        cls, number: int, planned: Ends | None = None, seconds: int = 1, *, all_seconds: bool = False
    ) -> SlotRanks:
        """`number` items: sizes in order, each with so many second measures."""
        return cls(
            tuple(n // seconds for n in range(number)),
            tuple(n % seconds for n in range(number)),
            planned,
            all_seconds,
        )


@dataclass(frozen=True)
class Box:
    """An unbroken run of sizes, each with an unbroken run of second measures."""

    sizes: Ends
    seconds: Ends

    def holds(self, size: int, second: int) -> bool:
        """Whether an item of these ranks is in it."""
        return self.sizes[0] <= size <= self.sizes[1] and self.seconds[0] <= second <= self.seconds[1]

    def hull(self, other: Box) -> Box:
        """The smallest box around both."""
        return Box(hull_of(self.sizes, other.sizes), hull_of(self.seconds, other.seconds))


def hull_of(a: Ends, b: Ends) -> Ends:
    """The shortest run around both."""
    return min(a[0], b[0]), max(a[1], b[1])


@dataclass(frozen=True)
class Brought:
    """Units of one item of a slot. `minimum`: they are there for the site's minimum alone."""

    index: int
    minimum: bool
    quantity: int


@dataclass(frozen=True)
class Shortest:
    """The shortest (or cheapest) list that reaches a target, gaps between sizes allowed.

    Attributes
    ----------
    units : tuple of (item, number)
        In order of slot and rank.
    sets : tuple of (item, number)
        In order of need and option.
    p_short : float
        Chance that an outcome needs what is not on the list. Outcomes with a pair that has no rule on file
        are taken as fitting.
    cost : int
        Points of all of it.
    reached : bool
        Within the target; otherwise the shelf cannot give it, and the list gives the same share of what the
        shelf can give.
    proven : bool
        No cheaper list does as well.
    gap : int
        Otherwise at most so many points could be saved.
    """

    units: tuple[tuple[str, int], ...]
    sets: tuple[tuple[str, int], ...]
    p_short: float
    cost: int
    reached: bool
    proven: bool
    gap: int


@dataclass(frozen=True)
class Run:
    """What to bring as unbroken runs not below the site's minimum.

    Attributes
    ----------
    boxes : tuple of Box or None, one per slot
        None: nothing is brought for a slot that is hardly ever used.
    items : tuple of tuple of Brought, one per slot
        The items of the box that are there, by rank.
    sets : tuple of (need number, items)
        Designs to bring for each need; with them every size brought is served, as far as any set there does.
    cost : int
        Points of all of it, sets included.
    computed : int
        Points of the cheapest unbroken runs for the same target without a minimum.
    proven : bool
        No cheaper unbroken runs that hold the minimum do as well.
    gap : int
        Otherwise at most so many points could be saved.
    """

    boxes: tuple[Box | None, ...]
    items: tuple[tuple[Brought, ...], ...]
    sets: tuple[tuple[int, tuple[str, ...]], ...]
    cost: int
    computed: int
    proven: bool
    gap: int

    @property
    def units(self) -> int:
        """How many units are brought."""
        return sum(one.quantity for row in self.items for one in row)

    @property
    def for_minimum(self) -> int:
        """How many of them are brought for the site's minimum alone."""
        return sum(one.quantity for row in self.items for one in row if one.minimum)
