"""What comes in: checked against the label's own rules, put on a shelf or set apart, kept as an arrival.

The halves here run inside a larger act, one of a receipt, a delivery or a loan: they write no event, but
return its lines.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.ledger.append import Line
from trays.parties.models import Party, PartyKind, Site, Tenure
from trays.parties.queries import site_day
from trays.places.models import Place
from trays.staff.models import Person
from trays.stock import notices_open
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.models_apart import ApartCause, SetApart
from trays.stock.models_arrivals import Arrival, ArrivalUnit, Condition
from trays.stock.moving import lock_units, pile_add_within, state_word, step_within
from trays.stock.policies import policy_of
from trays.web.errors import Refusal, Unreadable

MOST_AT_ONCE = 1000
MOST_PIECES = 1_000_000
LOT_LENGTH = 20
# States from which the very same thing, by its serial, may come in again.
COMES_BACK = (UnitState.RETURNED, UnitState.MISSING, UnitState.DISPOSED)


@dataclass(frozen=True, slots=True)
class Goods:
    """What came in, as the label and the delivery note say it. `expires` is inclusive; None = no date.

    `delivered_by`: who sent it by the delivery note, where that is known.
    """

    component: Component
    owner: Party
    tenure: str
    place: Place
    lot: str = ""
    serial: str = ""
    expires: date | None = None
    bin: str = ""
    delivered_by: Party | None = None


def receive_within(
    *,
    by: Person,
    site: Site,
    goods: Goods,
    count: int = 1,
    at: datetime,
    condition: str = Condition.GOOD,
    note: str = "",
    raw: bytes = b"",
) -> tuple[list[Unit], list[Line]]:
    """Take `count` sealed units of one component and lot in; return them and the event's lines.

    Damaged ones, and those of a lot that an open safety notice names, are quarantined. A unit that is on
    file by its serial as returned, missing or disposed of is that unit again.

    Raises Refusal: "place-elsewhere", "tenure-of-owner", "other-suppliers-item", "out-of-date",
    "short-dated" (only where the condition is good, and never of a loan), "lot-or-serial", "serial-known",
    "count-out-of-range", "not-a-unit"; Unreadable "lot-unreadable".
    """
    check_goods(goods, site=site, at=at)
    _check_units(goods, count)
    if condition == Condition.GOOD and goods.tenure != Tenure.LOANED:
        check_long_dated(goods.expires, site=site, at=at)
    notices = notices_open.naming(component_id=goods.component.pk, lot=goods.lot)
    cause = apart_cause(condition, noticed=bool(notices))
    state = UnitState.QUARANTINE if cause else UnitState.SHELF
    back = _comes_back(goods)
    if back is not None:
        lines = step_within(units=[back], state=state, place=goods.place, bin=printable(goods.bin))
        units = [_as_it_came(back, goods)]
    else:
        units = [_new_unit(goods, site=site, at=at, state=state) for _n in range(count)]
        lines = [Line("unit", unit.pk, "", unit.state, 1) for unit in units]
    if condition == Condition.SHORT_ACCEPTED:
        Unit.objects.filter(pk__in=[unit.pk for unit in units]).update(use_first=True)
    if cause:
        set_apart_rows(units, cause=cause, note=note, by=by, at=at)
    for notice in notices:
        notices_open.add_arrived(notice, units, by=by, at=at)
    _keep_arrival(goods, site, count, units, by=by, at=at, condition=condition, note=note, raw=raw)
    return units, lines


def pile_receive_within(
    *, by: Person, site: Site, goods: Goods, pieces: int, at: datetime, raw: bytes = b""
) -> tuple[Pile, Line]:
    """Add so many pieces of one lot to its pile at a place, or begin the pile.

    Raises what `receive_within` raises; "lot-or-serial" when there is no lot, "not-a-pile", and
    "lot-recalled" where an open safety notice names the lot: pieces cannot be set apart one by one.
    """
    check_goods(goods, site=site, at=at)
    if goods.component.family.kind != "consumable":
        raise Refusal(
            "not-a-pile",
            _("%(what)s comes as sealed units, not in pieces.") % {"what": goods.component},
            _("Receive it by its own label."),
        )
    if not goods.lot or goods.serial:
        raise Refusal("lot-or-serial", _("A pile is kept by its lot."), _("Read the lot from the label."))
    if not 1 <= pieces <= MOST_PIECES:
        raise Refusal("count-out-of-range", _("This is no number of pieces."), _("Put the number right."))
    notices_open.refuse_pieces(component=goods.component, lot=goods.lot)
    pile, _made = Pile.objects.get_or_create(
        component=goods.component,
        lot=goods.lot,
        expires=goods.expires,
        owner=goods.owner,
        place=goods.place,
        defaults={"tenure": goods.tenure, "site": site, "bin": printable(goods.bin), "quantity": 0},
    )
    line = pile_add_within(pile=pile, pieces=pieces)
    _keep_arrival(goods, site, pieces, [], by=by, at=at, pile=pile, raw=raw)
    return pile, line


def put_down_within(
    unit: Unit, place: Place, bin: str, by: Person, at: datetime, *, cause: str = ""
) -> list[Line]:
    """A locked unit that turned up: on the shelf; apart for `cause` or an open notice that names its lot."""
    noticed = notices_open.naming(component_id=unit.component_id, lot=unit.lot)
    why = ApartCause.NOTICE if noticed else cause
    if not why:
        return step_within(units=[unit], state=UnitState.SHELF, place=place, bin=bin)
    lines = step_within(units=[unit], state=UnitState.QUARANTINE, place=place, bin=bin)
    set_apart_rows([unit], cause=why, note=noticed[0].number if noticed else "", by=by, at=at)
    for notice in noticed:
        notices_open.add_arrived(notice, [unit], by=by, at=at)
    return lines


def check_goods(goods: Goods, *, site: Site, at: datetime) -> None:
    """What holds for every receipt. Raises Refusal, Unreadable (see `receive_within`)."""
    if goods.place.site_id != site.pk:
        raise elsewhere()
    if (goods.tenure == Tenure.OWNED) != (goods.owner.kind == PartyKind.HOSPITAL):
        raise Refusal(
            "tenure-of-owner",
            _("Owned goods belong to the hospital, consigned and loaned ones to a supplier."),
            _("Choose the owner that the delivery note names."),
        )
    check_supplier(goods.component, goods.owner if goods.tenure != Tenure.OWNED else goods.delivered_by)
    check_supplier(goods.component, goods.delivered_by)
    check_in_date(goods.expires, site=site, at=at)
    printable(goods.lot)
    printable(goods.serial)


def check_supplier(component: Component, supplier: Party | None) -> None:
    """Raises Refusal "other-suppliers-item"."""
    if supplier is not None and component.supplier_id != supplier.pk:
        raise Refusal(
            "other-suppliers-item",
            _("%(what)s is not an item of %(supplier)s.") % {"what": component, "supplier": supplier},
            _("Look at the label and the delivery note; it may have come in the wrong box."),
        )


def check_in_date(expires: date | None, *, site: Site, at: datetime) -> None:
    """Raises Refusal "out-of-date"."""
    if expires is not None and expires < site_day(site, at):
        raise Refusal(
            "out-of-date",
            _("The use-by date on this label has passed."),
            _("Set it apart and ask the supplier to exchange it."),
        )


def check_long_dated(expires: date | None, *, site: Site, at: datetime) -> None:
    """Raises Refusal "short-dated" for what has fewer days left than the site asks for."""
    if expires is None:
        return
    wanted = policy_of(site.pk).short_dated_days
    left = (expires - site_day(site, at)) / timedelta(days=1)
    if left < wanted:
        raise Refusal(
            "short-dated",
            _("It can be used for %(left)s more days; %(wanted)s are asked for here.")
            % {"left": int(left), "wanted": wanted},
            _("Accept it to be used first, or set it apart for exchange."),
            days=int(left),
        )


def apart_cause(condition: str, *, noticed: bool) -> str:
    """Why goods in this condition are kept from use; "" where they are not."""
    if noticed:
        return ApartCause.NOTICE
    return {Condition.DAMAGED: ApartCause.DAMAGED, Condition.SHORT_APART: ApartCause.SHORT_DATED}.get(
        Condition(condition), ""
    )


def set_apart_rows(
    units: list[Unit], *, cause: str, note: str, by: Person, at: datetime
) -> list[SetApart]:
    """Write down why units are in quarantine from now on."""
    # One that left quarantine by way of the theatre has an open row still.
    stale = SetApart.objects.filter(unit__in=units, ended_at__isnull=True)
    stale.update(ended_at=at, ended_by=by, end="used")
    return SetApart.objects.bulk_create(
        [SetApart(unit=unit, cause=cause, note=note.strip()[:200], since=at, by=by) for unit in units]
    )


def printable(text: str) -> str:
    """Lot, serial and bin as they are on the label: exact, printable, within the field's length."""
    if len(text) > LOT_LENGTH or not text.isprintable():
        raise Unreadable(
            "lot-unreadable",
            _("Lots, serials and bins have at most %(most)s printable letters.") % {"most": LOT_LENGTH},
            _("Type it as it stands on the label."),
        )
    return text


