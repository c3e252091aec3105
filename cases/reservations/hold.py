"""Holding units for a case or a list, giving them back, and taking another of the same lot instead.

`units_hold`, `units_release` and `unit_swap` are whole acts. `place_holds` and `end_holds` are their inner
halves for a larger act: they need the units locked and write no event, but return its lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from cases.bookings.models import Case, TheatreList
from cases.bookings.once import act_once
from cases.reservations import locking, queries
from cases.reservations.models import Hold, SetHold
from cases.reservations.queries import Keeper
from trays.ledger.append import Line, record
from trays.parties.models import Site
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.models import Unit
from trays.web.errors import Refusal
from trays.web.wording import sitetime

REASONS = ("released", "replaced", "swapped", "withdrawn", "used", "taken", "closed", "apart")
"""Used: opened for the case. Taken: opened for another one. Closed: the case is over."""


def units_hold(
    *,
    by: Person,
    units: Iterable[Unit],
    at: datetime,
    case: Case | None = None,
    theatre_list: TheatreList | None = None,
    client_key: UUID | None = None,
) -> tuple[Hold, ...]:
    """Hold the units for a case, or for a list whose cases share them; all of them or none.

    A unit already held for it stays so. Raises Refusal: "held-by-another", "not-on-hand", "elsewhere",
    "out-of-date" (on the day of the operation), "case-not-open"; NotAllowed "not-your-act".
    """
    keeper = one_keeper(case, theatre_list)
    require(by=by, act="hold_stock", site_id=keeper.site_id)
    keys = [unit.pk for unit in units]

    def work() -> None:
        locked = locking.lock(cases=[keeper.pk] if isinstance(keeper, Case) else (), units=keys)
        kept = locked.cases.get(keeper.pk, keeper) if isinstance(keeper, Case) else keeper
        made = place_holds(units=locked.units, keeper=kept, by=by, at=at)
        if made:
            record(
                chain=keeper.site.code,
                verb="unit.hold",
                by=by,
                at=at,
                lines=held_lines(made),
                client_key=client_key,
                answer={"units": sorted(keys)},
            )

    act_once(verb="unit.hold", by=by, client_key=client_key, work=work, replay=lambda answer: None)
    return tuple(queries.holds_of(keeper).filter(unit_id__in=keys).order_by("unit_id"))


def units_release(*, by: Person, units: Iterable[Unit], at: datetime, reason: str = "released") -> int:
    """End the open holds of these units; the number ended. Units of one site only.

    Raises Refusal "not-held" when a unit is held for nobody, NotAllowed "not-your-act".
    """
    wanted = list(units)
    sites = {unit.site_id: unit.site for unit in wanted}
    for site_id in sites:
        require(by=by, act="hold_stock", site_id=site_id)
    with transaction.atomic():
        locked = locking.lock(units=[unit.pk for unit in wanted])
        held = queries.open_holds(locked.units)
        loose = [unit for key, unit in locked.units.items() if key not in held]
        if loose:
            raise Refusal(
                "not-held",
                _("%(unit)s is held for nobody.") % {"unit": loose[0]},
                _("Load the page again and look at what is held now."),
            )
        ended = end_holds(holds=held.values(), at=at, reason=reason)
        for site_id, site in sites.items():
            own = [line for line in ended if locked.units[line.subject_id].site_id == site_id]
            record(chain=site.code, verb="unit.release", by=by, at=at, lines=own, reason=reason)
    return len(ended)


def unit_swap(*, by: Person, unit: Unit, other: Unit, at: datetime) -> Hold:
    """Take another unit of the same lot instead: the hold passes to it, for the same case or list.

    Raises Refusal "another-lot", "not-held", and those of `units_hold` for the other unit.
    """
    require(by=by, act="hold_stock", site_id=unit.site_id)
    with transaction.atomic():
        locked = locking.lock(units=[unit.pk, other.pk])
        unit, other = locked.units[unit.pk], locked.units[other.pk]
        hold = queries.open_holds([unit.pk]).get(unit.pk)
        if hold is None:
            raise Refusal(
                "not-held",
                _("%(unit)s is held for nobody.") % {"unit": unit},
                _("Hold the other unit for the case instead."),
            )
        if not _same_lot(unit, other):
            raise Refusal(
                "another-lot",
                _("The two units are not of one component and one lot."),
                _("Put it back and take one of lot %(lot)s.") % {"lot": unit.lot or unit.serial},
            )
        keeper = one_keeper(hold.case, hold.list)
        ended = end_holds(holds=[hold], at=at, reason="swapped")
        made = place_holds(units={other.pk: other}, keeper=keeper, by=by, at=at)
        record(chain=unit.site.code, verb="unit.swap", by=by, at=at, lines=[*ended, *held_lines(made)])
    return made[0]


def place_holds(
    *, units: Mapping[int, Unit], keeper: Keeper, by: Person, at: datetime
) -> list[Hold]:
    """Hold units that are locked, within a larger act; return the new holds, with no event written.

    Raises the refusals of `units_hold`.
    """
    _refuse_ended(keeper)
    held = queries.open_holds(units)
    day = queries.operation_day(keeper)
    new = []
    for key, unit in sorted(units.items()):
        if key in held and queries.kept_for(held[key], keeper):
            continue
        if key in held:
            raise _held_by_another(unit, held[key])
        _refuse_unusable(unit, keeper.site, day)
        new.append(_hold(unit, keeper, by, at))
    try:
        with transaction.atomic():
            return Hold.objects.bulk_create(new)
    except IntegrityError as error:
        # Whoever came past the lock is stopped by the database: one open hold for each unit.
        if "hold_one_open_per_unit" not in str(error) and "cases_hold.unit_id" not in str(error):
            raise
        raise _held_by_another(units[min(units)], None) from error


def end_holds(*, holds: Iterable[Hold], at: datetime, reason: str) -> list[Line]:
    """End holds within a larger act; return the event's lines. One that somebody else ended is left out."""
    if reason not in REASONS:
        raise ValueError(f"a hold does not end as {reason!r}")
    lines = []
    for hold in sorted(holds, key=lambda hold: hold.unit_id):
        open_still = Hold.objects.filter(pk=hold.pk, ended_at__isnull=True)
        if open_still.update(ended_at=at, ended_reason=reason) == 1:
            lines.append(Line("unit", hold.unit_id, "held", "free"))
    return lines


