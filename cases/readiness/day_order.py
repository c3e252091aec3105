"""Another order of a day's lists in which no case waits for a set, or the word that there is none."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from time import monotonic

from cases.bookings.models import Case, TheatreList
from cases.bookings.positions import starts_after_reorder
from cases.bookings.queries import ListRow
from cases.planning.ordering import SECONDS, NewOrder, find_order
from cases.planning.ordering_kinds import DayList, ListCase, SetKind
from cases.readiness.day import DayBoard
from cases.readiness.shelf import minute


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One case in the new order of its list."""

    case: Case
    position: int
    before: int
    starts: datetime

    @property
    def moved(self) -> bool:
        return self.position != self.before


@dataclass(frozen=True, slots=True)
class ListProposal:
    """A list in its new order; `seen` and `order` are case ids, as they stand and as they would."""

    theatre_list: TheatreList
    lines: tuple[OrderLine, ...]
    seen: tuple[int, ...]
    order: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Proposal:
    """What was found. Without `lists`: no order of the day's lists helps (`proven`), or it is not settled.

    `least`: no order without waiting changes less. `movable`: how many cases could have another place.
    """

    lists: tuple[ListProposal, ...]
    proven: bool
    least: bool
    movable: int


def propose(board: DayBoard, *, seconds: float = SECONDS) -> Proposal | None:
    """New orders for the lists of a day on which a case waits; None for a day on which none does.

    One list alone is changed if that is enough. What has begun keeps its place.
    """
    if not board.waiting:
        return None
    until = monotonic() + seconds
    designs = sorted({one for use in board.uses for one in use.designs})
    kinds = [
        SetKind(tuple(one.ready for one in board.sets if one.design_id == design), board.way)
        for design in designs
    ]
    lists = [_list(board, row, {design: n for n, design in enumerate(designs)}) for row in board.lists]
    movable = sum(not case.fixed for one in lists for case in one.cases)
    found = find_order(lists, kinds, seconds=seconds / 2)
    if found.orders is None:
        return Proposal((), found.proven, False, movable)
    if len(_changed(found)) > 1:
        found = _by_one_list(lists, kinds, until) or found
    changed = _changed(found)
    proposals = tuple(_proposal(board.lists[n], (found.orders or ())[n]) for n in changed)
    return Proposal(proposals, True, found.least, movable)


def _by_one_list(lists: Sequence[DayList], kinds: Sequence[SetKind], until: float) -> NewOrder | None:
    """The least change of one list alone that is enough."""
    best: NewOrder | None = None
    for number, one in enumerate(lists):
        left = until - monotonic()
        if len(one.cases) > 1 and left > 0:
            others = [one if n == number else _pinned(other) for n, other in enumerate(lists)]
            found = find_order(others, kinds, seconds=left / 2)
            if found.orders is not None and (best is None or found.swaps < best.swaps):
                best = found
    return best


def _pinned(one: DayList) -> DayList:
    return DayList(one.starts, tuple(ListCase(case.minutes, case.needs, True) for case in one.cases))


def _changed(found: NewOrder) -> list[int]:
    return [n for n, order in enumerate(found.orders or ()) if list(order) != sorted(order)]


def _list(board: DayBoard, row: ListRow, number: dict[int, int]) -> DayList:
    starts: list[int] = []
    cases = []
    for case in row.cases:
        start = minute(case.starts_at)
        starts.append(max(start, starts[-1]) if starts else start)
        needs = tuple(
            tuple(number[design] for design in use.designs) for use in board.uses if use.case.id == case.pk
        )
        begun = case.status != Case.Status.BOOKED or case.starts_at <= board.at
        cases.append(ListCase(case.minutes, needs, begun))
    return DayList(tuple(starts), tuple(cases))


def _proposal(row: ListRow, order: Sequence[int]) -> ListProposal:
    cases = [row.cases[n] for n in order]
    starts = starts_after_reorder(row.cases, cases)
    lines = [
        OrderLine(case, place + 1, before + 1, start)
        for place, (case, before, start) in enumerate(zip(cases, order, starts, strict=True))
    ]
    seen = tuple(case.pk for case in row.cases)
    return ListProposal(row.theatre_list, tuple(lines), seen, tuple(case.pk for case in cases))
