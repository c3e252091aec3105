"""The pages of orders: what waits, what is late; one order with its next act only, its papers, its limits."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.trays.orders.conftest import PIN, Office
from tests.trays.processing.http import questions, scan_plainly, signed_in, text_of
from trays.catalogue.models import Component
from trays.orders.models import Order, OrderLimit
from trays.orders.reading import sheet_code
from trays.orders.services import order_approve

FILLED = 'class="btn main"'


@pytest.fixture
def client(office: Office) -> Client:
    return signed_in(office.stores)


def page(client: Client, order: Order) -> str:
    answer = client.get(reverse("order", args=[order.pk]))
    assert answer.status_code == 200
    return text_of(answer)


def filled(text: str) -> list[str]:
    """The words on the filled buttons of a page's work."""
    text = text.split('<div id="work">')[1]
    return [
        part.split("</button>")[0].split("</a>")[0].rsplit(">", 1)[-1].strip()
        for part in text.split(' main"')[1:]
    ]


def press(client: Client, name: str, order: Order, **given: Any) -> Any:
    return client.post(reverse(name, args=[order.pk]), given)


def test_the_list_says_what_waits_and_what_is_late_and_puts_it_first(client: Client, office: Office) -> None:
    now = timezone.now()
    office.draft(at=now)
    office.approved()
    late = office.sent()
    Order.objects.filter(pk=late.pk).update(due_on=now.date() - timedelta(days=3))
    soon = office.sent()
    Order.objects.filter(pk=soon.pk).update(due_on=now.date() + timedelta(days=3))
    text = text_of(client.get(reverse("orders")))
    assert "4 orders are open. 1 waits for approval. 1 is to be sent. 1 is late, due on" in text
    first = text.index(late.number)
    assert all(first < text.index(order.number) for order in Order.objects.exclude(pk=late.pk))
    only_late = text_of(client.get(reverse("orders"), {"which": "late"}))
    assert late.number in only_late and soon.number not in only_late


def test_the_list_is_a_file_too_and_asks_as_much_for_many_orders_as_for_few(
    client: Client, office: Office
) -> None:
    office.sent()
    few = questions(client, reverse("orders"))
    for _n in range(4):
        office.sent(office.wish(1), office.wish(2, component=office.tibial))
    assert questions(client, reverse("orders")) == few
    content = client.get(reverse("orders"), {"as": "csv"}).content.decode("utf-8-sig")
    assert content.count("PO-") == 5 and "825.00" in content


def test_an_order_by_hand_goes_onto_the_open_draft_of_the_supplier(client: Client, office: Office) -> None:
    for quantity in ("2", "3"):
        given = {"item": "tib-3-x-none", "quantity": quantity, "kind": "stock"}
        answer = client.post(reverse("order-new"), given)
        assert answer.status_code == 303
    order = Order.objects.get()
    assert answer["Location"] == reverse("order", args=[order.pk])
    assert list(order.lines.values_list("quantity", flat=True)) == [2, 3]


def test_an_order_needed_by_another_day_is_a_draft_of_its_own(client: Client, office: Office) -> None:
    office.draft()
    given = {"item": "tib-3-x-none", "quantity": "1", "kind": "stock", "needed_by": "2099-03-01"}
    assert client.post(reverse("order-new"), given).status_code == 303
    assert client.post(reverse("order-new"), given).status_code == 303
    assert [order.lines.count() for order in Order.objects.order_by("pk")] == [1, 2]


@pytest.mark.parametrize(
    ("item", "told"),
    [("nothing such", "No item on file has"), ("femoral", "Several items have that in their name")],
)
def test_an_item_that_is_not_clear_is_asked_again_and_nothing_typed_is_lost(
    client: Client, item: str, told: str
) -> None:
    answer = client.post(reverse("order-new"), {"item": item, "quantity": "7", "kind": "exchange"})
    assert answer.status_code == 422
    text = text_of(answer)
    assert told in text and f'value="{item}"' in text and 'value="7"' in text
    assert not Order.objects.exists()


def test_nonsense_in_a_form_is_told_and_saves_nothing(client: Client, office: Office) -> None:
    for given in (
        {}, {"item": "tib-3-x-none", "quantity": "-1", "kind": "stock"},
        {"item": "tib-3-x-none", "quantity": "x", "kind": "nothing"},
        {"item": "tib-3-x-none\0", "quantity": "1", "kind": "stock", "needed_by": "yesterday"},
    ):  # fmt: skip
        assert client.post(reverse("order-new"), given).status_code == 422
    draft = office.draft()
    line = office.line(draft)
    for price in ("-1", "NaN", "1e30", "0.00001", "dear"):
        answer = client.post(reverse("order-line", args=[line.pk]), {"quantity": "3", "price": price})
        assert answer.status_code == 422 and f'value="{price}"' in text_of(answer)
    assert office.line(draft).quantity == 2


