"""Goods on an order: one scan is one receipt, lines close by it, and what differs is taken down as it is."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from tests.trays.orders.conftest import Office
from tests.trays.processing.http import signed_in, text_of
from tests.world import NOW, TODAY
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.orders import queries
from trays.orders.deliveries import (
    Label,
    delivery_begin,
    delivery_close,
    delivery_receive,
    delivery_take_back,
)
from trays.orders.models import Delivery, DeliveryLine, Order, OrderLine
from trays.orders.services import order_confirm
from trays.parties.models import Party
from trays.stock.models import Pile, Unit
from trays.web.errors import NotAllowed, Refusal

LATER = TODAY + timedelta(days=700)


def begun(office: Office, order: Order, **more: object) -> Delivery:
    return delivery_begin(by=office.stores, order=order, place=office.world.shelf, at=NOW, **more)  # type: ignore[arg-type]


def take(
    office: Office, delivery: Delivery, label: Label, count: int = 1, **more: object
) -> list[DeliveryLine]:
    return delivery_receive(
        by=office.stores, delivery=delivery, label=label, count=count, at=NOW, **more  # type: ignore[arg-type]
    )  # fmt: skip


def test_scans_close_the_lines_and_the_last_delivery_closes_the_order(office: Office) -> None:
    order = office.confirmed(office.wish(2), office.wish(1, component=office.tibial))
    delivery = begun(office, order, note_number="DN 4")
    take(office, delivery, Label(office.femoral, "L1", expires=LATER), 2)
    order.refresh_from_db()
    assert (order.state, office.line(order).end) == ("part_delivered", "delivered")
    assert queries.on_order(site_id=office.world.site.pk) == {office.tibial.pk: 1}
    take(office, delivery, Label(office.tibial, "L2", "S1", LATER))
    delivery_close(by=office.stores, delivery=delivery, at=NOW)
    order.refresh_from_db()
    assert (order.state, order.end) == ("closed", "delivered")
    assert Unit.objects.filter(state="shelf", place=office.world.shelf, tenure="owned").count() == 3
    assert queries.on_order(site_id=office.world.site.pk) == {}
    assert verify() == []


def test_one_scan_is_one_event_also_when_it_is_sent_twice(office: Office) -> None:
    delivery, key = begun(office, office.sent()), uuid4()
    before = Event.objects.count()
    first = take(office, delivery, Label(office.femoral, "L1", expires=LATER), client_key=key)
    assert take(office, delivery, Label(office.femoral, "L1", expires=LATER), client_key=key) == first
    assert Event.objects.count() == before + 1
    assert (Unit.objects.count(), DeliveryLine.objects.count()) == (1, 1)


def test_more_than_was_ordered_comes_in_as_a_difference(office: Office) -> None:
    order = office.sent(office.wish(2))
    lines = take(office, begun(office, order), Label(office.femoral, "L1", expires=LATER), 3)
    assert [(one.quantity, one.settles) for one in lines] == [(2, True), (1, False)]
    assert office.line(order).delivered_quantity == 2
    assert Unit.objects.filter(state="shelf").count() == 3


def test_one_lot_settles_several_lines_of_its_component_in_their_order(office: Office) -> None:
    order = office.sent(office.wish(1, cause="a"), office.wish(2, cause="b"))
    take(office, begun(office, order), Label(office.femoral, "L1", expires=LATER), 2)
    assert list(order.lines.values_list("delivered_quantity", "end")) == [(1, "delivered"), (1, "")]


def test_what_was_not_ordered_comes_in_and_settles_nothing(office: Office) -> None:
    order = office.sent()
    (line,) = take(office, begun(office, order), Label(office.tibial, "L1", expires=LATER))
    assert (line.order_line, line.settles) == (None, False)
    order.refresh_from_db()
    assert order.state == "sent"


def test_damaged_goods_are_set_apart_and_the_line_stays_open(office: Office) -> None:
    order = office.sent()
    label = Label(office.femoral, "L1", expires=LATER)
    (line,) = take(office, begun(office, order), label, 2, condition="damaged", note="wet box")
    assert (line.order_line, line.settles) == (office.line(order), False)
    assert Unit.objects.filter(state="quarantine").count() == 2
    assert queries.on_order(site_id=office.world.site.pk) == {office.femoral.pk: 2}


def test_short_dated_goods_are_asked_about_then_settle_if_accepted(office: Office) -> None:
    delivery = begun(office, office.sent())
    label = Label(office.femoral, "L1", expires=TODAY + timedelta(days=20))
    with pytest.raises(Refusal, match="short-dated"):
        take(office, delivery, label)
    assert not Unit.objects.exists() and not DeliveryLine.objects.exists()
    assert take(office, delivery, label, condition="short_accepted")[0].settles
    assert not take(office, delivery, label, condition="short_apart")[0].settles


def test_consumables_go_onto_their_pile_in_pieces(office: Office) -> None:
    swabs = office.world.component("consumable", "swab-5")
    order = office.sent(office.wish(20, component=swabs))
    delivery = begun(office, order)
    take(office, delivery, Label(swabs, "C9", expires=LATER), 20)
    assert Pile.objects.get(lot="C9").quantity == 20
    assert office.line(order).end == "delivered"
    with pytest.raises(Refusal, match="pieces-apart"):
        take(office, delivery, Label(swabs, "C9", expires=LATER), 10, condition="damaged")


def test_replacements_of_a_bill_stay_the_suppliers(office: Office) -> None:
    order = office.sent(kind="bill_and_replace")
    take(office, begun(office, order), Label(office.femoral, "L1", expires=LATER))
    unit = Unit.objects.get()
    assert (unit.tenure, unit.owner) == ("consigned", office.world.supplier)


def test_whose_the_goods_of_an_exchange_are_is_asked(office: Office) -> None:
    order = office.sent(kind="exchange")
    with pytest.raises(Refusal, match="whose-goods"):
        begun(office, order)
    take(office, begun(office, order, tenure="consigned"), Label(office.femoral, "L1", expires=LATER))
    assert Unit.objects.get().tenure == "consigned"


def test_what_does_not_belong_is_told_and_kept_out(office: Office) -> None:
    order = office.sent()
    other = Party.objects.create(code="TAR", name="Tarn & Ridley", kind="supplier")
    foreign = office.tibial
    foreign.supplier = other
    delivery = begun(office, order)
    for label, count, code in (
        (Label(foreign, "L1"), 1, "suppliers-item"),
        (Label(office.femoral, "L1", expires=TODAY - timedelta(days=1)), 1, "out-of-date"),
        (Label(office.femoral), 1, "lot-or-serial"),
        (Label(office.femoral, "L1", "S1", LATER), 2, "count-out-of-range"),
        (Label(office.femoral, "x" * 21), 1, "lot-unreadable"),
    ):
        with pytest.raises(Refusal, match=code):
            take(office, delivery, label, count)
    take(office, delivery, Label(office.femoral, "L1", "S1", LATER))
    with pytest.raises(Refusal, match="serial-known"):
        take(office, delivery, Label(office.femoral, "L1", "S1", LATER))
    assert Unit.objects.count() == 1


def test_nothing_is_received_on_what_was_not_sent_or_brings_nothing(office: Office) -> None:
    for order in (office.draft(), office.approved(), office.sent(kind="bill_only")):
        with pytest.raises(Refusal, match="not-expected"):
            begun(office, order)
    order = office.sent()
    with pytest.raises(NotAllowed):
        delivery_begin(by=office.world.cast.coordinator, order=order, place=office.world.shelf, at=NOW)
    begun(office, order)
    with pytest.raises(Refusal, match="delivery-open"):
        begun(office, order)


def test_an_order_whose_goods_are_all_here_is_ended_by_its_delivery_alone(office: Office) -> None:
    order = office.sent()
    delivery = begun(office, order)
    take(office, delivery, Label(office.femoral, "L1", expires=LATER), 2)
    with pytest.raises(Refusal, match="all-here"):
        order_confirm(by=office.stores, order=order, answers=[], at=NOW)
    page = text_of(signed_in(office.stores).get(reverse("order", args=[order.pk])))
    assert "Finish the delivery" in page
    assert "Take the confirmation down" not in page and "Close the order" not in page


def test_a_finished_delivery_takes_nothing_more_and_the_next_one_goes_on(office: Office) -> None:
    order = office.sent(office.wish(2))
    first = begun(office, order)
    take(office, first, Label(office.femoral, "L1", expires=LATER))
    delivery_close(by=office.stores, delivery=first, at=NOW)
    with pytest.raises(Refusal, match="delivery-closed"):
        take(office, first, Label(office.femoral, "L1", expires=LATER))
    with pytest.raises(Refusal, match="delivery-closed"):
        delivery_close(by=office.stores, delivery=first, at=NOW)
    second = begun(office, order)
    assert second.number == 2
    take(office, second, Label(office.femoral, "L2", expires=LATER))
    delivery_close(by=office.stores, delivery=second, at=NOW)
    order.refresh_from_db()
    assert order.state == "closed"


def test_the_newest_receipt_is_taken_back_and_its_line_is_open_again(office: Office) -> None:
    order = office.confirmed(office.wish(2, cause="a"), office.wish(1, component=office.tibial))
    delivery = begun(office, order)
    take(office, delivery, Label(office.tibial, "L0", expires=LATER))
    take(office, delivery, Label(office.femoral, "L1", expires=LATER), 5)
    delivery_take_back(by=office.stores, delivery=delivery, at=NOW)
    assert (office.line(order).delivered_quantity, office.line(order).end) == (0, "")
    assert Unit.objects.filter(state="shelf").count() == 1
    assert queries.on_order(site_id=office.world.site.pk) == {office.femoral.pk: 2}
    assert Event.objects.latest("pk").reason == "taken-in-by-mistake"
    delivery_take_back(by=office.stores, delivery=delivery, at=NOW)
    order.refresh_from_db()
    assert order.state == "confirmed"
    with pytest.raises(Refusal, match="nothing-taken-in"):
        delivery_take_back(by=office.stores, delivery=delivery, at=NOW)
    assert verify() == []


def test_a_serial_taken_back_comes_in_again_by_its_next_scan(office: Office) -> None:
    delivery = begun(office, office.sent())
    for _twice in range(2):
        take(office, delivery, Label(office.femoral, "L1", "S1", LATER), condition="damaged")
        delivery_take_back(by=office.stores, delivery=delivery, at=NOW)
    take(office, delivery, Label(office.femoral, "L1", "S1", LATER))
    unit = Unit.objects.get()
    assert unit.state == "shelf" and not unit.set_apart.filter(ended_at=None).exists()


def test_pieces_are_taken_back_from_their_pile_as_long_as_they_are_there(office: Office) -> None:
    swabs = office.world.component("consumable", "swab-5")
    delivery = begun(office, office.sent(office.wish(20, component=swabs)))
    take(office, delivery, Label(swabs, "C9", expires=LATER), 20)
    take(office, delivery, Label(swabs, "C9", expires=LATER), 200)
    delivery_take_back(by=office.stores, delivery=delivery, at=NOW)
    assert Pile.objects.get(lot="C9").quantity == 20
    Pile.objects.filter(lot="C9").update(quantity=5)
    with pytest.raises(Refusal, match="not-enough"):
        delivery_take_back(by=office.stores, delivery=delivery, at=NOW)


def test_what_somebody_has_taken_since_is_not_taken_back(office: Office) -> None:
    delivery = begun(office, office.sent())
    take(office, delivery, Label(office.femoral, "L1", expires=LATER))
    Unit.objects.update(state="picked")
    with pytest.raises(Refusal, match="moved-on"):
        delivery_take_back(by=office.stores, delivery=delivery, at=NOW)
    assert office.line(delivery.order).delivered_quantity == 1


def test_what_is_said_to_have_come_is_what_the_deliveries_say(office: Office) -> None:
    order = office.sent()
    take(office, begun(office, order), Label(office.femoral, "L1", expires=LATER))
    for change in (
        lambda: OrderLine.objects.filter(order=order).update(delivered_quantity=2),
        lambda: DeliveryLine.objects.update(quantity=2),
        lambda: DeliveryLine.objects.update(taken_back_at=NOW),
        lambda: DeliveryLine.objects.all()._raw_delete("default"),
        lambda: Delivery.objects.all()._raw_delete("default"),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()