def end_holds_within(*, units: Iterable[Unit], reason: str, at: datetime) -> list[Line]:
    """End whatever holds stand on locked units, within a larger act; return the event's lines."""
    return end_holds(holds=queries.open_holds(unit.pk for unit in units).values(), at=at, reason=reason)


def held_lines(holds: Sequence[Hold]) -> list[Line]:
    """The event's lines of new holds."""
    return [Line("unit", hold.unit_id, "free", "held") for hold in holds]


def one_keeper(case: Case | None, theatre_list: TheatreList | None) -> Keeper:
    """The case or the list; ValueError unless exactly one is given."""
    if case is not None and theatre_list is None:
        return case
    if theatre_list is not None and case is None:
        return theatre_list
    raise ValueError("a hold is for a case or for a list")


def held_for(hold: Hold | SetHold) -> str:
    """Whom the unit or set is kept for, in words."""
    keeper = one_keeper(hold.case, hold.list)
    if isinstance(keeper, Case):
        return _("case %(reference)s") % {"reference": keeper.reference}
    return _("the list of %(theatre)s, %(day)s") % {
        "theatre": keeper.theatre.name,
        "day": sitetime(keeper.day, "day"),
    }


def _hold(unit: Unit, keeper: Keeper, by: Person, at: datetime) -> Hold:
    return Hold(
        unit=unit,
        case=keeper if isinstance(keeper, Case) else None,
        list=keeper if isinstance(keeper, TheatreList) else None,
        placed_at=at,
        placed_by=by,
    )


def _same_lot(unit: Unit, other: Unit) -> bool:
    # A serial names one unit, so it never stands for another.
    return (
        unit.pk != other.pk
        and unit.component_id == other.component_id
        and unit.lot == other.lot != ""
        and unit.expires == other.expires
        and not unit.serial
        and not other.serial
    )


def _refuse_ended(keeper: Keeper) -> None:
    if isinstance(keeper, Case) and keeper.status not in (Case.Status.BOOKED, Case.Status.OPENED):
        raise Refusal(
            "case-not-open",
            _("Case %(reference)s is %(status)s; nothing is held for it any more.")
            % {"reference": keeper.reference, "status": keeper.get_status_display().lower()},
            _("Book a new case if the operation takes place after all."),
        )


def _refuse_unusable(unit: Unit, site: Site, day: date) -> None:
    if unit.site_id != site.pk:
        raise Refusal(
            "elsewhere",
            _("%(unit)s is at another site.") % {"unit": unit},
            _("Have it sent to %(site)s first, or hold one that is there.") % {"site": site.name},
        )
    if unit.state not in Unit.ON_HAND:
        raise Refusal(
            "not-on-hand",
            _("%(unit)s is not on the shelf: %(state)s.")
            % {"unit": unit, "state": unit.get_state_display().lower()},
            _("Choose another unit."),
        )
    if unit.expires is not None and unit.expires < day:
        raise Refusal(
            "out-of-date",
            _("%(unit)s is out of date on the day of the operation: use by %(day)s.")
            % {"unit": unit, "day": sitetime(unit.expires, "date")},
            _("Choose a unit that is in date on that day."),
        )


def _held_by_another(unit: Unit, hold: Hold | None) -> Refusal:
    whom = held_for(hold) if hold is not None else _("another case")
    return Refusal(
        "held-by-another",
        _("%(unit)s is held for %(whom)s.") % {"unit": unit, "whom": whom},
        _("Choose another unit, or ask the coordinator to release this one."),
        unit_id=unit.pk,
    )
