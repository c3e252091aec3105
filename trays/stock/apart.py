"""Units kept from use: set apart, back on the shelf, disposed of; and units marked to be used first."""

from collections.abc import Callable, Collection
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.parties.models import Tenure
from trays.parties.queries import site_day
from trays.places.models import Place
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock import claims, notices_open
from trays.stock.arriving import set_apart_rows
from trays.stock.models import Unit, UnitState
from trays.stock.models_apart import ApartCause, ApartEnd, ReturnUnit, SetApart
from trays.stock.moving import lock_units, no_way, state_word, step_within
from trays.web.errors import Refusal

DISPOSED_FOR = ("out_of_date", "damaged", "lost")


def units_set_apart(
    *,
    by: Person,
    units: Collection[Unit],
    cause: str,
    note: str = "",
    place: Place | None = None,
    at: datetime,
    client_key: UUID | None = None,
) -> list[Unit]:
    """Keep units from use: quarantined, and held for nobody any more.

    Raises Refusal "no-way-unit", "on-its-way", "several-sites"; NotAllowed.
    """
    require(by=by, act="quarantine_stock", site_id=one_site(units))

    def change(locked: list[Unit]) -> list[Line]:
        return apart_within(units=locked, cause=cause, note=note, by=by, at=at, place=place)

    return _act("unit.set-apart", by, units, at, client_key, change, reason=ApartCause(cause).value)


def apart_within(
    *, units: Collection[Unit], cause: str, note: str, by: Person, at: datetime, place: Place | None = None
) -> list[Line]:
    """The same for locked units within a larger act, with no event written.

    Raises Refusal "on-its-way" as well: its transfer has to end first.
    """
    for unit in units:
        if unit.state == UnitState.TRANSIT:
            raise Refusal(
                "on-its-way",
                _("%(unit)s is on its way between two sites.") % {"unit": unit},
                _("Take it in on the page of its transfer, then set it apart."),
            )
    lines = step_within(units=units, state=UnitState.QUARANTINE, place=place)
    lines += claims.give_up_within(units, at)
    set_apart_rows(list(units), cause=cause, note=note, by=by, at=at)
    return lines


def units_put_back(
    *, by: Person, units: Collection[Unit], at: datetime, client_key: UUID | None = None
) -> list[Unit]:
    """Put units that were set apart back on the shelf where they are.

    Raises Refusal "out-of-date", "notice-open" (an open safety notice names the lot), "in-return",
    "not-set-apart"; NotAllowed.
    """
    require(by=by, act="lift_quarantine", site_id=one_site(units))

    def change(locked: list[Unit]) -> list[Line]:
        for unit in locked:
            _check_releasable(unit, at)
        lines = step_within(units=locked, state=UnitState.SHELF)
        end_rows(locked, end=ApartEnd.RELEASED, by=by, at=at)
        return lines

    return _act("unit.put-back", by, units, at, client_key, change)


def units_dispose(
    *,
    by: Person,
    units: Collection[Unit],
    reason: str,
    at: datetime,
    client_key: UUID | None = None,
) -> list[Unit]:
    """Take the hospital's own units out for good: out of date, damaged, or lost.

    Raises Refusal "not-ours" for a supplier's unit (it goes back), "kept-for", "in-return", "no-way-unit";
    NotAllowed.
    """
    if reason not in DISPOSED_FOR:
        raise ValueError(f"a unit is not disposed of for {reason!r}")
    require(by=by, act="adjust_stock", site_id=one_site(units))

    def change(locked: list[Unit]) -> list[Line]:
        claims.refuse_kept(locked)
        for unit in locked:
            if unit.tenure != Tenure.OWNED:
                raise Refusal(
                    "not-ours",
                    _("%(unit)s belongs to %(owner)s.") % {"unit": unit, "owner": unit.owner},
                    _("Send it back to the supplier instead."),
                )
            _check_in_no_return(unit)
        lines = step_within(units=locked, state=UnitState.DISPOSED)
        end_rows(locked, end=ApartEnd.DISPOSED, by=by, at=at)
        return lines

    return _act("unit.dispose", by, units, at, client_key, change, reason=reason)