def test_each_state_has_its_one_next_act(client: Client, office: Office) -> None:
    order = office.draft()
    assert filled(page(client, order)) == ["Sign and approve"]
    assert press(client, "order-approve", order, pin=PIN).status_code == 303
    text = page(client, order)
    assert filled(text) == ["It was sent"]
    for form in ("pdf", "csv", "xml"):
        answer = client.get(reverse("order-paper", args=[order.pk, form]))
        assert answer.status_code == 200 and len(answer.content) > 100
        assert answer["Content-Disposition"] == f'attachment; filename="{order.number}.{form}"'
    assert press(client, "order-send", order, way="mail").status_code == 303
    assert filled(page(client, order)) == ["Take the confirmation down"]
    line = office.line(order)
    given = {f"quantity_{line.pk}": "1", f"day_{line.pk}": "2099-01-02", "suppliers_number": "A7"}
    assert press(client, "order-confirm", order, **given).status_code == 303
    text = page(client, order)
    assert filled(text) == ["Receive by scan"]
    assert "1 piece is still to come, confirmed for" in text and "their number A7" in text
    assert press(client, "order-end", order, reason="cannot_supply", note="rang").status_code == 303
    text = page(client, order)
    assert filled(text) == [] and "The supplier cannot supply it: rang" in text


def test_a_wrong_pin_approves_nothing(client: Client, office: Office) -> None:
    order = office.draft()
    answer = press(client, "order-approve", order, pin="9999")
    assert answer.status_code == 422 and "This is not the PIN of" in text_of(answer)
    order.refresh_from_db()
    assert order.state == "draft"


def test_a_draft_says_why_it_cannot_be_approved_yet_and_by_whom_it_could(
    client: Client, office: Office
) -> None:
    order = office.draft()
    OrderLimit.objects.create(site=office.world.site, role="stores", amount=Decimal(10), currency="GBP")
    OrderLimit.objects.create(site=office.world.site, role="quality", currency="GBP")
    text = page(client, order)
    assert filled(text) == [] and 'aria-disabled="true"' in text
    assert "comes to 825.00 GBP; your role may not approve that much here. Who may: Quality." in text
    assert press(client, "order-approve", order, pin=PIN).status_code == 422
    assert filled(page(signed_in(office.world.cast.quality), order)) == ["Sign and approve"]


def test_a_line_without_a_price_is_marked_and_gets_one_where_it_stands(
    client: Client, office: Office
) -> None:
    Component.objects.update(price=None)
    office.femoral.refresh_from_db()
    order = office.draft()
    assert "no price yet" in page(client, order) and "has no price yet" in page(client, order)
    line = office.line(order)
    client.post(reverse("order-line", args=[line.pk]), {"quantity": "4", "price": "12.3456"})
    text = page(client, order)
    assert "49.38" in text and filled(text) == ["Sign and approve"]


def test_what_a_bill_pays_and_sends_is_said(client: Client, office: Office) -> None:
    order = office.sent(office.wish(1, lot="L40"), kind="bill_only")
    text = page(client, order)
    assert "pay 1, send 0" in text and "used: lot L40" in text and "Receive by scan" not in text


def test_whole_boxes_are_told(client: Client, office: Office) -> None:
    swabs = office.world.component("consumable", "swab-5")
    assert "2 boxes of 10" in page(client, office.sent(office.wish(20, component=swabs)))


def test_the_page_of_an_order_asks_as_much_for_many_lines_as_for_few(client: Client, office: Office) -> None:
    few = office.draft(office.wish(1))
    many = office.draft(
        *(office.wish(1, component=one) for one in list(office.world.components.values())[:8])
    )
    counts = [questions(client, reverse("order", args=[order.pk])) for order in (few, many)]
    assert counts[0] == counts[1]
    for order in (few, many):
        order_approve(by=office.sign_as(), order=order, at=timezone.now())
    assert len({questions(client, reverse("order", args=[order.pk])) for order in (few, many)}) == 1


def test_limits_are_set_for_each_role_and_said(client: Client, office: Office) -> None:
    assert "No limits are set" in text_of(client.get(reverse("order-limits")))
    given = {"amount_stores": "500", "any_quality": "on"}
    assert client.post(reverse("order-limits-set"), given).status_code == 303
    kept = dict(OrderLimit.objects.values_list("role", "amount"))
    assert kept == {"stores": Decimal(500), "quality": None}
    text = text_of(client.get(reverse("order-limits")))
    assert 'value="500.00"' in text and "An order above a role's limit" in text
    seen = text_of(signed_in(office.world.cast.coordinator).get(reverse("order-limits")))
    assert "up to 500.00 GBP" in seen and "Keep these limits" not in seen
    assert client.post(reverse("order-limits-set"), {"amount_stores": "much"}).status_code == 422


def test_the_paper_of_an_order_leads_to_its_page_by_scan_or_number(client: Client, office: Office) -> None:
    order = office.approved()
    page = reverse("order", args=[order.pk])
    code = sheet_code(office.world.site, order.number)
    for text in (code, order.number, order.number.lower()):
        assert scan_plainly(client, "/orders/", text)["Location"] == page
    stranger = signed_in(office.world.cast.technician)
    assert "Location" not in scan_plainly(stranger, "/orders/", order.number)
