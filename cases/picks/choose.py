"""Which physical unit answers which wanted size: plain values in, plain values out, no database.

A unit already held for the case is taken before one held for its list, and that before a free one; among
them one that is marked to be used first comes first, then the site's order of owners decides, then the date:
first expired first, no date last. A unit must be in date on the day of the operation, its last day included.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import IntEnum


class Kept(IntEnum):
    """For whom a unit is kept, in the order of use; one kept for another case is never taken."""

    OWN = 0
    LIST = 1
    FREE = 2
    OTHER = 3


@dataclass(frozen=True, slots=True)
class Wanted:
    """One unit of one component for one slot; `place` orders what is scarce: the lower is served first."""

    key: int
    component_id: int
    place: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Candidate:
    """One unit on hand at the site. `tenure` is owned, consigned or loaned."""

    unit_id: int
    component_id: int
    tenure: str
    expires: date | None
    kept: Kept = Kept.FREE
    use_first: bool = False


@dataclass(frozen=True, slots=True)
class Unmet:
    """A wanted unit that could not be had, and what became of those on hand: how many, and why not."""

    key: int
    component_id: int
    on_hand: int
    held: int
    out_of_date: int


@dataclass(frozen=True, slots=True)
class Choice:
    """The unit for each wanted key, and what could not be had."""

    units: dict[int, int]
    unmet: tuple[Unmet, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """So many pieces from one pile."""

    pile_id: int
    quantity: int


@dataclass(frozen=True, slots=True)
class Heap:
    """What lies in one pile of a consumable."""

    pile_id: int
    tenure: str
    expires: date | None
    quantity: int


def in_date(expires: date | None, day: date) -> bool:
    """Usable on its expiry day, not after it; without a date always."""
    return expires is None or expires >= day


def choose_units(
    wanted: Iterable[Wanted], candidates: Iterable[Candidate], *, owner_order: Sequence[str], day: date
) -> Choice:
    """Give each wanted unit one of its component, each unit once; what is scarce goes by `Wanted.place`."""
    on_hand: dict[int, list[Candidate]] = defaultdict(list)
    for candidate in candidates:
        on_hand[candidate.component_id].append(candidate)
    usable = {
        component_id: sorted(
            (one for one in ones if one.kept is not Kept.OTHER and in_date(one.expires, day)),
            key=lambda one: (
                one.kept,
                not one.use_first,
                *_order_of_use(one.tenure, one.expires, owner_order),
                one.unit_id,
            ),
        )
        for component_id, ones in on_hand.items()
    }
    units: dict[int, int] = {}
    unmet: list[Unmet] = []
    taken: Counter[int] = Counter()
    for want in sorted(wanted, key=lambda want: (want.place, want.key)):
        ones = usable.get(want.component_id, [])
        if taken[want.component_id] < len(ones):
            units[want.key] = ones[taken[want.component_id]].unit_id
            taken[want.component_id] += 1
        else:
            unmet.append(_unmet(want, on_hand.get(want.component_id, []), day))
    return Choice(units, tuple(unmet))


def choose_piles(
    quantity: int, heaps: Iterable[Heap], *, owner_order: Sequence[str], day: date
) -> tuple[tuple[Part, ...], int]:
    """Take so many pieces from piles in the order of use; the parts, and how many pieces are lacking."""
    parts = []
    lacking = quantity
    for heap in sorted(
        heaps, key=lambda heap: (*_order_of_use(heap.tenure, heap.expires, owner_order), heap.pile_id)
    ):
        take = min(lacking, heap.quantity) if in_date(heap.expires, day) else 0
        if take > 0:
            parts.append(Part(heap.pile_id, take))
            lacking -= take
    return tuple(parts), lacking


def _order_of_use(tenure: str, expires: date | None, owner_order: Sequence[str]) -> tuple[int, date]:
    # An owner that the site does not name comes after those it does.
    rank = owner_order.index(tenure) if tenure in owner_order else len(owner_order)
    return rank, expires or date.max


def _unmet(want: Wanted, ones: list[Candidate], day: date) -> Unmet:
    out_of_date = sum(not in_date(one.expires, day) for one in ones)
    held = sum(one.kept is Kept.OTHER and in_date(one.expires, day) for one in ones)
    return Unmet(want.key, want.component_id, len(ones), held, out_of_date)
