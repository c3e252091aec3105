"""The page where a delivery comes in: boxes by scan, what needs a decision by hand, then it is finished."""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.trays.orders.conftest import Office
from tests.trays.processing.http import questions, scan_on, scan_plainly, signed_in, text_of
from tests.world import gtin
from trays.catalogue.models import Component
from trays.identifiers import gs1
from trays.ledger.models import Event
from trays.orders.models import Delivery, DeliveryLine, Order
from trays.refusals.models import RefusedScan
from trays.stock.models import Unit

FAR = date(2040, 6, 1)


@pytest.fixture
def client(office: Office) -> Client:
    return signed_in(office.stores)


def address(order: Order) -> str:
    return reverse("order-receive", args=[order.pk])


def begin(client: Client, office: Office, order: Order) -> Delivery:
    given = {"place": str(office.world.shelf.pk), "tenure": "owned", "note_number": "DN 4"}
    answer = client.post(reverse("order-receive-begin", args=[order.pk]), given)
    assert answer.status_code == 303
    return order.deliveries.get(closed_at=None)


def label(component: Component, *, lot: str = "L1", serial: str = "", expires: date = FAR) -> str:
    parts = [("01", component.pack_levels.get(quantity=1).code), ("17", expires.strftime("%y%m%d"))]
    parts += [(ai, value) for ai, value in (("10", lot), ("21", serial)) if value]
    return gs1.build(parts)


def test_box_after_box_is_scanned_until_everything_is_here(client: Client, office: Office) -> None:
    order = office.confirmed(office.wish(2), office.wish(1, component=office.tibial))
    begin(client, office, order)
    events = Event.objects.count()
    answer = text_of(scan_on(client, address(order), label(office.femoral, serial="S1")))
    assert "Taken in: Femoral 2 left, S1." in answer and "Line 1." in answer
    assert "2 pieces are still to come." in answer
    assert Event.objects.count() == events + 1
    scan_on(client, address(order), label(office.femoral, serial="S2"))
    assert "Everything has come" in text_of(scan_on(client, address(order), label(office.tibial)))
    page = text_of(client.get(address(order)))
    assert "Everything has come: finish the delivery." in page and "all here" in page
    answer = client.post(reverse("order-receive-done", args=[order.pk]))
    assert answer["Location"] == reverse("order", args=[order.pk])
    order.refresh_from_db()
    assert (order.state, order.end) == ("closed", "delivered")
    unit = Unit.objects.get(serial="S1")
    assert (unit.lot, unit.expires, unit.state) == ("L1", FAR, "shelf")


def test_without_scripts_a_scan_does_the_same(client: Client, office: Office) -> None:
    order = office.sent()
    begin(client, office, order)
    answer = scan_plainly(client, address(order), label(office.femoral, serial="S1"))
    assert answer["Location"] == address(order)
    assert Unit.objects.filter(serial="S1").count() == 1


def test_a_label_in_two_halves_is_one_box(client: Client, office: Office) -> None:
    order = office.sent()
    begin(client, office, order)
    whole = label(office.femoral)
    item, rest = whole[:16], whole[16:]
    scan_on(client, address(order), item)
    assert not Unit.objects.exists()
    assert "Taken in" in text_of(scan_on(client, address(order), rest))
    assert Unit.objects.get().lot == "L1"


