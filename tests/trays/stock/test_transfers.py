"""A transfer: what is sent is on its way, what arrives stands there, what is missing stays listed."""

from collections.abc import Iterable
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from cases.reservations.hold import units_hold
from tests.trays.stock.conftest import Store
from tests.world import NOW
from trays.ledger.append import record
from trays.stock import transferring
from trays.stock.apart import units_set_apart
from trays.stock.models import Pile, Unit
from trays.stock.models_transfers import Transfer, TransferUnit
from trays.stock.moving import lock_units
from trays.stock.returning import return_make
from trays.stock.services import pile_receive
from trays.stock.transferring import (
    Pieces,
    transfer_add,
    transfer_cancel,
    transfer_make,
    transfer_send,
    transfer_take_off,
    transfer_within,
)
from trays.stock.transfers_in import (
    difference_explain,
    pieces_lost,
    transfer_end,
    transfer_receive,
    transfer_receive_pieces,
)
from trays.stock.which import unit_to_send, units_on_hand
from trays.web.errors import NotAllowed, Refusal


def made(store: Store, units: list[Unit], **more: Any) -> Transfer:
    return transfer_make(
        by=store.by, source=store.world.site, target=store.world.far_site, units=units, at=NOW, **more
    )


def sent(store: Store, units: list[Unit], **more: Any) -> Transfer:
    return transfer_send(by=store.by, transfer=made(store, units, **more), at=NOW)


def received(store: Store, transfer: Transfer, units: list[Unit]) -> Transfer:
    return transfer_receive(by=store.far_by, transfer=transfer, units=units, place=store.far, at=NOW)


def carried(unit: Unit) -> TransferUnit:
    return TransferUnit.objects.select_related("transfer__source", "transfer__target").get(unit=unit)


def test_what_is_sent_is_on_its_way_and_the_last_to_arrive_closes_it(store: Store) -> None:
    units = store.units(3)
    transfer = made(store, units)
    assert store.states(units) == ["shelf"] * 3
    transfer = transfer_send(by=store.by, transfer=transfer, at=NOW)
    assert store.states(units) == ["transit"] * 3
    assert received(store, transfer, units[:2]).status == "sent"
    transfer = received(store, transfer, units[2:])
    assert transfer.status == "closed"
    assert set(Unit.objects.values_list("state", "site__code", "place__code")) == {
        ("shelf", "fennside", "F1")
    }
    with pytest.raises(Refusal, match="transfer-state"):
        received(store, transfer, units[:1])


def test_only_the_source_sends_and_only_the_target_receives(store: Store) -> None:
    units = store.units(1)
    transfer = made(store, units)
    with pytest.raises(NotAllowed):
        transfer_send(by=store.far_by, transfer=transfer, at=NOW)
    transfer_send(by=store.by, transfer=transfer, at=NOW)
    with pytest.raises(NotAllowed):
        transfer_receive(by=store.by, transfer=transfer, units=units, place=store.far, at=NOW)


def test_what_is_on_its_way_is_set_apart_by_neither_site_before_it_arrives(store: Store) -> None:
    (unit,) = store.units(1)
    transfer = sent(store, [unit])
    with pytest.raises(Refusal, match="on-its-way"):
        units_set_apart(by=store.by, units=[unit], cause="unsure", at=NOW)
    with pytest.raises(Refusal, match="on-its-way"):
        return_make(by=store.by, units=[unit], why="exchange", at=NOW)
    assert received(store, transfer, [unit]).status == "closed"


def test_of_a_lot_those_are_listed_that_are_kept_for_nobody(store: Store) -> None:
    kept, free = store.units(2)
    units_hold(by=store.world.cast.coordinator, units=[kept], case=store.world.a_case(), at=NOW)
    label = {"component": kept.component, "lot": kept.lot, "serial": ""}
    assert unit_to_send(transfer=made(store, []), **label) == free
    assert units_on_hand(site=store.world.site, count=1, **label) == [free]
    assert units_on_hand(site=store.world.site, count=2, **label) == [free, kept]


