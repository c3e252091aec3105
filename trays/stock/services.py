"""What changes stock: receipt of units and piles, and moves within a site.

Each act is one transaction with one ledger event; a receipt's line carries the quantity that came in, a
move's line carries none, so that what is there equals the sum of the lines.
"""

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.ledger.append import Line, answered, record
from trays.parties.models import Party, PartyKind, Site, Tenure
from trays.parties.queries import site_day
from trays.places.models import Place
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.models import Pile, Unit
from trays.web.errors import Refusal, Unreadable

MOST_AT_ONCE = 1000
MOST_PIECES = 1_000_000
LOT_LENGTH = 20


@dataclass(frozen=True, slots=True)
class Goods:
    """What came in, as the label and the delivery note say it. `expires` is inclusive; None = no date."""

    component: Component
    owner: Party
    tenure: str
    place: Place
    lot: str = ""
    serial: str = ""
    expires: date | None = None
    bin: str = ""


def unit_receive(
    *, by: Person, site: Site, goods: Goods, count: int = 1, at: datetime, client_key: UUID | None = None
) -> list[Unit]:
    """Put `count` sealed units of one component and lot on a shelf of the site.

    Raises Refusal: "place-elsewhere", "tenure-of-owner", "out-of-date", "lot-or-serial", "serial-known",
    "count-out-of-range"; Unreadable "lot-unreadable"; NotAllowed. The same client key gives the same units.
    """
    require(by=by, act="receive_stock", site_id=site.pk)
    done = answered(client_key)
    if done is not None:
        return list(Unit.objects.filter(pk__in=(done.answer or {}).get("units", [])).order_by("pk"))
    _check(goods, site=site, at=at)
    if not goods.lot and not goods.serial:
        raise Refusal("lot-or-serial", _("Neither lot nor serial is given."), _("Read them from the label."))
    if not 1 <= count <= (1 if goods.serial else MOST_AT_ONCE):
        raise Refusal(
            "count-out-of-range",
            _("A serial names one unit; a receipt holds 1 to %(most)s.") % {"most": MOST_AT_ONCE},
            _("Put the number right."),
        )
    try:
        with transaction.atomic():
            units = [_new_unit(goods, site=site, at=at) for _n in range(count)]
            record(
                chain=site.code,
                verb="unit.receive",
                by=by,
                at=at,
                place_id=goods.place.pk,
                client_key=client_key,
                answer={"units": [unit.pk for unit in units]},
                lines=[Line("unit", unit.pk, "", unit.state, 1) for unit in units],
            )
    except IntegrityError as clash:
        if not goods.serial:
            raise
        raise Refusal(
            "serial-known",
            _("A unit with this serial is on file already."),
            _("Look it up by a scan; if the label says otherwise, tell stores."),
        ) from clash
    return units


def unit_move(
    *, by: Person, unit: Unit, place: Place, bin: str = "", at: datetime, client_key: UUID | None = None
) -> Unit:
    """Put one unit on another shelf of the same site. The stock of the site stays what it was.

    Raises Refusal "place-elsewhere", "not-on-hand"; NotAllowed.
    """
    require(by=by, act="receive_stock", site_id=unit.site_id)
    if answered(client_key) is not None:
        return Unit.objects.get(pk=unit.pk)
    if place.site_id != unit.site_id:
        raise _elsewhere()
    with transaction.atomic():
        # Without a join: a row that was moved while PostgreSQL waited for it would fall out of one.
        row = Unit.objects.select_for_update().get(pk=unit.pk)
        if row.state not in Unit.ON_HAND:
            raise Refusal(
                "not-on-hand",
                _("This unit is not on a shelf: it is %(state)s.")
                % {"state": row.get_state_display().lower()},
                _("Find out where it went before it is put anywhere."),
            )
        before = row.place
        row.place, row.bin = place, _text(bin)
        row.save(update_fields=["place", "bin"])
        record(
            chain=row.site.code,
            verb="unit.move",
            by=by,
            at=at,
            place_id=place.pk,
            client_key=client_key,
            lines=[Line("unit", row.pk, before.code, place.code, 0)],
        )
    return row


def pile_receive(
    *, by: Person, site: Site, goods: Goods, pieces: int, at: datetime, client_key: UUID | None = None
) -> Pile:
    """Add so many pieces of one lot to its pile at a place, or begin the pile.

    Raises Refusal as `unit_receive`, without serials: "lot-or-serial" when there is no lot.
    """
    require(by=by, act="receive_stock", site_id=site.pk)
    done = answered(client_key)
    if done is not None:
        return Pile.objects.get(pk=(done.answer or {})["pile"])
    _check(goods, site=site, at=at)
    if not goods.lot or goods.serial:
        raise Refusal("lot-or-serial", _("A pile is kept by its lot."), _("Read the lot from the label."))
    if not 1 <= pieces <= MOST_PIECES:
        raise Refusal("count-out-of-range", _("This is no number of pieces."), _("Put the number right."))
    with transaction.atomic():
        pile, _made = Pile.objects.select_for_update().get_or_create(
            component=goods.component,
            lot=goods.lot,
            expires=goods.expires,
            owner=goods.owner,
            place=goods.place,
            defaults={"tenure": goods.tenure, "site": site, "bin": _text(goods.bin), "quantity": 0},
        )
        Pile.objects.filter(pk=pile.pk).update(quantity=F("quantity") + pieces)
        record(
            chain=site.code,
            verb="pile.receive",
            by=by,
            at=at,
            place_id=goods.place.pk,
            client_key=client_key,
            answer={"pile": pile.pk},
            lines=[Line("pile", pile.pk, "", "shelf", pieces)],
        )
    pile.refresh_from_db()
    return pile


def _new_unit(goods: Goods, *, site: Site, at: datetime) -> Unit:
    return Unit.objects.create(
        component=goods.component,
        lot=goods.lot,
        serial=goods.serial,
        expires=goods.expires,
        owner=goods.owner,
        tenure=goods.tenure,
        site=site,
        place=goods.place,
        bin=_text(goods.bin),
        state=Unit.State.SHELF,
        received_at=at,
    )


def _check(goods: Goods, *, site: Site, at: datetime) -> None:
    if goods.place.site_id != site.pk:
        raise _elsewhere()
    if (goods.tenure == Tenure.OWNED) != (goods.owner.kind == PartyKind.HOSPITAL):
        raise Refusal(
            "tenure-of-owner",
            _("Owned goods belong to the hospital, consigned and loaned ones to a supplier."),
            _("Choose the owner that the delivery note names."),
        )
    if goods.expires is not None and goods.expires < site_day(site, at):
        raise Refusal(
            "out-of-date",
            _("The use-by date on this label has passed."),
            _("Set it apart and ask the supplier to exchange it."),
        )
    _text(goods.lot)
    _text(goods.serial)


def _text(text: str) -> str:
    """Lot, serial and bin as they are on the label: exact, printable, within the field's length."""
    if len(text) > LOT_LENGTH or not text.isprintable():
        raise Unreadable(
            "lot-unreadable",
            _("Lots, serials and bins have at most %(most)s printable letters.") % {"most": LOT_LENGTH},
            _("Type it as it stands on the label."),
        )
    return text


def _elsewhere() -> Refusal:
    return Refusal(
        "place-elsewhere",
        _("This place is at another site."),
        _("Choose a place of this site; a transfer between sites is an act of its own."),
    )