def test_a_box_read_twice_is_one_and_its_twin_a_moment_later_another(
    client: Client, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    order = office.sent()
    begin(client, office, order)
    scan_on(client, address(order), label(office.femoral))
    answer = scan_on(client, address(order), label(office.femoral))
    assert "The same box was read twice" in text_of(answer)
    assert Unit.objects.count() == 1
    monkeypatch.setattr("cases.desks.at_delivery.TWICE", timedelta(0))
    scan_on(client, address(order), label(office.femoral))
    assert Unit.objects.count() == 2


def test_a_short_dated_box_is_asked_about_with_its_label_filled_in(client: Client, office: Office) -> None:
    order = office.sent()
    begin(client, office, order)
    soon = timezone.now().date() + timedelta(days=20)
    answer = text_of(scan_on(client, address(order), label(office.femoral, expires=soon)))
    assert "more days; 90 are asked for here" in answer and "Say what becomes of it" in answer
    link = next(part for part in answer.split('href="') if part.startswith(address(order))).split("#")[0]
    form = text_of(client.get(link))
    assert 'value="fem-2-x-left"' in form and 'value="L1"' in form and f'value="{soon}"' in form
    given = {
        "item": "fem-2-x-left", "lot": "L1", "expires": str(soon), "count": "1",
        "condition": "short_accepted",
    }  # fmt: skip
    assert client.post(reverse("order-receive-hand", args=[order.pk]), given).status_code == 303
    assert office.line(order).delivered_quantity == 1
    assert "Short-dated: accepted" in text_of(client.get(reverse("order", args=[order.pk])))


def test_several_of_a_lot_and_damaged_ones_are_taken_in_by_hand(client: Client, office: Office) -> None:
    order = office.sent(office.wish(5))
    begin(client, office, order)
    given = {"item": "fem-2-x-left", "lot": "L1", "expires": str(FAR), "count": "3", "condition": "good"}
    client.post(reverse("order-receive-hand", args=[order.pk]), given)
    client.post(
        reverse("order-receive-hand", args=[order.pk]), {**given, "count": "2", "condition": "damaged"}
    )
    assert sorted(Unit.objects.values_list("state", flat=True)) == ["quarantine"] * 2 + ["shelf"] * 3
    text = text_of(client.get(address(order)))
    assert "2 pieces are still to come" in text and "Damaged: set apart" in text


def test_undo_takes_back_the_last_scan_and_says_which(client: Client, office: Office) -> None:
    order = office.sent()
    begin(client, office, order)
    scan_on(client, address(order), label(office.femoral, serial="S1"))
    assert "Undo 1, Femoral component A" in text_of(client.get(address(order)))
    assert client.post(reverse("order-receive-undo", args=[order.pk])).status_code == 303
    page = text_of(client.get(address(order)))
    assert "Taken back: 1." in page and "taken back: a scan by mistake" in page and "Undo 1" not in page
    assert "Taken in" in text_of(scan_on(client, address(order), label(office.femoral, serial="S1")))
    assert office.line(order).delivered_quantity == 1


def test_what_does_not_belong_is_refused_in_a_sentence_and_kept(client: Client, office: Office) -> None:
    order = office.sent()
    for code, told in (
        (label(office.femoral), "No delivery of"),
        ("T1", "that does not go in here"),
        (gs1.build([("01", gtin(99_999)), ("10", "L1")]), "on the page Receive"),
    ):
        answer = text_of(scan_on(client, address(order), code))
        assert told in answer, code
    begin(client, office, order)
    past = timezone.now().date() - timedelta(days=9)
    answer = text_of(scan_on(client, address(order), label(office.femoral, expires=past)))
    assert "The use-by date on this label has passed" in answer
    assert not Unit.objects.exists()
    assert set(RefusedScan.objects.values_list("code", flat=True)) >= {"no-delivery", "out-of-date"}


def test_elsewhere_the_same_scan_takes_nothing_in(client: Client, office: Office) -> None:
    order = office.sent()
    begin(client, office, order)
    scan_on(client, reverse("order", args=[order.pk]), label(office.femoral))
    assert not Unit.objects.exists()


def test_nonsense_by_hand_loses_nothing_typed_and_saves_nothing(client: Client, office: Office) -> None:
    order = office.sent()
    begin(client, office, order)
    for changed in (
        {"count": "0"}, {"lot": "x" * 21}, {"expires": "31.31.2031"}, {"item": "nothing such"},
        {"condition": "odd"}, {"lot": "", "serial": ""},
    ):  # fmt: skip
        given = {"item": "fem-2-x-left", "lot": "L77", "count": "1", "condition": "good", **changed}
        answer = client.post(reverse("order-receive-hand", args=[order.pk]), given)
        assert answer.status_code == 422, changed
        assert f'value="{given["item"]}"' in text_of(answer)
    assert not Unit.objects.exists() and not DeliveryLine.objects.exists()


def test_the_page_asks_as_much_for_a_long_delivery_as_for_a_short_one(client: Client, office: Office) -> None:
    few, many = office.sent(), office.sent(office.wish(4), office.wish(4, component=office.tibial))
    for order, boxes in ((few, 1), (many, 6)):
        begin(client, office, order)
        for number in range(boxes):
            scan_on(client, address(order), label(office.femoral, serial=f"{order.pk}-{number}"))
    assert Unit.objects.count() == 7
    assert questions(client, address(few)) == questions(client, address(many))