def test_a_list_that_changed_at_the_moment_of_sending_is_not_sent(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = store.units(2)
    transfer = made(store, [first])

    def meanwhile(pks: Iterable[int]) -> list[Unit]:
        found = lock_units(pks)
        TransferUnit.objects.create(transfer=transfer, unit=second)
        return found

    monkeypatch.setattr(transferring, "lock_units", meanwhile)
    with pytest.raises(Refusal, match="changed-meanwhile"):
        transfer_send(by=store.by, transfer=transfer, at=NOW)
    assert store.states([first, second]) == ["shelf", "shelf"]


def test_what_somebody_counts_on_is_not_sent_away(store: Store) -> None:
    (unit,) = store.units(1)
    case = store.world.a_case()
    transfer = made(store, [unit])
    units_hold(by=store.world.cast.coordinator, units=[unit], case=case, at=NOW)
    with pytest.raises(Refusal, match="kept-for") as told:
        transfer_send(by=store.by, transfer=transfer, at=NOW)
    assert case.reference in told.value.sentence
    assert store.states([unit]) == ["shelf"]


def test_a_unit_is_in_one_open_transfer(store: Store) -> None:
    units = store.units(2)
    transfer = made(store, units[:1])
    with pytest.raises(Refusal, match="in-transfer"):
        made(store, units)
    transfer_add(by=store.by, transfer=transfer, units=units[1:], at=NOW)
    transfer_take_off(by=store.by, transfer=transfer, units=units[:1], at=NOW)
    made(store, units[:1])
    with pytest.raises(IntegrityError), transaction.atomic():
        TransferUnit.objects.filter(transfer=transfer).update(state="listed")


def test_one_cause_has_one_open_transfer(store: Store) -> None:
    units = store.units(2)

    def asked(unit: Unit) -> None:
        with transaction.atomic():
            _made, lines = transfer_within(
                by=store.by, source=store.world.site, target=store.world.far_site, units=[unit], at=NOW,
                cause="plan 7",
            )  # fmt: skip
            record(chain="larkmere", verb="plan.accept", by=store.by, at=NOW, lines=lines)

    asked(units[0])
    with pytest.raises(IntegrityError):
        asked(units[1])
    assert Transfer.objects.count() == 1


def test_a_missing_one_stays_listed_until_it_is_explained(store: Store) -> None:
    late, left, lost, there = store.units(4)
    transfer = sent(store, [late, left, lost, there])
    received(store, transfer, [there])
    transfer = transfer_end(by=store.far_by, transfer=transfer, at=NOW)
    assert transfer.status == "differs"
    # Nothing is lost by ending: they are still stock, on their way.
    assert store.states([late, left, lost]) == ["transit"] * 3

    def explain(unit: Unit, how: str, note: str = "looked", **more: Any) -> Transfer:
        return difference_explain(by=store.by, carried=carried(unit), how=how, note=note, at=NOW, **more)

    with pytest.raises(Refusal, match="note-missing"):
        explain(lost, "lost", note=" ")
    with pytest.raises(Refusal, match="place-elsewhere"):
        explain(late, "arrived_later")
    explain(left, "never_left")
    explain(lost, "lost")
    with pytest.raises(Refusal, match="explained-already"):
        explain(lost, "lost")
    assert explain(late, "arrived_later", place=store.far).status == "closed"
    assert store.states([late, left, lost]) == ["shelf", "shelf", "missing"]
    assert Unit.objects.get(pk=left.pk).site == store.world.site
    assert Unit.objects.get(pk=late.pk).site == store.world.far_site


def test_one_that_was_not_listed_is_taken_in_as_a_difference(store: Store) -> None:
    listed, stray = store.units(2)
    transfer = sent(store, [listed])
    received(store, transfer, [stray])
    assert carried(stray).state == "extra"
    assert Unit.objects.get(pk=stray.pk).site == store.world.far_site
    with pytest.raises(Refusal, match="not-of-this-transfer"):
        elsewhere = store.world.unit(store.component("tibial", "1"), place=store.far)
        Unit.objects.filter(pk=elsewhere[0].pk).update(state="missing")
        store.sound = False
        received(store, transfer, elsewhere)


def test_a_second_scan_of_an_arrived_one_is_told(store: Store) -> None:
    units = store.units(2)
    transfer = sent(store, units)
    received(store, transfer, units[:1])
    with pytest.raises(Refusal, match="arrived-already"):
        received(store, transfer, units[:1])


def test_pieces_leave_their_pile_and_arrive_on_one_there(store: Store) -> None:
    swabs = store.goods(component=store.component("consumable", "swab-5"), lot="S1")
    pile = pile_receive(by=store.by, site=store.world.site, goods=swabs, pieces=40, at=NOW)
    with pytest.raises(Refusal, match="not-enough"):
        made(store, [], pieces=[Pieces(pile, 41)])
    transfer = sent(store, [], pieces=[Pieces(pile, 30)])
    one = transfer.piles.select_related("transfer").get()

    def receive(pieces: int) -> Transfer:
        return transfer_receive_pieces(
            by=store.far_by, transfer=transfer, carried=one, pieces=pieces, place=store.far, at=NOW
        )

    receive(20)
    with pytest.raises(Refusal, match="more-than-sent"):
        receive(11)
    transfer_end(by=store.far_by, transfer=transfer, at=NOW)
    assert pieces_lost(by=store.by, carried=one, note="bag torn", at=NOW).status == "closed"
    assert sorted(Pile.objects.values_list("site__code", "quantity")) == [("fennside", 20), ("larkmere", 10)]


def test_a_transfer_ends_with_a_reason_and_never_vanishes(store: Store) -> None:
    units = store.units(1)
    transfer = made(store, units)
    with pytest.raises(Refusal, match="reason-missing"):
        transfer_cancel(by=store.by, transfer=transfer, reason="", at=NOW)
    transfer = transfer_cancel(by=store.by, transfer=transfer, reason="not needed", at=NOW)
    assert (transfer.status, transfer.reason) == ("cancelled", "not needed")
    made(store, units)
    with pytest.raises(Refusal, match="same-site"):
        transfer_make(
            by=store.by, source=store.world.site, target=store.world.site, units=store.units(1), at=NOW
        )
