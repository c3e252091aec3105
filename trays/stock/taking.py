"""Stock takes by place: begun, what is seen taken down by scan, counted again, broken off."""

from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.places.models import Place
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.arriving import put_down_within
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.models_apart import ApartEnd, SetApart
from trays.stock.models_takes import PileCount, Sighting, SightingKind, StockTake, TakeStatus
from trays.stock.moving import lock_units, step_within
from trays.stock.numbers import next_number
from trays.stock.queries_takes import LIES, sightings_of
from trays.web.errors import Refusal

MOST_PIECES = 1_000_000


def take_begin(*, by: Person, place: Place, at: datetime, client_key: UUID | None = None) -> StockTake:
    """Begin to count a place. Raises Refusal "counted-already" (somebody counts it now); NotAllowed."""
    require(by=by, act="count_stock", site_id=place.site_id)

    def work() -> StockTake:
        other = StockTake.objects.filter(place=place, status=TakeStatus.COUNTING).first()
        if other is not None:
            raise Refusal(
                "counted-already",
                _("%(place)s is being counted: %(number)s, since %(name)s began it.")
                % {"place": place, "number": other.number, "name": other.begun_by},
                _("Go on with that count, or break it off first."),
            )
        made = StockTake.objects.create(
            site=place.site, place=place, number=next_number(StockTake, "ST"), begun_at=at, begun_by=by
        )
        lines = [Line("stock_take", made.pk, "", made.status)]
        return write_take("take.begin", made, by, at, client_key, lines)

    return once("take.begin", by, client_key, work)