def elsewhere() -> Refusal:
    """What is said of a place at another site."""
    return Refusal(
        "place-elsewhere",
        _("This place is at another site."),
        _("Choose a place of this site; a transfer between sites is an act of its own."),
    )


def serial_known(unit: Unit | None) -> Refusal:
    """What is said of a serial that is on file: where the unit is by the record."""
    said = _("A unit with this serial is on file already.")
    if unit is not None:
        said = _("A unit with this serial is on file already: %(state)s, %(place)s, %(site)s.") % {
            "state": state_word(unit.state), "place": unit.place, "site": unit.site,
        }  # fmt: skip
    if unit is not None and unit.state == UnitState.TRANSIT:
        return Refusal("serial-known", said, _("Receive it on the page of its transfer."))
    step = _("Look it up by a scan; if the label says otherwise, tell quality.")
    return Refusal("serial-known", said, step)


def _check_units(goods: Goods, count: int) -> None:
    if goods.component.family.kind == "consumable":
        raise Refusal(
            "not-a-unit",
            _("%(what)s is a consumable; it is kept by lot and counted in pieces.")
            % {"what": goods.component},
            _("Receive it with its lot and the number of pieces."),
        )
    if not goods.lot and not goods.serial:
        raise Refusal("lot-or-serial", _("Neither lot nor serial is given."), _("Read them from the label."))
    if not 1 <= count <= (1 if goods.serial else MOST_AT_ONCE):
        raise Refusal(
            "count-out-of-range",
            _("A serial names one unit; a receipt holds 1 to %(most)s.") % {"most": MOST_AT_ONCE},
            _("Put the number right."),
        )


