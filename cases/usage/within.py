"""What acts on things brought in share: the row under its locks, the seal that is broken, what is late."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.reservations.hold import end_holds_within
from cases.usage.models import Brought
from trays.ledger.append import Line
from trays.staff.models import Person
from trays.stock.apart import end_rows
from trays.stock.models import Unit
from trays.stock.models_apart import ApartEnd
from trays.stock.moving import lock_units, step_within
from trays.stock.transfers_in import turned_up_within
from trays.web.errors import Refusal

LATE_AFTER = timedelta(hours=1)
"""What is entered so long after it happened is marked late."""


CLOCKS_AGREE = timedelta(minutes=5)


def moment(happened_at: datetime | None, at: datetime) -> datetime:
    """When it happened: the time given, such as the paper's own, or now.

    Raises Refusal "to-come" for a time that has not come yet.
    """
    if happened_at is None:
        return at
    if happened_at - at > CLOCKS_AGREE:
        raise Refusal(
            "to-come", _("This time has not come yet."), _("Put the time right, as it stands on the paper."),
            field="happened_at",
        )  # fmt: skip
    return happened_at


def locked_brought(brought: Brought) -> Brought:
    """The row as it is under the case's lock; its unit is locked too."""
    row = Brought.objects.select_related("component__family", "unit", "pile", "owner").get(pk=brought.pk)
    row.case = brought.case
    if row.unit_id is not None:
        (row.unit,) = lock_units([row.unit_id])
    if row.replaced_at is not None:
        raise Refusal(
            "corrected-meanwhile",
            _("This entry has been corrected; another took its place."),
            _("Load the page again."),
        )
    return row


def open_within(row: Brought, *, by: Person, at: datetime, happened_at: datetime | None = None) -> list[Line]:
    """The seal is broken: the unit leaves stock, its hold ends. The caller saves the row."""
    row.opened_at, row.opened_by = moment(happened_at, at), by
    if row.unit is None:
        return []
    lines = end_holds_within(units=[row.unit], reason="used", at=at)
    out_of_quarantine(row.unit, by=by, at=at)
    if row.unit.state == Unit.State.TRANSIT:
        note = _("Opened in case %(case)s.") % {"case": row.case.reference}
        lines += turned_up_within(unit=row.unit, site=row.case.site, note=note, by=by, at=at)
    if row.unit.state != Unit.State.OPENED:
        lines += step_within(units=[row.unit], state=Unit.State.OPENED, place=row.case.list.theatre)
    return lines


def out_of_quarantine(unit: Unit, *, by: Person, at: datetime) -> None:
    """What was kept from use and is used all the same is kept no longer."""
    if unit.state == Unit.State.QUARANTINE:
        end_rows([unit], end=ApartEnd.USED, by=by, at=at)


def is_late(case: Case, happened_at: datetime, at: datetime) -> bool:
    """Whether a fact is entered long after it happened, or when its case is over."""
    over = (Case.Status.CLOSED, Case.Status.CANCELLED)
    return at - happened_at > LATE_AFTER or Case.objects.filter(pk=case.pk, status__in=over).exists()
