"""A stock take: what the record holds, what is seen, what differs, and an adjustment that is signed."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from cases.reservations.hold import units_hold
from cases.reservations.models import Hold
from tests.trays.stock.conftest import Store
from tests.world import NOW
from trays.catalogue.models import Component
from trays.staff.models import Signature
from trays.staff.signing import holds
from trays.stock.apart import units_set_apart
from trays.stock.models import Pile, Unit
from trays.stock.models_apart import SetApart
from trays.stock.models_takes import Adjustment, Sighting, StockTake
from trays.stock.noticing import LotNamed, notice_open
from trays.stock.policies import Limits, stock_policy_set
from trays.stock.queries_takes import take_picture
from trays.stock.services import pile_move, pile_receive
from trays.stock.take_end import content_of, take_adjust, take_agree
from trays.stock.taking import (
    more_is_moved,
    pile_count,
    sighting_take_back,
    take_begin,
    take_break_off,
    take_recount,
    thing_see,
)
from trays.web.errors import NotAllowed, Refusal


def begun(store: Store) -> StockTake:
    return take_begin(by=store.by, place=store.world.shelf, at=NOW)


def see(store: Store, take: StockTake, unit: Unit) -> Sighting:
    lot = "" if unit.serial else unit.lot
    return thing_see(
        by=store.by, take=take, component=unit.component, lot=lot, serial=unit.serial, at=NOW
    )


def adjust(store: Store, take: StockTake, *, two: bool = True, **more: Any) -> StockTake:
    given = {"reason": "not_found", "at": NOW, "second": store.signs(store.quality) if two else None}
    return take_adjust(by=store.signs(store.by), take=take, **{**given, **more})


def test_a_place_where_all_is_seen_agrees(store: Store) -> None:
    units = store.units(2) + store.units(serial="A1")
    take = begun(store)
    with pytest.raises(Refusal, match="differs"):
        take_agree(by=store.by, take=take, at=NOW)
    assert [see(store, take, unit).kind for unit in units] == ["here"] * 3
    with pytest.raises(Refusal, match="seen-already"):
        see(store, take, units[2])
    take = take_agree(by=store.by, take=take, at=NOW)
    assert (take.status, take.expected, take.seen) == ("agreed", 3, 3)
    with pytest.raises(Refusal, match="take-ended"):
        see(store, take, units[0])


def test_one_place_is_counted_once_at_a_time(store: Store) -> None:
    take = begun(store)
    with pytest.raises(Refusal, match="counted-already"):
        begun(store)
    with pytest.raises(NotAllowed):
        take_begin(by=store.quality, place=store.world.shelf, at=NOW)
    take_break_off(by=store.by, take=take, at=NOW)
    begun(store)


def test_a_unit_found_on_another_shelf_is_moved_and_a_missing_one_is_found(store: Store) -> None:
    (moved,) = store.units(serial="A1", place=store.other)
    (missing,) = store.units(serial="A2")
    Unit.objects.filter(pk=missing.pk).update(state="missing")
    store.sound = False
    take = begun(store)
    assert see(store, take, moved).kind == "moved"
    assert see(store, take, missing).kind == "found"
    moved.refresh_from_db()
    assert moved.place == store.world.shelf
    assert store.states([missing]) == ["shelf"]
    picture = take_picture(take)
    assert (picture.differs, len(picture.moved)) == (False, 2)


def test_what_is_found_again_is_apart_where_it_was_apart_before_or_a_notice_names_it(store: Store) -> None:
    (damaged,), (named,) = store.units(lot="D1"), store.units(lot="N1")
    units_set_apart(by=store.by, units=[damaged], cause="damaged", at=NOW)
    take = take_recount(by=store.by, take=begun(store), at=NOW)
    adjust(store, take)
    assert store.states([damaged, named]) == ["missing", "missing"]
    notice = notice_open(
        by=store.by, site=store.world.site, supplier=store.world.supplier, reason="seal may open",
        lots=[LotNamed(named.component, "N1")], at=NOW,
    )  # fmt: skip
    take = begun(store)
    assert [see(store, take, unit).kind for unit in (damaged, named)] == ["found", "found"]
    assert store.states([damaged, named]) == ["quarantine", "quarantine"]
    open_rows = SetApart.objects.filter(ended_at__isnull=True)
    assert dict(open_rows.values_list("unit", "cause")) == {damaged.pk: "damaged", named.pk: "notice"}
    assert notice.units.get().outcome == "secured"


def test_a_lot_whose_units_have_serials_is_counted_by_serial(store: Store) -> None:
    (unit,) = store.units(serial="A1")
    take = begun(store)
    with pytest.raises(Refusal, match="serial-needed"):
        thing_see(by=store.by, take=take, component=unit.component, lot=unit.lot, at=NOW)


def test_a_pile_that_changed_after_its_count_is_counted_again(store: Store) -> None:
    swabs = store.goods(component=store.component("consumable", "swab-5"), lot="S1")
    pile = pile_receive(by=store.by, site=store.world.site, goods=swabs, pieces=40, at=NOW)
    take = begun(store)
    pile_count(by=store.by, take=take, pile=pile, pieces=40, at=NOW)
    later = NOW + timedelta(minutes=5)
    pile_move(by=store.by, pile=pile, pieces=5, place=store.other, at=later)
    with pytest.raises(Refusal, match="piles-uncounted"):
        take_agree(by=store.by, take=take, at=later)
    pile_count(by=store.by, take=take, pile=pile, pieces=35, at=later + timedelta(minutes=1))
    assert take_agree(by=store.by, take=take, at=later + timedelta(minutes=2)).status == "agreed"


def test_more_of_a_lot_than_on_record_is_unexplained_or_is_the_one_from_over_there(store: Store) -> None:
    (here,) = store.units()
    (there,) = store.units(place=store.other)
    take = begun(store)
    assert see(store, take, here).kind == "here"
    more = see(store, take, here)
    assert (more.kind, more.unit) == ("more", None)
    assert take_picture(take).differs
    more_is_moved(by=store.by, sighting=more, unit=there, at=NOW)
    there.refresh_from_db()
    assert there.place == store.world.shelf
    assert not take_picture(take).differs


def test_what_is_no_stock_is_taken_down_and_stays_unexplained(store: Store) -> None:
    (used,) = store.units(serial="A1")
    Unit.objects.filter(pk=used.pk).update(state="implanted")
    store.sound = False
    take = begun(store)
    assert see(store, take, used).kind == "not_stock"
    assert store.states([used]) == ["implanted"]
    assert len(take_picture(take).not_stock) == 1
    with pytest.raises(Refusal, match="unit-not-on-file"):
        thing_see(by=store.by, take=take, component=used.component, lot="NONE", at=NOW)
    with pytest.raises(Refusal, match="lot-not-read"):
        thing_see(by=store.by, take=take, component=used.component, at=NOW)


def test_a_wrong_scan_is_taken_back_and_nothing_is_changed(store: Store) -> None:
    (unit,) = store.units(serial="A1")
    take = begun(store)
    seen = see(store, take, unit)
    sighting_take_back(by=store.by, sighting=seen, at=NOW)
    assert take_picture(take).not_seen == (unit,)
    with pytest.raises(Refusal, match="taken-back-already"):
        sighting_take_back(by=store.by, sighting=seen, at=NOW)
    assert see(store, take, unit).kind == "here"
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        Sighting.objects.update(lot="other")


def test_a_difference_is_counted_twice_then_adjusted_and_signed(store: Store) -> None:
    gone, here = store.units(2)
    Component.objects.filter(pk=gone.component_id).update(price=Decimal(400))
    case = store.world.a_case()
    units_hold(by=store.world.cast.coordinator, units=[here], case=case, at=NOW)
    take = begun(store)
    see(store, take, gone)
    with pytest.raises(Refusal, match="recount-first"):
        adjust(store, take)
    take_recount(by=store.by, take=take, at=NOW)
    with pytest.raises(NotAllowed):
        take_adjust(by=store.signs(store.world.cast.circulating), take=take, reason="not_found", at=NOW)
    see(store, take, gone)
    before = content_of(take_picture(StockTake.objects.get(pk=take.pk)), "not_found")
    take = adjust(store, take, two=False)
    made = Adjustment.objects.get()
    assert (take.status, made.value, made.second) == ("adjusted", Decimal(400), None)
    assert holds(made.signature, before)
    assert store.states([gone, here]) == ["shelf", "missing"]
    # Whoever counted on it does so no longer.
    assert Hold.objects.get().ended_reason == "apart"


@pytest.mark.parametrize(("limit", "price"), [(100, 400), (500, None)])
def test_above_the_limit_or_without_a_price_two_sign(limit: int, price: int | None, store: Store) -> None:
    (gone,) = store.units()
    Component.objects.filter(pk=gone.component_id).update(price=price)
    limits = Limits(Decimal(limit), 90, 180)
    stock_policy_set(by=store.by, site=store.world.site, limits=limits, at=NOW)
    take = begun(store)
    take_recount(by=store.by, take=take, at=NOW)
    with pytest.raises(Refusal, match="second-missing"):
        adjust(store, take, two=False)
    with pytest.raises(Refusal, match="same-person"):
        adjust(store, take, second=store.signs(store.by))
    with pytest.raises(Refusal, match="second-may-not"):
        adjust(store, take, second=store.signs(store.world.cast.surgeon))
    with pytest.raises(Refusal, match="note-missing"):
        adjust(store, take, reason="other")
    adjust(store, take)
    made = Adjustment.objects.get()
    assert made.second is not None
    assert set(Signature.objects.values_list("name", "meaning")) == {
        ("S. Stores", "adjusted"), ("Q. Quality", "witnessed"),
    }  # fmt: skip
    # The database asks for the second name too.
    with pytest.raises(IntegrityError), transaction.atomic():
        Adjustment.objects.create(
            take=StockTake.objects.create(
                site=store.world.site, place=store.other, number="X", begun_at=NOW, begun_by=store.by
            ),
            site=store.world.site, reason="found", value=2, limit=1, currency="GBP", at=NOW,
            signature=made.signature,
        )  # fmt: skip


def test_more_than_on_record_becomes_units_like_the_others_of_the_lot(store: Store) -> None:
    (unit,) = store.consigned()
    take = begun(store)
    take_recount(by=store.by, take=take, at=NOW)
    see(store, take, unit)
    see(store, take, unit)
    adjust(store, take, reason="found")
    found = Unit.objects.exclude(pk=unit.pk).get()
    assert (found.lot, found.tenure, found.owner, found.state) == (
        unit.lot, "consigned", unit.owner, "shelf",
    )  # fmt: skip


def test_piles_are_counted_in_pieces_and_every_one_of_them(store: Store) -> None:
    swabs = store.goods(component=store.component("consumable", "swab-5"), lot="S1")
    pile = pile_receive(by=store.by, site=store.world.site, goods=swabs, pieces=40, at=NOW)
    take = begun(store)
    with pytest.raises(Refusal, match="piles-uncounted"):
        take_agree(by=store.by, take=take, at=NOW)
    for pieces in (39, 40):
        pile_count(by=store.by, take=take, pile=pile, pieces=pieces, at=NOW)
    assert not take_picture(take).differs
    take_recount(by=store.by, take=take, at=NOW)
    pile_count(by=store.by, take=StockTake.objects.get(pk=take.pk), pile=pile, pieces=37, at=NOW)
    adjust(store, take)
    assert Pile.objects.get().quantity == 37
    with pytest.raises(Refusal, match="take-ended"):
        adjust(store, take)
