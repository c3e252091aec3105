"""When a case gets other times, the sets held for it are held for those instead."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db.models import Q
from django.utils.translation import gettext as _

from cases.bookings.kinds import Notice
from cases.bookings.models import Case
from cases.reservations import locking
from cases.reservations.models import SetHold
from cases.reservations.queries import Keeper, set_interval
from cases.reservations.sets import end_set_holds, place_set_hold
from trays.ledger.append import Line
from trays.staff.models import Person
from trays.web.errors import Refusal


def set_holds_follow(
    *, cases: Sequence[Case], by: Person, at: datetime
) -> tuple[tuple[Line, ...], tuple[Notice, ...]]:
    """Move the open set holds of these cases, and of their lists, to the times these have now.

    All of them end first, then each is placed anew in the order of the cases; where a hold for another case
    is in the way, the set is no longer held, and a notice "set-not-held" says so. Inside the act that
    changed the times, after its cases are locked. Returns the event's lines.
    """
    stale = _stale(cases)
    if not stale:
        return (), ()
    locked = locking.lock(sets=[hold.set_id for hold, _keeper in stale])
    end_set_holds(holds=[hold for hold, _keeper in stale], at=at, reason="replaced")
    lines, notices = [], []
    for hold, keeper in stale:
        after = "held"
        try:
            place_set_hold(instrument_set=locked.sets[hold.set_id], keeper=keeper, by=by, at=at)
        except Refusal as refused:
            after = "free"
            words = {"set": locked.sets[hold.set_id].code, "why": refused.next_step}
            notices.append(
                Notice("set-not-held", _("Set %(set)s cannot be held for the new time. %(why)s") % words)
            )
        lines.append(Line("set", hold.set_id, "held", after))
    return tuple(lines), tuple(notices)


def _stale(cases: Sequence[Case]) -> list[tuple[SetHold, Keeper]]:
    """Holds whose interval is not their keeper's any more, in the order of the cases, lists last."""
    lists = {case.list_id: case.list for case in cases}
    by_case = {case.pk: case for case in cases}
    rows = SetHold.objects.filter(
        Q(case__in=list(by_case)) | Q(list__in=list(lists)), ended_at__isnull=True
    ).order_by("pk")
    found: list[tuple[SetHold, Keeper]] = []
    for hold in rows:
        keeper: Keeper = by_case[hold.case_id] if hold.case_id is not None else lists[hold.list_id or 0]
        if set_interval(keeper) != (hold.starts_at, hold.ends_at):
            found.append((hold, keeper))
    place = {case.pk: number for number, case in enumerate(cases)}
    return sorted(found, key=lambda pair: place.get(pair[0].case_id or 0, len(place)))