def thing_see(
    *,
    by: Person,
    take: StockTake,
    component: Component,
    lot: str = "",
    serial: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Sighting:
    """Take down one thing that lies at the place, as its label says.

    One that the record holds elsewhere on the site is moved here; one that was missing is found. Of a lot
    without serials each scan is one more; more than the record holds stay unexplained, as does what by the
    record is no stock any more or at another site.

    Raises Refusal "unit-not-on-file", "seen-already", "lot-not-read", "serial-needed", "take-ended";
    NotAllowed.
    """
    require(by=by, act="count_stock", site_id=take.site_id)
    if not lot and not serial:
        raise Refusal(
            "lot-not-read",
            _("This label names the item only: neither lot nor serial."),
            _("Scan its other code, or type lot or serial."),
        )

    def work() -> Sighting:
        # A lot alone names those of it that have no serial.
        rows = Unit.objects.filter(component=component, serial=serial, **({} if serial else {"lot": lot}))
        locked = lock_units(rows.values_list("pk", flat=True))
        if not serial and not locked and Unit.objects.filter(component=component, lot=lot).exists():
            raise Refusal(
                "serial-needed",
                _("Each one of lot %(lot)s has a serial.") % {"lot": lot},
                _("Scan or type its serial."),
            )
        row = lock_take(take)
        kind, unit = _what_it_is(row, locked, component, serial)
        lines: list[Line] = []
        if unit is not None and kind == SightingKind.MOVED:
            lines = step_within(units=[unit], state=unit.state, place=row.place)
        if unit is not None and kind == SightingKind.FOUND:
            lines = put_down_within(unit, row.place, "", by, at, cause=_apart_before(unit))
        made = Sighting.objects.create(
            take=row, round=row.round, kind=kind, component=component, lot=lot, serial=serial, unit=unit,
            at=at, by=by,
        )  # fmt: skip
        lines.append(Line("sighting", made.pk, "", kind))
        record(
            chain=row.site.code, verb="take.see", by=by, at=at, place_id=row.place_id,
            client_key=client_key, answer={"sighting": made.pk}, lines=lines,
        )  # fmt: skip
        return made

    return _sighting_once("take.see", by, client_key, work)


def sighting_take_back(
    *, by: Person, sighting: Sighting, at: datetime, client_key: UUID | None = None
) -> Sighting:
    """Take back what was scanned by mistake. What it moved or found stays where it was seen.

    Raises Refusal "taken-back-already", "take-ended"; NotAllowed.
    """
    require(by=by, act="count_stock", site_id=sighting.take.site_id)

    def work() -> Sighting:
        row = lock_take(sighting.take)
        one = Sighting.objects.get(pk=sighting.pk)
        if one.round != row.round or one.kind == SightingKind.TAKEN_BACK or hasattr(one, "taken_back"):
            raise Refusal("taken-back-already", _("This counts no more."), _("Load the page again."))
        return _take_back(one, "take.take-back", by, at, client_key, [])

    return _sighting_once("take.take-back", by, client_key, work)


def more_is_moved(
    *, by: Person, sighting: Sighting, unit: Unit, at: datetime, client_key: UUID | None = None
) -> Sighting:
    """Say of one more of a lot that it is this unit, which the record holds elsewhere: it is moved here.

    Raises Refusal "another-lot", "taken-back-already", "take-ended", "not-on-hand"; NotAllowed.
    """
    require(by=by, act="count_stock", site_id=sighting.take.site_id)

    def work() -> Sighting:
        (moved,) = lock_units([unit.pk])
        row = lock_take(sighting.take)
        one = Sighting.objects.get(pk=sighting.pk)
        if one.kind != SightingKind.MORE or one.round != row.round or hasattr(one, "taken_back"):
            raise Refusal("taken-back-already", _("This counts no more."), _("Load the page again."))
        if (moved.component_id, moved.lot) != (one.component_id, one.lot) or moved.site_id != row.site_id:
            raise Refusal("another-lot", _("That is another lot."), _("Choose one of the same lot."))
        if moved.state not in LIES or moved.place_id == row.place_id:
            raise Refusal("not-on-hand", _("That one is not there any more."), _("Load the page again."))
        lines = step_within(units=[moved], state=moved.state, place=row.place)
        made = Sighting.objects.create(
            take=row, round=row.round, kind=SightingKind.MOVED, component=one.component, lot=one.lot,
            unit=moved, at=at, by=by,
        )  # fmt: skip
        lines.append(Line("sighting", made.pk, "", made.kind))
        _take_back(one, "take.moved", by, at, client_key, lines)
        return made

    return _sighting_once("take.moved", by, client_key, work)


def pile_count(
    *, by: Person, take: StockTake, pile: Pile, pieces: int, at: datetime, client_key: UUID | None = None
) -> StockTake:
    """Take down how many pieces of a pile there are. Raises Refusal "take-ended", "pile-elsewhere"."""
    require(by=by, act="count_stock", site_id=take.site_id)

    def work() -> StockTake:
        row = lock_take(take)
        if pile.place_id != row.place_id:
            raise Refusal("pile-elsewhere", _("This pile is at another place."), _("Count that place."))
        if not 0 <= pieces <= MOST_PIECES:
            raise Refusal("no-pieces", _("This is no number of pieces."), _("Put the number right."))
        PileCount.objects.create(take=row, round=row.round, pile=pile, pieces=pieces, at=at, by=by)
        lines = [Line("pile", pile.pk, "", "counted")]
        return write_take("take.count", row, by, at, client_key, lines)

    return once("take.count", by, client_key, work)


def take_recount(*, by: Person, take: StockTake, at: datetime, client_key: UUID | None = None) -> StockTake:
    """Begin the next round: everything is scanned again. Raises Refusal "take-ended"; NotAllowed."""
    require(by=by, act="count_stock", site_id=take.site_id)

    def work() -> StockTake:
        row = lock_take(take)
        row.round += 1
        row.save(update_fields=["round"])
        lines = [Line("stock_take", row.pk, f"round {row.round - 1}", f"round {row.round}")]
        return write_take("take.recount", row, by, at, client_key, lines)

    return once("take.recount", by, client_key, work)


def take_break_off(*, by: Person, take: StockTake, at: datetime, client_key: UUID | None = None) -> StockTake:
    """Give a count up; the record stays as it is. Raises Refusal "take-ended"; NotAllowed."""
    require(by=by, act="count_stock", site_id=take.site_id)

    def work() -> StockTake:
        row = lock_take(take)
        lines = [end_take(row, TakeStatus.BROKEN_OFF, by, at)]
        return write_take("take.break-off", row, by, at, client_key, lines)

    return once("take.break-off", by, client_key, work)


def lock_take(take: StockTake) -> StockTake:
    """The take, locked, while it is being counted. Raises Refusal "take-ended"."""
    row = StockTake.objects.select_for_update().get(pk=take.pk)
    if row.status != TakeStatus.COUNTING:
        raise Refusal(
            "take-ended",
            _("Count %(number)s has ended: %(state)s.")
            % {"number": row.number, "state": row.get_status_display().lower()},
            _("Begin a new one."),
        )
    return row


def end_take(row: StockTake, status: str, by: Person, at: datetime) -> Line:
    """End a locked take; return the event's line."""
    before = row.status
    row.status, row.ended_at, row.ended_by = status, at, by
    row.save(update_fields=["status", "ended_at", "ended_by", "expected", "seen"])
    return Line("stock_take", row.pk, before, status)


def write_take(
    verb: str, row: StockTake, by: Person, at: datetime, client_key: UUID | None, lines: list[Line]
) -> StockTake:
    """Record an act of a take."""
    record(
        chain=row.site.code, verb=verb, by=by, at=at, place_id=row.place_id, client_key=client_key,
        answer={"take": row.pk}, lines=lines,
    )  # fmt: skip
    return row


def once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], StockTake]) -> StockTake:
    """Do an act of a take once."""
    return act_once(
        verb=verb, by=by, client_key=client_key, work=work,
        replay=lambda answer: StockTake.objects.get(pk=answer["take"]),
    )  # fmt: skip


