"""Positions on a list and the starts that go with them.

Two cases of a list never share a position, not even for a moment, so that a run of cases moves in two
steps: out of the way (below zero), then to its new place.
"""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from django.db.models import F

from cases.bookings.models import Case, TheatreList
from cases.bookings.queries import cases_on
from trays.parties.queries import site_day

# Estimates, for a start that nobody gave; people put in their own.
BETWEEN_CASES = timedelta(minutes=15)
SESSION_BEGINS = {
    TheatreList.Session.ALL_DAY: time(8, 30),
    TheatreList.Session.MORNING: time(8, 30),
    TheatreList.Session.AFTERNOON: time(13, 30),
    TheatreList.Session.EVENING: time(17, 30),
}


class Timed(Protocol):
    """A case, or what stands for one, with its estimated start and length."""

    @property
    def pk(self) -> int: ...
    @property
    def starts_at(self) -> datetime: ...
    @property
    def minutes(self) -> int: ...


def lists_lock(*lists: TheatreList) -> None:
    """Lock the order of these lists until the transaction ends.

    Taken before a position is read and before any case is locked, the lower id first, so that nobody waits
    in a circle: lists, then cases, then units and sets, then the record.
    """
    wanted = sorted({one.pk for one in lists})
    list(TheatreList.objects.select_for_update().filter(pk__in=wanted).order_by("pk"))


def position_taken(theatre_list: TheatreList, position: int | None) -> int:
    """A free position: the end for None; a taken one is freed by moving the rest one down."""
    taken = list(cases_on(theatre_list.pk).values_list("position", flat=True))
    if position is None:
        return max(taken, default=0) + 1
    if position in taken:
        _move_run(theatre_list, position, 1)
    return position


def close_up(theatre_list: TheatreList, position: int) -> None:
    """Move the cases after a position one up, into the place that was left there."""
    _move_run(theatre_list, position + 1, -1)


def _move_run(theatre_list: TheatreList, first: int, by: int) -> None:
    run = cases_on(theatre_list.pk).order_by()
    run.filter(position__gte=first).update(position=-(F("position") + by))
    run.filter(position__lt=0).update(position=-F("position"))


def positions_set(cases: Sequence[Case], starts: Sequence[datetime]) -> None:
    """Number the cases of one list 1, 2, 3 … in this order, with these starts (2 queries)."""
    for number, (case, start) in enumerate(zip(cases, starts, strict=True), start=1):
        case.position, case.starts_at = -number, start
    Case.objects.bulk_update(cases, ["position", "starts_at"])
    Case.objects.filter(pk__in=[case.pk for case in cases]).update(position=-F("position"))
    for number, case in enumerate(cases, start=1):
        case.position = number


def starts_after_reorder(old: Sequence[Timed], new: Sequence[Timed]) -> list[datetime]:
    """Estimated starts in the new order: gaps stay where they were, lengths go with their cases.

    Cases before the first one that moved keep their start. An overlap in the old order becomes no gap.
    """
    starts = [case.starts_at for case in old]
    gaps = [
        max(later.starts_at - earlier.starts_at - timedelta(minutes=earlier.minutes), timedelta())
        for earlier, later in zip(old, old[1:], strict=False)
    ]
    same = 0
    while same < len(old) and old[same].pk == new[same].pk:
        same += 1
    for index in range(same + 1, len(new)):
        before = new[index - 1]
        starts[index] = starts[index - 1] + timedelta(minutes=before.minutes) + gaps[index - 1]
    return starts


def start_estimated(theatre_list: TheatreList, position: int, *, at: datetime) -> datetime:
    """When a case at this position may start: after the one before it, else when the session begins.

    On the list's own day not before now: nothing that is booked now starts earlier.
    """
    before = cases_on(theatre_list.pk).filter(position__lt=position).order_by("-position").first()
    return start_behind(before, theatre_list, at=at)


def start_behind(before: Timed | None, theatre_list: TheatreList, *, at: datetime) -> datetime:
    """The same, with the case before it at hand; None: it is the first."""
    if before is not None:
        start = before.starts_at + timedelta(minutes=before.minutes) + BETWEEN_CASES
    else:
        start = session_begins(theatre_list)
    if theatre_list.day == site_day(theatre_list.site, at) and start < at:
        return at.replace(second=0, microsecond=0) + timedelta(minutes=1)
    return start


def session_begins(theatre_list: TheatreList) -> datetime:
    session = TheatreList.Session(theatre_list.session)
    return moment_on(theatre_list.day, SESSION_BEGINS[session], theatre_list)


def moment_on(day: date, clock: time, theatre_list: TheatreList) -> datetime:
    """A time of the day by the clock of the list's site."""
    return datetime.combine(day, clock, tzinfo=ZoneInfo(theatre_list.site.zone))