def _comes_back(goods: Goods) -> Unit | None:
    """The unit with this serial, locked, where it may come in again. Raises Refusal "serial-known"."""
    if not goods.serial:
        return None
    known = Unit.objects.filter(component=goods.component, serial=goods.serial).values_list("pk", flat=True)
    if not known:
        return None
    (unit,) = lock_units(known)
    if unit.state not in COMES_BACK:
        raise serial_known(unit)
    return unit


def _as_it_came(unit: Unit, goods: Goods) -> Unit:
    unit.owner, unit.tenure, unit.expires = goods.owner, goods.tenure, goods.expires
    unit.lot = goods.lot or unit.lot
    unit.save(update_fields=["owner", "tenure", "expires", "lot"])
    return unit


def _new_unit(goods: Goods, *, site: Site, at: datetime, state: str) -> Unit:
    try:
        with transaction.atomic():
            return Unit.objects.create(
                component=goods.component,
                lot=goods.lot,
                serial=goods.serial,
                expires=goods.expires,
                owner=goods.owner,
                tenure=goods.tenure,
                site=site,
                place=goods.place,
                bin=printable(goods.bin),
                state=state,
                received_at=at,
            )
    except IntegrityError as clash:
        if not goods.serial:
            raise
        raise serial_known(None) from clash


def _keep_arrival(
    goods: Goods,
    site: Site,
    count: int,
    units: list[Unit],
    *,
    by: Person,
    at: datetime,
    condition: str = Condition.GOOD,
    note: str = "",
    raw: bytes = b"",
    pile: Pile | None = None,
) -> None:
    made = Arrival.objects.create(
        site=site, place=goods.place, component=goods.component, pile=pile, lot=goods.lot,
        serial=goods.serial, expires=goods.expires, count=count, owner=goods.owner, tenure=goods.tenure,
        condition=condition, note=note.strip()[:200], raw=raw[:4096], at=at, by=by,
    )  # fmt: skip
    ArrivalUnit.objects.bulk_create([ArrivalUnit(arrival=made, unit=unit) for unit in units])