def _apart_before(unit: Unit) -> str:
    """Why a unit was set apart when it went missing: found, it is apart for that again; "" if it was not."""
    last = SetApart.objects.filter(unit=unit).order_by("-pk").first()
    return last.cause if last is not None and last.end == ApartEnd.MISSING else ""


def _what_it_is(
    take: StockTake, units: list[Unit], component: Component, serial: str
) -> tuple[str, Unit | None]:
    if not units:
        raise Refusal(
            "unit-not-on-file",
            _("%(what)s: no unit of this label is on file.") % {"what": component},
            _("Set it aside, then receive it on the page Receiving."),
        )
    seen = {one.unit_id for one in sightings_of(take) if one.unit_id}
    here = [unit for unit in units if unit.place_id == take.place_id and unit.state in LIES]
    still = [unit for unit in here if unit.pk not in seen]
    if still:
        return SightingKind.HERE, still[0]
    if serial and units[0].pk in seen:
        raise Refusal(
            "seen-already",
            _("%(unit)s was scanned in this count already.") % {"unit": units[0]},
            _("Scan the next one."),
        )
    missing = [u for u in units if u.state == UnitState.MISSING and u.site_id == take.site_id]
    if missing:
        return SightingKind.FOUND, missing[0]
    away = [unit for unit in units if unit.site_id == take.site_id and unit.state in LIES]
    if serial:
        return (SightingKind.MOVED if away else SightingKind.NOT_STOCK), units[0]
    # Which one of a lot it is nobody can see: more than the record holds here is not explained by itself.
    return (SightingKind.MORE if here or away else SightingKind.NOT_STOCK), None


def _take_back(
    one: Sighting, verb: str, by: Person, at: datetime, client_key: UUID | None, lines: list[Line]
) -> Sighting:
    back = Sighting.objects.create(
        take=one.take, round=one.round, kind=SightingKind.TAKEN_BACK, component=one.component, lot=one.lot,
        serial=one.serial, unit=one.unit, of=one, at=at, by=by,
    )  # fmt: skip
    record(
        chain=one.take.site.code, verb=verb, by=by, at=at, place_id=one.take.place_id,
        client_key=client_key, answer={"sighting": back.pk},
        lines=[*lines, Line("sighting", one.pk, one.kind, "taken_back")],
    )  # fmt: skip
    return back


def _sighting_once(
    verb: str, by: Person, client_key: UUID | None, work: Callable[[], Sighting]
) -> Sighting:
    return act_once(
        verb=verb, by=by, client_key=client_key, work=work,
        replay=lambda answer: Sighting.objects.get(pk=answer["sighting"]),
    )  # fmt: skip
