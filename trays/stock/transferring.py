"""Transfers between sites: made, changed, sent, given up. Receiving is in `transfers_in`."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.parties.models import Site
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock import claims
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.models_transfers import (
    OPEN_STATES,
    CarriedState,
    Transfer,
    TransferPile,
    TransferStatus,
    TransferUnit,
)
from trays.stock.moving import lock_pile, lock_units, piles_take_within, state_word, step_within
from trays.stock.numbers import next_number
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Pieces:
    """So many pieces of a pile that go along."""

    pile: Pile
    pieces: int


def transfer_make(
    *,
    by: Person,
    source: Site,
    target: Site,
    units: Collection[Unit] = (),
    pieces: Sequence[Pieces] = (),
    note: str = "",
    needed_on: date | None = None,
    at: datetime,
    client_key: UUID | None = None,
) -> Transfer:
    """List units and pieces that shall go from one site to another; they stay where they are until sent.

    Raises Refusal "same-site", and what `transfer_within` raises; NotAllowed.
    """
    require(by=by, act="transfer_stock", site_id=source.pk)

    def work() -> Transfer:
        made, lines = transfer_within(
            by=by, source=source, target=target, units=units, pieces=pieces, at=at, note=note,
            needed_on=needed_on,
        )  # fmt: skip
        return _write("transfer.make", made, by, at, client_key, lines)

    return once("transfer.make", by, client_key, work)


def transfer_within(
    *,
    by: Person,
    source: Site,
    target: Site,
    units: Collection[Unit] = (),
    pieces: Sequence[Pieces] = (),
    at: datetime,
    cause: str = "",
    note: str = "",
    needed_on: date | None = None,
) -> tuple[Transfer, list[Line]]:
    """The same within a larger act; return the transfer and the event's lines. `cause` is given once.

    Raises Refusal "not-at-this-site", "not-on-hand", "kept-for", "in-transfer", "not-enough".
    """
    if source.pk == target.pk:
        raise Refusal("same-site", _("Both are the same site."), _("Choose where it goes."))
    locked = lock_units(unit.pk for unit in units)
    _check_sendable(locked, source)
    made = Transfer.objects.create(
        number=next_number(Transfer, "TF"), source=source, target=target, cause=cause[:80],
        note=note.strip()[:200], needed_on=needed_on, made_at=at, made_by=by,
    )  # fmt: skip
    TransferUnit.objects.bulk_create([TransferUnit(transfer=made, unit=unit) for unit in locked])
    for one in sorted(pieces, key=lambda one: one.pile.pk):
        _list_pieces(made, one)
    lines = [Line("transfer", made.pk, "", made.status)]
    return made, lines + [Line("unit", unit.pk, "", "listed") for unit in locked]


def transfer_add(
    *,
    by: Person,
    transfer: Transfer,
    units: Collection[Unit] = (),
    pieces: Sequence[Pieces] = (),
    at: datetime,
    client_key: UUID | None = None,
) -> Transfer:
    """List more on a transfer that has not been sent; pieces of a pile take the place of those listed.

    Raises Refusal "transfer-state", "in-transfer" and what `transfer_within` raises; NotAllowed.
    """
    require(by=by, act="transfer_stock", site_id=transfer.source_id)

    def work() -> Transfer:
        locked = lock_units(unit.pk for unit in units)
        row = lock_transfer(transfer, TransferStatus.MADE)
        _check_sendable(locked, row.source)
        for unit in locked:
            TransferUnit.objects.update_or_create(
                transfer=row, unit=unit, defaults={"state": CarriedState.LISTED}
            )
        for one in sorted(pieces, key=lambda one: one.pile.pk):
            row.piles.filter(pile=one.pile).delete()
            _list_pieces(row, one)
        lines = [Line("unit", unit.pk, "", "listed") for unit in locked]
        lines += [Line("pile", one.pile.pk, "", "listed") for one in pieces]
        return _write("transfer.add", row, by, at, client_key, lines)

    return once("transfer.add", by, client_key, work)


def transfer_take_off(
    *, by: Person, transfer: Transfer, units: Collection[Unit], at: datetime, client_key: UUID | None = None
) -> Transfer:
    """Take units off the list of a transfer that has not been sent. Raises Refusal "transfer-state"."""
    require(by=by, act="transfer_stock", site_id=transfer.source_id)

    def work() -> Transfer:
        row = lock_transfer(transfer, TransferStatus.MADE)
        chosen = row.units.filter(unit__in=units, state=CarriedState.LISTED)
        lines = [Line("unit", unit_id, "listed", "") for unit_id in chosen.values_list("unit_id", flat=True)]
        chosen.update(state=CarriedState.TAKEN_OFF)
        return _write("transfer.take-off", row, by, at, client_key, lines)

    return once("transfer.take-off", by, client_key, work)


def transfer_send(
    *, by: Person, transfer: Transfer, at: datetime, client_key: UUID | None = None
) -> Transfer:
    """Send all that is listed: the units are on their way, the pieces off their piles.

    Raises Refusal "transfer-state", "nothing-chosen", "kept-for", "not-on-hand", "not-enough"; NotAllowed.
    """
    require(by=by, act="transfer_stock", site_id=transfer.source_id)

    def work() -> Transfer:
        listed = transfer.units.filter(state=CarriedState.LISTED)
        locked = lock_units(listed.values_list("unit_id", flat=True))
        row = lock_transfer(transfer, TransferStatus.MADE)
        # Read before the transfer was locked: somebody may have listed more, or taken one off, meanwhile.
        if set(row.units.filter(state=CarriedState.LISTED).values_list("unit_id", flat=True)) != {
            unit.pk for unit in locked
        }:
            raise Refusal(
                "changed-meanwhile",
                _("The list of this transfer was changed at this moment."),
                _("Load the page again and look at it once more."),
            )
        carried = list(row.piles.select_related("pile").order_by("pile_id"))
        if not locked and not carried:
            raise Refusal("nothing-chosen", _("Nothing is listed to be sent."), _("List it, or give it up."))
        _check_there(locked, row.source)
        claims.refuse_kept(locked)
        lines = step_within(units=locked, state=UnitState.TRANSIT)
        lines += [
            piles_take_within(pile=one.pile, pieces=one.pieces, after="transit") for one in carried
        ]
        row.units.filter(state=CarriedState.LISTED).update(state=CarriedState.SENT)
        row.status, row.sent_at, row.sent_by = TransferStatus.SENT, at, by
        row.save(update_fields=["status", "sent_at", "sent_by"])
        lines.append(Line("transfer", row.pk, TransferStatus.MADE, row.status))
        return _write("transfer.send", row, by, at, client_key, lines)

    return once("transfer.send", by, client_key, work)


def transfer_cancel(
    *, by: Person, transfer: Transfer, reason: str, at: datetime, client_key: UUID | None = None
) -> Transfer:
    """Give up a transfer that has not been sent. Raises Refusal "transfer-state", "reason-missing"."""
    require(by=by, act="transfer_stock", site_id=transfer.source_id)
    if not reason.strip():
        raise Refusal("reason-missing", _("No reason is given."), _("Say in a few words why."))

    def work() -> Transfer:
        row = lock_transfer(transfer, TransferStatus.MADE)
        row.units.filter(state=CarriedState.LISTED).update(state=CarriedState.TAKEN_OFF)
        row.status, row.reason = TransferStatus.CANCELLED, reason.strip()[:200]
        row.ended_at, row.ended_by = at, by
        row.save(update_fields=["status", "reason", "ended_at", "ended_by"])
        lines = [Line("transfer", row.pk, TransferStatus.MADE, row.status)]
        return _write("transfer.cancel", row, by, at, client_key, lines)

    return once("transfer.cancel", by, client_key, work)


def lock_transfer(transfer: Transfer, *states: str) -> Transfer:
    """The transfer, locked, in one of these states. Raises Refusal "transfer-state"."""
    row = Transfer.objects.select_for_update().get(pk=transfer.pk)
    if row.status not in states:
        raise Refusal(
            "transfer-state",
            _("Transfer %(number)s: %(state)s.") % {"number": row.number, "state": row.get_status_display()},
            _("Load the page again and look at what can be done with it now."),
        )
    return row


def once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], Transfer]) -> Transfer:
    """Do an act of a transfer once."""
    return act_once(
        verb=verb, by=by, client_key=client_key, work=work,
        replay=lambda answer: Transfer.objects.get(pk=answer["transfer"]),
    )  # fmt: skip


def _check_sendable(units: Collection[Unit], source: Site) -> None:
    _check_there(units, source)
    claims.refuse_kept(units)
    other = TransferUnit.objects.filter(unit__in=units, state__in=OPEN_STATES)
    row = other.select_related("unit", "transfer").first()
    if row is not None:
        raise Refusal(
            "in-transfer",
            _("%(unit)s is on transfer %(number)s already.")
            % {"unit": row.unit, "number": row.transfer.number},
            _("Take it off there first, or choose another."),
        )


def _check_there(units: Collection[Unit], source: Site) -> None:
    for unit in units:
        if unit.site_id != source.pk:
            raise Refusal(
                "not-at-this-site",
                _("%(unit)s is at %(site)s, not at %(source)s.")
                % {"unit": unit, "site": unit.site, "source": source},
                _("Make the transfer at the site where it is."),
            )
        if unit.state not in Unit.ON_HAND:
            raise Refusal(
                "not-on-hand",
                _("%(unit)s is not on a shelf: it is %(state)s.")
                % {"unit": unit, "state": state_word(unit.state)},
                _("Take it off the list, and choose another."),
            )


def _list_pieces(made: Transfer, one: Pieces) -> None:
    pile = lock_pile(one.pile.pk)
    if pile.site_id != made.source_id:
        raise Refusal(
            "not-at-this-site", _("%(pile)s is at another site.") % {"pile": pile}, _("Choose another.")
        )
    if not 1 <= one.pieces <= pile.quantity:
        raise Refusal(
            "not-enough",
            _("Of %(what)s, lot %(lot)s, %(there)s are on file at %(place)s.")
            % {"what": pile.component, "lot": pile.lot, "there": pile.quantity, "place": pile.place},
            _("Take no more than there are, or count the pile first."),
        )
    TransferPile.objects.create(transfer=made, pile=pile, pieces=one.pieces)


def _write(
    verb: str, row: Transfer, by: Person, at: datetime, client_key: UUID | None, lines: list[Line]
) -> Transfer:
    record(
        chain=row.source.code, verb=verb, by=by, at=at, client_key=client_key,
        answer={"transfer": row.pk}, lines=lines,
    )  # fmt: skip
    return row
