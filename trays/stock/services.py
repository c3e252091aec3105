"""What changes stock within a site: receipt of units and piles, and moves.

Each act is one transaction with one ledger event; a receipt's line carries the quantity that came in, a
move's line carries none, so that what is there equals the sum of the lines.
"""

from collections.abc import Callable, Collection
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.parties.models import Site
from trays.places.models import Place, PlaceKind
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.arriving import (
    Goods,
    elsewhere,
    pile_receive_within,
    printable,
    receive_within,
)
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.models_arrivals import Condition
from trays.stock.moving import (
    lock_pile,
    lock_units,
    pile_add_within,
    piles_take_within,
    state_word,
    step_within,
)
from trays.web.errors import Refusal

__all__ = ["Goods", "pile_move", "pile_receive", "unit_move", "unit_receive", "units_move"]

# Where stock lies; what is set apart may be moved too.
SHELVES = (PlaceKind.SHELF, PlaceKind.STORE, PlaceKind.STERILE_STORE, PlaceKind.TROLLEY)
MOVED = (UnitState.SHELF, UnitState.PICKED, UnitState.QUARANTINE)


def unit_receive(
    *,
    by: Person,
    site: Site,
    goods: Goods,
    count: int = 1,
    condition: str = Condition.GOOD,
    note: str = "",
    raw: bytes = b"",
    at: datetime,
    client_key: UUID | None = None,
) -> list[Unit]:
    """Put `count` sealed units of one component and lot on a shelf of the site, or set them apart.

    Raises what `receive_within` raises; NotAllowed. The same client key gives the same units.
    """
    require(by=by, act="receive_stock", site_id=site.pk)

    def work() -> list[Unit]:
        units, lines = receive_within(
            by=by, site=site, goods=goods, count=count, at=at, condition=condition, note=note, raw=raw
        )
        record(
            chain=site.code, verb="unit.receive", by=by, at=at, place_id=goods.place.pk,
            client_key=client_key, answer={"units": [unit.pk for unit in units]}, lines=lines,
        )  # fmt: skip
        return units

    return _units_once("unit.receive", by, client_key, work)


def pile_receive(
    *,
    by: Person,
    site: Site,
    goods: Goods,
    pieces: int,
    raw: bytes = b"",
    at: datetime,
    client_key: UUID | None = None,
) -> Pile:
    """Add so many pieces of one lot to its pile at a place, or begin the pile.

    Raises what `pile_receive_within` raises; NotAllowed.
    """
    require(by=by, act="receive_stock", site_id=site.pk)

    def work() -> Pile:
        pile, line = pile_receive_within(by=by, site=site, goods=goods, pieces=pieces, at=at, raw=raw)
        record(
            chain=site.code, verb="pile.receive", by=by, at=at, place_id=goods.place.pk,
            client_key=client_key, answer={"pile": pile.pk}, lines=[line],
        )  # fmt: skip
        return pile

    return act_once(
        verb="pile.receive", by=by, client_key=client_key, work=work,
        replay=lambda answer: Pile.objects.get(pk=answer["pile"]),
    )  # fmt: skip


def unit_move(
    *, by: Person, unit: Unit, place: Place, bin: str = "", at: datetime, client_key: UUID | None = None
) -> Unit:
    """Put one unit on another shelf of the same site (see `units_move`)."""
    (moved,) = units_move(by=by, units=[unit], place=place, bin=bin, at=at, client_key=client_key)
    return moved


def units_move(
    *,
    by: Person,
    units: Collection[Unit],
    place: Place,
    bin: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> list[Unit]:
    """Put units on another shelf of their site. The stock of the site stays what it was.

    Raises Refusal "place-elsewhere", "not-on-hand"; NotAllowed.
    """
    for site_id in sorted({unit.site_id for unit in units}):
        require(by=by, act="move_stock", site_id=site_id)

    def work() -> list[Unit]:
        rows = lock_units(unit.pk for unit in units)
        for row in rows:
            if row.site_id != place.site_id:
                raise elsewhere()
            if row.state not in MOVED:
                raise Refusal(
                    "not-on-hand",
                    _("%(unit)s is not on a shelf: it is %(state)s.")
                    % {"unit": row, "state": state_word(row.state)},
                    _("Find out where it went before it is put anywhere."),
                )
        lines: list[Line] = []
        for state in {row.state for row in rows}:
            alike = [row for row in rows if row.state == state]
            lines += step_within(units=alike, state=state, place=place, bin=printable(bin))
        record(
            chain=place.site.code, verb="unit.move", by=by, at=at, place_id=place.pk,
            client_key=client_key, answer={"units": [row.pk for row in rows]},
            lines=sorted(lines, key=lambda line: line.subject_id),
        )  # fmt: skip
        return rows

    return _units_once("unit.move", by, client_key, work)


def pile_move(
    *,
    by: Person,
    pile: Pile,
    pieces: int,
    place: Place,
    bin: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Pile:
    """Put pieces of a pile to another place of the site: onto the pile of their lot there, or a new one.

    Raises Refusal "place-elsewhere", "same-place", "not-enough"; NotAllowed.
    """
    require(by=by, act="move_stock", site_id=pile.site_id)
    if place.site_id != pile.site_id:
        raise elsewhere()
    if place.pk == pile.place_id:
        raise Refusal("same-place", _("They are at this place already."), _("Choose where they go."))

    def work() -> Pile:
        there, _made = Pile.objects.get_or_create(
            component_id=pile.component_id, lot=pile.lot, expires=pile.expires, owner_id=pile.owner_id,
            place=place,
            defaults={"tenure": pile.tenure, "site_id": pile.site_id, "bin": printable(bin), "quantity": 0},
        )  # fmt: skip
        # Both locked in the order of their keys, whichever way the pieces go.
        for pk in sorted((pile.pk, there.pk)):
            lock_pile(pk)
        lines = [
            piles_take_within(pile=pile, pieces=pieces, after=place.code),
            pile_add_within(pile=there, pieces=pieces, before=pile.place.code),
        ]
        record(
            chain=place.site.code, verb="pile.move", by=by, at=at, place_id=place.pk,
            client_key=client_key, answer={"pile": there.pk}, lines=lines,
        )  # fmt: skip
        return there

    return act_once(
        verb="pile.move", by=by, client_key=client_key, work=work,
        replay=lambda answer: Pile.objects.get(pk=answer["pile"]),
    )  # fmt: skip


def _units_once(
    verb: str, by: Person, client_key: UUID | None, work: Callable[[], list[Unit]]
) -> list[Unit]:
    return act_once(
        verb=verb, by=by, client_key=client_key, work=work,
        replay=lambda answer: list(Unit.objects.filter(pk__in=answer["units"]).order_by("pk")),
    )  # fmt: skip