def units_use_first(
    *,
    by: Person,
    units: Collection[Unit],
    first: bool = True,
    at: datetime,
    client_key: UUID | None = None,
) -> list[Unit]:
    """Mark units to be taken before all others of their owner, or take the mark off.

    Raises Refusal "not-on-hand"; NotAllowed.
    """
    require(by=by, act="move_stock", site_id=one_site(units))

    def change(locked: list[Unit]) -> list[Line]:
        for unit in locked:
            if unit.state not in Unit.ON_HAND:
                raise Refusal(
                    "not-on-hand",
                    _("%(unit)s is not on a shelf: it is %(state)s.")
                    % {"unit": unit, "state": state_word(unit.state)},
                    _("Load the page again."),
                )
            unit.use_first = first
        Unit.objects.filter(pk__in=[unit.pk for unit in locked]).update(use_first=first)
        words = ("", "use_first") if first else ("use_first", "")
        return [Line("unit", unit.pk, *words) for unit in locked]

    return _act("unit.use-first", by, units, at, client_key, change)


def end_rows(units: Collection[Unit], *, end: str, by: Person, at: datetime) -> None:
    """Write down how it ended that units were set apart."""
    rows = SetApart.objects.filter(unit__in=units, ended_at__isnull=True)
    rows.update(end=end, ended_at=at, ended_by=by)


def one_site(units: Collection[Unit]) -> int:
    """The site of units that are acted on together. Raises Refusal "several-sites", "nothing-chosen"."""
    sites = {unit.site_id for unit in units}
    if not sites:
        raise Refusal("nothing-chosen", _("Nothing is chosen."), _("Choose at least one unit."))
    if len(sites) > 1:
        raise Refusal(
            "several-sites", _("These units are at several sites."), _("Do it at each site for itself.")
        )
    return sites.pop()


def _check_releasable(unit: Unit, at: datetime) -> None:
    if unit.state != UnitState.QUARANTINE:
        raise no_way(unit, UnitState.SHELF)
    _check_in_no_return(unit)
    if unit.expires is not None and unit.expires < site_day(unit.site, at):
        raise Refusal(
            "out-of-date",
            _("%(unit)s was usable until %(day)s.") % {"unit": unit, "day": unit.expires.isoformat()},
            _("Dispose of it, or send it back to its supplier."),
        )
    notices = notices_open.naming(component_id=unit.component_id, lot=unit.lot)
    if notices:
        raise Refusal(
            "notice-open",
            _("Safety notice %(number)s names the lot of %(unit)s.")
            % {"number": notices[0].number, "unit": unit},
            _("Close the notice first."),
        )


def _check_in_no_return(unit: Unit) -> None:
    row = ReturnUnit.objects.filter(unit=unit, open=True).select_related("back").first()
    if row is not None:
        raise Refusal(
            "in-return",
            _("%(unit)s is set apart for return %(number)s.") % {"unit": unit, "number": row.back.number},
            _("Give that return up first, or send it."),
        )


def _act(
    verb: str,
    by: Person,
    units: Collection[Unit],
    at: datetime,
    client_key: UUID | None,
    change: Callable[[list[Unit]], list[Line]],
    *,
    reason: str = "",
) -> list[Unit]:
    def work() -> list[Unit]:
        locked = lock_units(unit.pk for unit in units)
        one_site(locked)
        lines = change(locked)
        record(
            chain=locked[0].site.code, verb=verb, by=by, at=at, reason=reason, client_key=client_key,
            answer={"units": [unit.pk for unit in locked]}, lines=lines,
        )  # fmt: skip
        return locked

    return act_once(
        verb=verb, by=by, client_key=client_key, work=work,
        replay=lambda answer: list(Unit.objects.filter(pk__in=answer["units"]).order_by("pk")),
    )  # fmt: skip
