"""Transfers that arrive: received by scan, ended, and what differs explained one by one."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.db.models import F
from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.parties.models import Site
from trays.places.models import Place
from trays.staff.access import may, require
from trays.staff.models import Person
from trays.stock import claims, notices_open
from trays.stock.arriving import elsewhere, printable, put_down_within
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.models_transfers import (
    CarriedState,
    Transfer,
    TransferPile,
    TransferStatus,
    TransferUnit,
)
from trays.stock.moving import lock_units, pile_add_within, state_word, step_within
from trays.stock.transferring import lock_transfer, once
from trays.web.errors import Refusal

ARRIVING = (TransferStatus.SENT, TransferStatus.DIFFERS)
EXPLAINED = (CarriedState.ARRIVED_LATER, CarriedState.NEVER_LEFT, CarriedState.LOST)


def transfer_receive(
    *,
    by: Person,
    transfer: Transfer,
    units: Collection[Unit],
    place: Place,
    bin: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Transfer:
    """Take units of a transfer in at its target, as they are scanned; the last one closes it.

    One that stands on the shelf of the source by the record, and is here, is taken in as well: it differs.

    Raises Refusal "transfer-state", "not-of-this-transfer", "arrived-already", "kept-for",
    "place-elsewhere"; NotAllowed.
    """
    require(by=by, act="transfer_stock", site_id=transfer.target_id)
    if place.site_id != transfer.target_id:
        raise elsewhere()

    def work() -> Transfer:
        locked = lock_units(unit.pk for unit in units)
        row = lock_transfer(transfer, *ARRIVING)
        lines: list[Line] = []
        for unit in locked:
            lines += _arrive(row, unit, place, printable(bin), by, at)
        lines += _close_if_all_explained(row, by, at)
        return _write("transfer.receive", row, by, at, client_key, lines, place=place)

    return once("transfer.receive", by, client_key, work)


def transfer_receive_pieces(
    *,
    by: Person,
    transfer: Transfer,
    carried: TransferPile,
    pieces: int,
    place: Place,
    at: datetime,
    client_key: UUID | None = None,
) -> Transfer:
    """Take pieces of one lot in at the target. Raises Refusal "transfer-state", "more-than-sent",
    "lot-recalled".
    """
    require(by=by, act="transfer_stock", site_id=transfer.target_id)
    if place.site_id != transfer.target_id:
        raise elsewhere()

    def work() -> Transfer:
        row = lock_transfer(transfer, *ARRIVING)
        one = row.piles.select_for_update(of=("self",)).select_related("pile__component").get(pk=carried.pk)
        if not 1 <= pieces <= one.pieces - one.arrived - one.lost:
            raise Refusal(
                "more-than-sent",
                _("%(left)s of them are still on their way.")
                % {"left": one.pieces - one.arrived - one.lost},
                _("Count again; receive what came without a transfer on the page Receiving."),
            )
        notices_open.refuse_pieces(component=one.pile.component, lot=one.pile.lot)
        there, _made = Pile.objects.get_or_create(
            component_id=one.pile.component_id, lot=one.pile.lot, expires=one.pile.expires,
            owner_id=one.pile.owner_id, place=place,
            defaults={"tenure": one.pile.tenure, "site": place.site, "quantity": 0},
        )  # fmt: skip
        lines = [pile_add_within(pile=there, pieces=pieces, before="transit")]
        row.piles.filter(pk=one.pk).update(arrived=F("arrived") + pieces)
        lines += _close_if_all_explained(row, by, at)
        return _write("transfer.receive", row, by, at, client_key, lines, place=place)

    return once("transfer.receive", by, client_key, work)


def transfer_end(*, by: Person, transfer: Transfer, at: datetime, client_key: UUID | None = None) -> Transfer:
    """Say that all that came has been received: what has not is missing, and stays listed until explained.

    Raises Refusal "transfer-state"; NotAllowed.
    """
    require(by=by, act="transfer_stock", site_id=transfer.target_id)

    def work() -> Transfer:
        row = lock_transfer(transfer, TransferStatus.SENT)
        missing = row.units.filter(state=CarriedState.SENT)
        lines = [Line("unit", pk, "sent", "missing") for pk in missing.values_list("unit_id", flat=True)]
        missing.update(state=CarriedState.MISSING)
        row.status = TransferStatus.DIFFERS
        row.save(update_fields=["status"])
        lines.append(Line("transfer", row.pk, TransferStatus.SENT, row.status))
        lines += _close_if_all_explained(row, by, at)
        return _write("transfer.end", row, by, at, client_key, lines)

    return once("transfer.end", by, client_key, work)


def difference_explain(
    *,
    by: Person,
    carried: TransferUnit,
    how: str,
    note: str,
    place: Place | None = None,
    at: datetime,
    client_key: UUID | None = None,
) -> Transfer:
    """Say what became of a unit that did not arrive: it came later, it had never left, or it is lost.

    Found at either site it stands on a shelf there again; a lost one is out of stock, as missing.

    Raises Refusal "explained-already", "note-missing", "place-elsewhere" (found, but not at that site);
    NotAllowed.
    """
    if how not in EXPLAINED:
        raise ValueError(f"a difference is not explained as {how!r}")
    transfer = carried.transfer
    _require_either(by, transfer)
    _check_note(note)

    def work() -> Transfer:
        (unit,) = lock_units([carried.unit_id])
        row = lock_transfer(transfer, TransferStatus.DIFFERS)
        one = row.units.select_for_update().get(pk=carried.pk)
        if one.state != CarriedState.MISSING:
            raise Refusal(
                "explained-already", _("This one is explained already."), _("Load the page again.")
            )
        lines = _explain(row, unit, how, place, by, at)
        one.state, one.at, one.by, one.note = how, at, by, note.strip()[:200]
        one.save(update_fields=["state", "at", "by", "note"])
        lines += _close_if_all_explained(row, by, at)
        return _write("transfer.explain", row, by, at, client_key, lines)

    return once("transfer.explain", by, client_key, work)


def pieces_lost(
    *, by: Person, carried: TransferPile, note: str, at: datetime, client_key: UUID | None = None
) -> Transfer:
    """Say that the pieces of a lot that have not arrived are lost. Raises Refusal "note-missing"."""
    transfer = carried.transfer
    _require_either(by, transfer)
    _check_note(note)

    def work() -> Transfer:
        row = lock_transfer(transfer, TransferStatus.DIFFERS)
        one = row.piles.select_for_update().get(pk=carried.pk)
        left = one.pieces - one.arrived - one.lost
        if not left:
            raise Refusal("explained-already", _("Nothing of it is open."), _("Load the page again."))
        one.lost, one.note = one.lost + left, note.strip()[:200]
        one.save(update_fields=["lost", "note"])
        # They left the pile when they were sent: nothing of the stock changes now.
        lines = [Line("transfer_pile", one.pk, "transit", "lost")]
        lines += _close_if_all_explained(row, by, at)
        return _write("transfer.explain", row, by, at, client_key, lines)

    return once("transfer.explain", by, client_key, work)


def turned_up_within(*, unit: Unit, site: Site, note: str, by: Person, at: datetime) -> list[Line]:
    """A locked unit that is on its way is in somebody's hands at `site`: its transfer says so, as explained.

    For acts of other rooms, which then take the unit where it went; no event is written.
    """
    waits = TransferUnit.objects.filter(unit=unit, state__in=(CarriedState.SENT, CarriedState.MISSING))
    carried = waits.select_related("transfer").first()
    if carried is None:
        return []
    row = lock_transfer(carried.transfer, *ARRIVING)
    how = CarriedState.NEVER_LEFT if row.source_id == site.pk else CarriedState.ARRIVED_LATER
    lines = [Line("transfer_unit", carried.pk, carried.state, how)]
    carried.state, carried.at, carried.by, carried.note = how, at, by, note[:200]
    carried.save(update_fields=["state", "at", "by", "note"])
    return lines + _close_if_all_explained(row, by, at)


def _check_note(note: str) -> None:
    if not note.strip():
        raise Refusal("note-missing", _("Nothing is said of it."), _("Say what was found out."))


def _arrive(row: Transfer, unit: Unit, place: Place, bin: str, by: Person, at: datetime) -> list[Line]:
    carried = row.units.select_for_update().filter(unit=unit).first()
    if carried is not None and carried.state in (CarriedState.SENT, CarriedState.MISSING):
        state = CarriedState.ARRIVED if carried.state == CarriedState.SENT else CarriedState.ARRIVED_LATER
        carried.state, carried.at, carried.by = state, at, by
        carried.save(update_fields=["state", "at", "by"])
        return put_down_within(unit, place, bin, by, at)
    if carried is not None and carried.state in (CarriedState.ARRIVED, CarriedState.ARRIVED_LATER):
        raise Refusal(
            "arrived-already", _("%(unit)s has arrived already.") % {"unit": unit}, _("Scan the next one.")
        )
    if unit.site_id != row.source_id or unit.state not in Unit.ON_HAND:
        raise Refusal(
            "not-of-this-transfer",
            _("%(unit)s is not on transfer %(number)s; by the record it is %(state)s at %(site)s.")
            % {"unit": unit, "number": row.number, "state": state_word(unit.state), "site": unit.site},
            _("Look whether it belongs to another transfer, or set it aside and ask the other site."),
        )
    claims.refuse_kept([unit])
    TransferUnit.objects.update_or_create(
        transfer=row, unit=unit, defaults={"state": CarriedState.EXTRA, "at": at, "by": by}
    )
    return step_within(units=[unit], state=UnitState.TRANSIT) + put_down_within(unit, place, bin, by, at)


def _explain(
    row: Transfer, unit: Unit, how: str, place: Place | None, by: Person, at: datetime
) -> list[Line]:
    if how == CarriedState.LOST:
        return step_within(units=[unit], state=UnitState.MISSING)
    site: Site = row.target if how == CarriedState.ARRIVED_LATER else row.source
    # What had never left is where it was; what arrived needs a shelf.
    where = place or (unit.place if how == CarriedState.NEVER_LEFT else None)
    if where is None or where.site_id != site.pk:
        raise Refusal(
            "place-elsewhere",
            _("It is to be put on a shelf of %(site)s.") % {"site": site},
            _("Choose the shelf on which it lies."),
        )
    return put_down_within(unit, where, "", by, at)


def _close_if_all_explained(row: Transfer, by: Person, at: datetime) -> list[Line]:
    waiting = row.units.filter(state__in=(CarriedState.SENT, CarriedState.MISSING)).exists()
    if waiting or row.piles.filter(pieces__gt=F("arrived") + F("lost")).exists():
        return []
    before = row.status
    row.status, row.ended_at, row.ended_by = TransferStatus.CLOSED, at, by
    row.save(update_fields=["status", "ended_at", "ended_by"])
    return [Line("transfer", row.pk, before, row.status)]


def _require_either(by: Person, transfer: Transfer) -> None:
    """The people of either site may say what became of a thing."""
    if not may(by=by, act="transfer_stock", site_id=transfer.source_id):
        require(by=by, act="transfer_stock", site_id=transfer.target_id)


def _write(
    verb: str,
    row: Transfer,
    by: Person,
    at: datetime,
    client_key: UUID | None,
    lines: list[Line],
    *,
    place: Place | None = None,
) -> Transfer:
    record(
        chain=row.target.code, verb=verb, by=by, at=at, place_id=place.pk if place else None,
        client_key=client_key, answer={"transfer": row.pk}, lines=lines,
    )  # fmt: skip
    return row
