"""The order of a list, and the halves of moving and cancelling a case."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings import checks
from cases.bookings.change import case_locked
from cases.bookings.kinds import Booked, Follow, Reordered
from cases.bookings.models import Case, TheatreList
from cases.bookings.notices import late_notice, overlap_notices
from cases.bookings.once import Answer, act_once
from cases.bookings.positions import (
    close_up,
    lists_lock,
    position_taken,
    positions_set,
    start_estimated,
    starts_after_reorder,
)
from cases.bookings.queries import cases_on
from trays.ledger.append import Line, record
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


def list_reorder(
    *,
    by: Person,
    theatre_list: TheatreList,
    order: Sequence[int],
    at: datetime,
    seen: Sequence[int] | None = None,
    client_key: UUID | None = None,
    follow: Follow | None = None,
) -> Reordered:
    """Put the cases of a list into this order of case ids and number them from 1.

    `order` names each standing case of the list once. `seen` is the order that the person had in front of
    them; if it is not the list's order any more, nothing is changed. Starts are estimated anew from the first
    case that moved: gaps stay where they were, lengths go with the cases. `follow` is called inside the act.

    Writes one event "list.reorder". Raises NotAllowed; Refusal list-changed, not-booked-any-more.
    """
    require(by=by, act="reorder_list", site_id=theatre_list.site_id)

    def work() -> Reordered:
        done, lines = reorder_within(
            by=by, theatre_list=theatre_list, order=order, at=at, seen=seen, follow=follow
        )
        record(
            chain=theatre_list.site.code, verb="list.reorder", by=by, at=at, lines=lines,
            place_id=theatre_list.theatre_id, client_key=client_key, answer={"list": theatre_list.pk},
        )  # fmt: skip
        return done

    def replay(answer: Answer) -> Reordered:
        return Reordered(tuple(cases_on(answer["list"])))

    return act_once(verb="list.reorder", by=by, client_key=client_key, work=work, replay=replay)


def reorder_within(
    *,
    by: Person,
    theatre_list: TheatreList,
    order: Sequence[int],
    at: datetime,
    seen: Sequence[int] | None = None,
    follow: Follow | None = None,
) -> tuple[Reordered, list[Line]]:
    """The same within a larger act, which asks for the role and writes the event with these lines."""
    lists_lock(theatre_list)
    old = list(cases_on(theatre_list.pk).select_related("site", "list__site", "list__theatre", "surgeon"))
    new = _in_order(old, order, seen)
    before = {case.pk: case.position for case in old}
    starts = starts_after_reorder(old, new)
    positions_set(new, starts)
    lines = [
        Line("case", case.pk, f"position {before[case.pk]}", f"position {case.position}")
        for case in new
        if case.position != before[case.pk]
    ]
    kept, told = follow(cases=new, by=by, at=at) if follow else ((), ())
    return Reordered(tuple(new), told), [Line("list", theatre_list.pk, "", "reordered"), *lines, *kept]


def _in_order(old: Sequence[Case], order: Sequence[int], seen: Sequence[int] | None) -> list[Case]:
    by_id = {case.pk: case for case in old}
    stands = [case.pk for case in old]
    if sorted(order) != sorted(stands) or (seen is not None and list(seen) != stands):
        raise Refusal(
            "list-changed",
            _("The list has changed since this page was opened."),
            _("Look at its order as it is now, then move the case."),
        )
    new = [by_id[pk] for pk in order]
    for was, will in zip(old, new, strict=True):
        # What has begun keeps its place: nothing is put before it, and it is not put back.
        if was.pk != will.pk and was.status != Case.Status.BOOKED:
            checks.still_booked(was)
    return new


def case_call_off(*, case: Case, reason: str, at: datetime) -> Booked:
    """Take a booked case off its list for a reason (CancelReason); the cases after it move one up.

    Half of an act: call it inside the transaction of an act that also gives back what was held for the case,
    checks the role and writes the event. That act locks nothing before this but lists and this case's own
    things in their order (see lists_lock). Raises Refusal not-booked-any-more, case-moved, reason-unknown.
    """
    reason = checks.reason_checked(reason)
    lists_lock(case.list)
    now = case_locked(case)
    now.status, now.cancel_reason = Case.Status.CANCELLED, reason
    now.save(update_fields=["status", "cancel_reason"])
    close_up(now.list, now.position)
    return Booked(now, (), (Line("case", now.pk, Case.Status.BOOKED, Case.Status.CANCELLED),))


def case_relocate(
    *,
    case: Case,
    theatre_list: TheatreList,
    at: datetime,
    position: int | None = None,
    starts_at: datetime | None = None,
) -> Booked:
    """Put a booked case on another list, at a position (None: the end), with a start or an estimated one.

    The list may be another site's; the reference must be free there. Half of an act, as case_call_off.
    Raises Refusal not-booked-any-more, already-on-that-list, duplicate-reference, position-out-of-range,
    start-off-the-day.
    """
    position = checks.position_checked(position)
    if starts_at is not None:
        checks.start_checked(theatre_list, starts_at)
    lists_lock(case.list, theatre_list)
    now = case_locked(case)
    if now.list_id == theatre_list.pk:
        raise Refusal(
            "already-on-that-list",
            _("The case is on that list already."),
            _("To change its place there, change the order of the list."),
            field="theatre",
        )
    if now.site_id != theatre_list.site_id:
        checks.reference_free(site=theatre_list.site, reference=now.reference, but=now)
    old, left = now.list, now.position
    now.position = position_taken(theatre_list, position)
    now.list, now.site = theatre_list, theatre_list.site
    now.starts_at = starts_at or start_estimated(theatre_list, now.position, at=at)
    now.late_entry = now.late_entry or now.starts_at < at
    now.save(update_fields=["list", "site", "position", "starts_at", "late_entry"])
    close_up(old, left)
    line = Line(
        "case",
        now.pk,
        f"list {old.pk} position {left}",
        f"list {theatre_list.pk} position {now.position}",
    )
    return Booked(now, (*late_notice(now), *overlap_notices(now)), (line,))
