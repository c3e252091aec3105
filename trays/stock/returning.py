"""Units that go back to their supplier: gathered and set apart, sent, or given up."""

from collections.abc import Callable, Collection
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock import claims
from trays.stock.apart import apart_within, end_rows, one_site
from trays.stock.models import Unit, UnitState
from trays.stock.models_apart import (
    ApartCause,
    ApartEnd,
    ReturnStatus,
    ReturnUnit,
    ReturnWhy,
    SupplierReturn,
)
from trays.stock.moving import lock_units, step_within
from trays.stock.numbers import next_number
from trays.web.errors import Refusal

_CAUSES = {
    ReturnWhy.EXCHANGE: ApartCause.SHORT_DATED,
    ReturnWhy.DAMAGED: ApartCause.DAMAGED,
    ReturnWhy.NOTICE: ApartCause.NOTICE,
    ReturnWhy.NOT_WANTED: ApartCause.UNSURE,
}


def return_make(
    *,
    by: Person,
    units: Collection[Unit],
    why: str,
    note: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> SupplierReturn:
    """Set units of one supplier apart for return or exchange; they can be used no more.

    Raises Refusal "several-suppliers", "several-sites", "kept-for", "in-return", "no-way-unit"; NotAllowed.
    """
    require(by=by, act="move_stock", site_id=one_site(units))

    def work() -> SupplierReturn:
        made, lines = return_within(by=by, units=units, why=why, note=note, at=at)
        _write("return.make", made, by, at, client_key, lines)
        return made

    return _once("return.make", by, client_key, work)


def return_within(
    *, by: Person, units: Collection[Unit], why: str, note: str = "", at: datetime
) -> tuple[SupplierReturn, list[Line]]:
    """The same within a larger act, with no event written."""
    locked = lock_units(unit.pk for unit in units)
    one_site(locked)
    suppliers = {unit.component.supplier_id for unit in locked}
    if len(suppliers) > 1:
        raise Refusal(
            "several-suppliers",
            _("These units come from several suppliers."),
            _("Make a return for each supplier."),
        )
    _refuse_in_return(locked)
    claims.refuse_kept([unit for unit in locked if unit.state != UnitState.QUARANTINE])
    fresh = [unit for unit in locked if unit.state != UnitState.QUARANTINE]
    lines = apart_within(units=fresh, cause=_CAUSES[ReturnWhy(why)], note=note, by=by, at=at)
    made = SupplierReturn.objects.create(
        number=next_number(SupplierReturn, "SR"), site_id=locked[0].site_id,
        supplier_id=suppliers.pop(), why=why, note=note.strip()[:200], made_at=at, made_by=by,
    )  # fmt: skip
    ReturnUnit.objects.bulk_create([ReturnUnit(back=made, unit=unit) for unit in locked])
    lines += [Line("supplier_return", made.pk, "", made.status)]
    return made, lines


def return_send(
    *, by: Person, back: SupplierReturn, note: str = "", at: datetime, client_key: UUID | None = None
) -> SupplierReturn:
    """Send a return: its units are out of stock. `note` is what the supplier promised for them.

    Raises Refusal "return-ended", "no-way-unit"; NotAllowed.
    """
    require(by=by, act="move_stock", site_id=back.site_id)

    def work() -> SupplierReturn:
        locked = lock_units(back.units.filter(open=True).values_list("unit_id", flat=True))
        row = _open(back)
        lines = step_within(units=locked, state=UnitState.RETURNED)
        end_rows(locked, end=ApartEnd.RETURNED, by=by, at=at)
        lines.append(_end(row, ReturnStatus.SENT, note, by, at))
        _write("return.send", row, by, at, client_key, lines)
        return row

    return _once("return.send", by, client_key, work)


def return_cancel(
    *, by: Person, back: SupplierReturn, note: str, at: datetime, client_key: UUID | None = None
) -> SupplierReturn:
    """Give a return up; its units stay set apart until somebody decides about them.

    Raises Refusal "return-ended", "reason-missing"; NotAllowed.
    """
    require(by=by, act="move_stock", site_id=back.site_id)
    if not note.strip():
        raise Refusal("reason-missing", _("No reason is given."), _("Say in a few words why."))

    def work() -> SupplierReturn:
        row = _open(back)
        lines = [_end(row, ReturnStatus.CANCELLED, note, by, at)]
        _write("return.cancel", row, by, at, client_key, lines)
        return row

    return _once("return.cancel", by, client_key, work)


def _open(back: SupplierReturn) -> SupplierReturn:
    row = SupplierReturn.objects.select_for_update().get(pk=back.pk)
    if row.status != ReturnStatus.GATHERED:
        raise Refusal(
            "return-ended",
            _("Return %(number)s is %(state)s.")
            % {"number": row.number, "state": row.get_status_display().lower()},
            _("Load the page again."),
        )
    return row


def _end(row: SupplierReturn, status: str, note: str, by: Person, at: datetime) -> Line:
    before = row.status
    row.status, row.ended_at, row.ended_by = status, at, by
    row.note = note.strip()[:200] or row.note
    row.save(update_fields=["status", "ended_at", "ended_by", "note"])
    row.units.update(open=False)
    return Line("supplier_return", row.pk, before, status)


def _refuse_in_return(units: Collection[Unit]) -> None:
    row = ReturnUnit.objects.filter(unit__in=units, open=True).select_related("unit", "back").first()
    if row is not None:
        raise Refusal(
            "in-return",
            _("%(unit)s is in return %(number)s already.") % {"unit": row.unit, "number": row.back.number},
            _("Load the page again."),
        )


def _write(
    verb: str, row: SupplierReturn, by: Person, at: datetime, client_key: UUID | None, lines: list[Line]
) -> None:
    record(
        chain=row.site.code, verb=verb, by=by, at=at, client_key=client_key, answer={"return": row.pk},
        lines=lines,
    )  # fmt: skip


def _once(
    verb: str, by: Person, client_key: UUID | None, work: Callable[[], SupplierReturn]
) -> SupplierReturn:
    return act_once(
        verb=verb, by=by, client_key=client_key, work=work,
        replay=lambda answer: SupplierReturn.objects.get(pk=answer["return"]),
    )  # fmt: skip
