"""Receipt and moves: lawful, recorded once, and stock equal to the sum of the ledger's lines."""

import uuid
from datetime import timedelta

import pytest
from django.db.models import Sum

from tests.world import NOW, TODAY, World
from trays.ledger.models import Event, EventLine
from trays.parties.models import Tenure
from trays.places.models import Place
from trays.stock.models import Pile, Unit
from trays.stock.services import Goods, pile_receive, unit_move, unit_receive
from trays.web.errors import NotAllowed, Refusal, Unreadable


def goods(world: World, **changes: object) -> Goods:
    given: dict[str, object] = {
        "component": world.component("femoral", "2", side="left"),
        "owner": world.hospital,
        "tenure": Tenure.OWNED,
        "place": world.shelf,
        "lot": "L77",
        "expires": TODAY + timedelta(days=300),
    }
    return Goods(**{**given, **changes})  # type: ignore[arg-type]


def in_ledger(subject: str, pk: int) -> int:
    return EventLine.objects.filter(subject=subject, subject_id=pk).aggregate(n=Sum("quantity"))["n"]


def test_received_units_stand_on_the_shelf_with_one_event_and_a_line_each(world: World) -> None:
    units = unit_receive(by=world.cast.stores, site=world.site, goods=goods(world), count=3, at=NOW)
    assert Unit.objects.filter(place=world.shelf, lot="L77", state="shelf").count() == 3
    (event,) = Event.objects.all()
    assert (event.verb, event.chain.code, event.actor) == ("unit.receive", "larkmere", world.cast.stores)
    assert [in_ledger("unit", unit.pk) for unit in units] == [1, 1, 1]


def test_the_same_receipt_sent_twice_is_one_receipt(world: World) -> None:
    key = uuid.uuid4()
    first = unit_receive(by=world.cast.stores, site=world.site, goods=goods(world), at=NOW, client_key=key)
    again = unit_receive(by=world.cast.stores, site=world.site, goods=goods(world), at=NOW, client_key=key)
    assert first == again
    assert Unit.objects.count() == 1


def test_a_unit_may_come_in_on_its_last_day_but_not_after_it(world: World) -> None:
    def received(expires: object) -> object:
        return unit_receive(
            by=world.cast.stores, site=world.site, goods=goods(world, expires=expires), at=NOW,
            condition="short_accepted",
        )  # fmt: skip

    received(TODAY)
    with pytest.raises(Refusal, match="out-of-date"):
        received(TODAY - timedelta(days=1))
    assert Unit.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "count", "code"),
    [
        ({"lot": ""}, 1, "lot-or-serial"),
        ({"tenure": Tenure.CONSIGNED}, 1, "tenure-of-owner"),
        ({}, 0, "count-out-of-range"),
        ({}, -3, "count-out-of-range"),
        ({"serial": "S1"}, 2, "count-out-of-range"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_saved(
    world: World, changes: dict[str, object], count: int, code: str
) -> None:
    with pytest.raises(Refusal, match=code):
        wrong = goods(world, **changes)
        unit_receive(by=world.cast.stores, site=world.site, goods=wrong, count=count, at=NOW)
    assert not Unit.objects.exists()
    assert not Event.objects.exists()


def test_a_serial_comes_in_once(world: World) -> None:
    unit_receive(by=world.cast.stores, site=world.site, goods=goods(world, serial="S1"), at=NOW)
    with pytest.raises(Refusal, match="serial-known"):
        unit_receive(by=world.cast.stores, site=world.site, goods=goods(world, serial="S1"), at=NOW)
    assert Event.objects.count() == 1


def test_a_lot_with_control_characters_is_not_taken(world: World) -> None:
    with pytest.raises(Unreadable):
        unit_receive(by=world.cast.stores, site=world.site, goods=goods(world, lot="A\x00B"), at=NOW)
    assert not Unit.objects.exists()


@pytest.mark.parametrize("who", ["scrub", "surgeon", "quality", "supplier", "stranger", "far_coordinator"])
def test_only_stores_receive(world: World, who: str) -> None:
    with pytest.raises(NotAllowed):
        unit_receive(by=getattr(world.cast, who), site=world.site, goods=goods(world), at=NOW)


def test_a_moved_unit_is_elsewhere_and_the_stock_is_the_same(world: World) -> None:
    (unit,) = unit_receive(by=world.cast.stores, site=world.site, goods=goods(world), at=NOW)
    other = Place.objects.create(site=world.site, code="S2", name="Shelf 2", kind=Place.Kind.SHELF)
    unit_move(by=world.cast.stores, unit=unit, place=other, bin="3", at=NOW)
    unit.refresh_from_db()
    assert (unit.place, unit.bin) == (other, "3")
    assert in_ledger("unit", unit.pk) == 1
    assert Event.objects.get(verb="unit.move").place_id == other.pk


def test_a_unit_is_not_moved_to_another_site_nor_when_it_is_gone(world: World) -> None:
    (unit,) = world.unit(world.component("tibial", "1"))
    away = Place.objects.create(site=world.far_site, code="F1", name="Far shelf", kind=Place.Kind.SHELF)
    with pytest.raises(Refusal, match="place-elsewhere"):
        unit_move(by=world.cast.stores, unit=unit, place=away, at=NOW)
    Unit.objects.update(state=Unit.State.IMPLANTED)
    with pytest.raises(Refusal, match="not-on-hand"):
        unit_move(by=world.cast.stores, unit=unit, place=world.shelf, at=NOW)
    assert not Event.objects.exists()


def test_pieces_are_added_to_the_pile_of_their_lot(world: World) -> None:
    swabs = goods(world, component=world.component("consumable", "swab-5"), lot="NEW")
    for pieces in (20, 30):
        pile = pile_receive(by=world.cast.stores, site=world.site, goods=swabs, pieces=pieces, at=NOW)
    assert pile.quantity == 50 == in_ledger("pile", pile.pk)
    assert Pile.objects.filter(lot="NEW").count() == 1


@pytest.mark.parametrize("pieces", [0, -5, 2_000_000])
def test_a_pile_takes_a_number_of_pieces(world: World, pieces: int) -> None:
    swabs = goods(world, component=world.component("consumable", "swab-5"))
    with pytest.raises(Refusal, match="count-out-of-range"):
        pile_receive(by=world.cast.stores, site=world.site, goods=swabs, pieces=pieces, at=NOW)
