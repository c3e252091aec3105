"""Reading holds: who keeps a unit, who keeps a set and until when."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from cases.bookings.models import Case, TheatreList
from cases.reservations.models import Hold, SetHold
from trays.parties.models import Site
from trays.parties.queries import site_day

Keeper = Case | TheatreList


def open_holds(unit_ids: Iterable[int]) -> dict[int, Hold]:
    """The open hold of each unit that has one, with its case or list."""
    rows = Hold.objects.filter(unit_id__in=list(unit_ids), ended_at__isnull=True)
    return {row.unit_id: row for row in rows.select_related("case", "list__theatre")}


def holds_of(keeper: Keeper) -> QuerySet[Hold]:
    """The open holds placed for this case, or for this list."""
    return Hold.objects.filter(_for(keeper), ended_at__isnull=True)


def set_holds_of(keeper: Keeper) -> QuerySet[SetHold]:
    """The open set holds placed for this case, or for this list."""
    return SetHold.objects.filter(_for(keeper), ended_at__isnull=True)


def set_holds_within(set_ids: Iterable[int], starts_at: datetime, ends_at: datetime) -> list[SetHold]:
    """The open holds of these sets that overlap the time, earliest first, with their case or list."""
    rows = SetHold.objects.filter(
        set_id__in=list(set_ids), ended_at__isnull=True, starts_at__lt=ends_at, ends_at__gt=starts_at
    )
    return list(rows.select_related("case", "list__theatre").order_by("starts_at", "pk"))


def free_again(set_id: int, starts_at: datetime, length: timedelta) -> datetime:
    """The first moment from `starts_at` on at which the set is free for so long."""
    moment = starts_at
    later = SetHold.objects.filter(set_id=set_id, ended_at__isnull=True, ends_at__gt=starts_at)
    for held_from, held_until in later.order_by("starts_at").values_list("starts_at", "ends_at"):
        if held_from >= moment + length:
            break
        moment = max(moment, held_until)
    return moment


def kept_for(hold: Hold | SetHold, keeper: Keeper) -> bool:
    """Whether the hold is this case's own, or its list's (or this list's own)."""
    if isinstance(keeper, TheatreList):
        return hold.list_id == keeper.pk
    return hold.case_id == keeper.pk or (hold.list_id is not None and hold.list_id == keeper.list_id)


def is_own(hold: Hold | SetHold, keeper: Keeper) -> bool:
    """Whether it was placed for this very case, or this very list."""
    if isinstance(keeper, TheatreList):
        return hold.list_id == keeper.pk
    return hold.case_id == keeper.pk


def operation_day(keeper: Keeper) -> date:
    """The day of the operation by the site's clock; a list has its day."""
    if isinstance(keeper, TheatreList):
        return keeper.day
    return site_day(keeper.site, keeper.starts_at)


def at_site(moment: datetime, site: Site) -> datetime:
    """The wall clock of the site at this moment, ready for words whatever zone is active."""
    return moment.astimezone(ZoneInfo(site.zone)).replace(tzinfo=None)


def set_interval(keeper: Keeper) -> tuple[datetime, datetime] | None:
    """From the start of the operation (the list's first) until the set is back ready; None for an empty list.

    The way back is the site's turnaround after the operation's estimated end.
    """
    back = timedelta(minutes=keeper.site.turnaround_minutes)
    if isinstance(keeper, Case):
        return keeper.starts_at, keeper.starts_at + timedelta(minutes=keeper.minutes) + back
    booked = list(
        keeper.cases.exclude(status=Case.Status.CANCELLED).values_list("starts_at", "minutes")
    )
    if not booked:
        return None
    starts = min(start for start, _ in booked)
    return starts, max(start + timedelta(minutes=minutes) for start, minutes in booked) + back


def _for(keeper: Keeper) -> Q:
    return Q(list=keeper) if isinstance(keeper, TheatreList) else Q(case=keeper)
