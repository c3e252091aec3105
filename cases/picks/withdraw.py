"""Acts on a booked case that touch what is held for it: cancelling it, and moving it to another list."""

from __future__ import annotations

from datetime import date, datetime
from uuid import UUID

from cases.bookings.enter import case_again
from cases.bookings.kinds import Booked
from cases.bookings.models import Case
from cases.bookings.once import act_once
from cases.bookings.positions import lists_lock
from cases.bookings.services import case_call_off, case_relocate, list_enter
from cases.reservations import locking
from cases.reservations.queries import set_holds_of
from cases.reservations.release import release_all
from cases.reservations.sets import end_set_holds
from trays.ledger.append import Line, record
from trays.places.models import Place
from trays.staff.access import require
from trays.staff.models import Person


def case_withdraw(
    *, by: Person, case: Case, reason: str, at: datetime, client_key: UUID | None = None
) -> Booked:
    """Cancel a booked case for a reason (CancelReason) and give up all that was held for it alone.

    The cases after it on its list move one up. What the list itself holds stays. Its pick list stays on file
    and says that everything goes back. Writes one event "case.cancel". Raises NotAllowed; Refusal
    not-booked-any-more, case-moved, reason-unknown.
    """
    require(by=by, act="book_case", site_id=case.site_id)

    def work() -> Booked:
        lists_lock(case.list)
        released = release_all(case=case, at=at)
        off = case_call_off(case=case, reason=reason, at=at)
        lines = (*off.lines, *released)
        record(
            chain=case.site.code, verb="case.cancel", by=by, at=at, lines=lines, reason=reason,
            place_id=case.list.theatre_id, client_key=client_key, answer={"case": case.pk},
        )  # fmt: skip
        return Booked(off.case, off.notices, lines)

    return act_once(verb="case.cancel", by=by, client_key=client_key, work=work, replay=case_again)


def case_shift(
    *,
    by: Person,
    case: Case,
    theatre: Place,
    day: date,
    session: str,
    at: datetime,
    position: int | None = None,
    starts_at: datetime | None = None,
    client_key: UUID | None = None,
) -> Booked:
    """Move a booked case to another list, which is opened if there is none.

    Holds of sets end, for they were made for another time; units stay held, unless the case goes to another
    site. Writes one event "case.move" in the record of the site that the case leaves. Raises NotAllowed for
    either site; Refusal as case_relocate and list_enter.
    """
    require(by=by, act="book_case", site_id=case.site_id)
    require(by=by, act="book_case", site_id=theatre.site_id)

    def work() -> Booked:
        target, opened = list_enter(theatre=theatre, day=day, session=session, at=at, surgeon=case.surgeon)
        lists_lock(case.list, target)
        released = _given_up(case, at=at, leaves_site=theatre.site_id != case.site_id)
        moved = case_relocate(case=case, theatre_list=target, at=at, position=position, starts_at=starts_at)
        lines = (*opened, *moved.lines, *released)
        record(
            chain=case.site.code, verb="case.move", by=by, at=at, lines=lines,
            place_id=theatre.pk, client_key=client_key, answer={"case": case.pk},
        )  # fmt: skip
        return Booked(moved.case, moved.notices, lines)

    return act_once(verb="case.move", by=by, client_key=client_key, work=work, replay=case_again)


def _given_up(case: Case, *, at: datetime, leaves_site: bool) -> list[Line]:
    if leaves_site:
        return release_all(case=case, at=at)
    holds = set_holds_of(case)
    locking.lock(cases=[case.pk], sets=holds.values_list("set_id", flat=True))
    return end_set_holds(holds=holds, at=at, reason="withdrawn")
