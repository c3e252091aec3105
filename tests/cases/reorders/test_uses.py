"""From a use in theatre to its bill: bill only or bill and replace, as agreed, and once."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.cache import cache
from django.db import IntegrityError, transaction
from django.urls import reverse

from cases.readiness.on_the_way import coming_to
from cases.reorders.models import UseOrdered
from cases.reorders.uses import billed_wrongly, used_not_ordered, uses_order
from cases.usage.fates import fate_correct, fate_record
from cases.usage.models import Fate, Why
from tests.cases.usage.conftest import Table
from tests.cases.usage.conftest import table as table  # noqa: F401
from tests.world import NOW, TODAY
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.loans.models_agreements import Agreement, AgreementLine, Price
from trays.orders.drafting import line_take_off
from trays.orders.models import Order, OrderLine
from trays.parties.models import Tenure
from trays.web.errors import NotAllowed, Refusal


@pytest.fixture
def agreed(table: Table) -> Agreement:
    """The femoral size is replaced after use, the tibial one is only paid; both have a price."""
    cache.clear()
    world = table.world
    made = Agreement.objects.create(
        code="AG1", site=world.site, supplier=world.supplier, valid_from=TODAY - timedelta(days=100)
    )
    for slot, replacement in (("femoral", "bill_and_replace"), ("tibial", "bill_only")):
        component = table.component(slot)
        AgreementLine.objects.create(agreement=made, component=component, quantity=2, replacement=replacement)
        Price.objects.create(
            supplier=world.supplier, agreement=made, component=component, price=Decimal("812.40"),
            currency="GBP", valid_from=TODAY - timedelta(days=50),
        )  # fmt: skip
    return made


def use(table: Table, slot: str, fate: str = Fate.IMPLANTED, **more: Any) -> Any:
    why = more.pop("why", "")
    brought = table.bring(slot, tenure=more.pop("tenure", Tenure.CONSIGNED), **more)
    return fate_record(by=table.by, brought=brought, fate=fate, why=why, at=NOW)


def bill(table: Table, *uses: Any, **more: Any) -> list[Order]:
    return uses_order(
        by=table.world.cast.stores,
        site=table.world.site,
        brought_ids=[one.pk for one in uses],
        at=NOW,
        **more,
    )


def test_the_agreement_says_whether_another_comes_and_at_what_price(table: Table, agreed: Agreement) -> None:
    femoral, tibial = use(table, "femoral"), use(table, "tibial")
    first, second = bill(table, femoral, tibial)
    assert (first.kind, second.kind) == ("bill_only", "bill_and_replace")
    paid, replaced = first.lines.get(), second.lines.get()
    assert (paid.component, paid.lot) == (table.component("tibial"), tibial.lot)
    assert (replaced.component, replaced.unit_price) == (table.component("femoral"), Decimal("812.4000"))
    coming = coming_to(site=table.world.site, day=TODAY)
    assert set(coming) == {table.component("femoral").pk}


def test_one_act_for_all_of_them_that_names_no_case(table: Table, agreed: Agreement) -> None:
    before = Event.objects.count()
    bill(table, use(table, "femoral"), use(table, "tibial"))
    event = Event.objects.order_by("-pk")[0]
    # two units in, two brought, two fates, and the bill
    assert Event.objects.filter(verb="reorder.bill").count() == 1
    assert table.case.reference not in event.text
    assert Event.objects.count() > before
    assert verify() == []


def test_a_use_is_billed_once_whatever_is_pressed_twice(table: Table, agreed: Agreement) -> None:
    femoral, key = use(table, "femoral"), uuid4()
    orders = bill(table, femoral, client_key=key)
    assert bill(table, femoral, client_key=key) == orders
    with pytest.raises(Refusal, match="use-ordered-already"):
        bill(table, femoral)
    assert OrderLine.objects.count() == 1
    with pytest.raises(IntegrityError), transaction.atomic():
        UseOrdered.objects.create(brought=femoral, line=OrderLine.objects.get(), at=NOW)
    assert used_not_ordered(site=table.world.site) == ()


def test_what_was_owned_or_faulty_has_no_bill_and_what_was_lent_is_not_replaced(
    table: Table, agreed: Agreement
) -> None:
    use(table, "insert", tenure=Tenure.OWNED)
    use(table, "tibial", Fate.WASTED, why=Why.FAULTY)
    lent = use(table, "femoral", tenure=Tenure.LOANED)
    (line,) = used_not_ordered(site=table.world.site)
    assert (line.brought, line.kind, line.agreed) == (lent, "bill_only", False)


def test_a_line_taken_off_leaves_the_use_to_be_billed_again(table: Table, agreed: Agreement) -> None:
    femoral = use(table, "femoral")
    (order,) = bill(table, femoral)
    line_take_off(by=table.world.cast.stores, line=order.lines.get(), at=NOW)
    (waiting,) = used_not_ordered(site=table.world.site)
    assert waiting.brought == femoral
    bill(table, femoral)
    assert UseOrdered.objects.filter(ended_at__isnull=True).count() == 1


def test_a_correction_is_not_billed_twice_and_one_that_undoes_the_use_is_told(
    table: Table, agreed: Agreement
) -> None:
    femoral = use(table, "femoral")
    bill(table, femoral)
    wasted = fate_correct(by=table.by, brought=femoral, fate=Fate.WASTED, why=Why.DROPPED, at=NOW)
    assert used_not_ordered(site=table.world.site) == ()
    assert billed_wrongly(site=table.world.site) == []
    faulty = fate_correct(by=table.by, brought=wasted, fate=Fate.WASTED, why=Why.FAULTY, at=NOW)
    assert used_not_ordered(site=table.world.site) == ()
    assert len(billed_wrongly(site=table.world.site)) == 1
    fate_correct(by=table.by, brought=faulty, fate=Fate.IMPLANTED, at=NOW)
    assert used_not_ordered(site=table.world.site) == ()
    assert billed_wrongly(site=table.world.site) == []


def test_a_bill_for_what_was_not_used_after_all_is_told(
    table: Table, agreed: Agreement, as_person: Any
) -> None:
    femoral = use(table, "femoral", Fate.WASTED, why=Why.DROPPED)
    (order,) = bill(table, femoral)
    fate_correct(by=table.by, brought=femoral, fate=Fate.WASTED, why=Why.FAULTY, at=NOW)
    (wrong,) = billed_wrongly(site=table.world.site)
    assert wrong.line.order == order
    assert order.number in as_person("stores").get(reverse("reorder-used")).content.decode()


def test_the_page_shows_what_follows_and_drafts_it_with_a_press(
    table: Table, agreed: Agreement, as_person: Any
) -> None:
    use(table, "femoral")
    use(table, "tibial")
    client = as_person("stores")
    url = reverse("reorder-used")
    assert (
        "2 uses of supplier’s stock wait for their bill" in client.get(reverse("reorders")).content.decode()
    )
    page = client.get(url).content.decode()
    assert "pay 1, send 1" in page and "pay 1, send 0" in page and "812.40 GBP" in page
    ids = [line.brought.pk for line in used_not_ordered(site=table.world.site)]
    answer = client.post(url, {"use": ids}, follow=True).content.decode()
    assert "Drafted: Merrowfield, PO-" in answer
    assert "Every use of supplier’s stock has its bill" in client.get(url).content.decode()
    assert client.post(url, {"use": ids}).status_code == 409
    assert client.post(url, {"use": "x"}).status_code == 422
    assert client.post(url).status_code == 409


def test_only_those_who_order_draft_bills(table: Table, agreed: Agreement, as_person: Any) -> None:
    femoral = use(table, "femoral")
    for who in ("quality", "circulating", "far_coordinator"):
        with pytest.raises(NotAllowed):
            uses_order(
                by=getattr(table.world.cast, who), site=table.world.site, brought_ids=[femoral.pk], at=NOW
            )
    assert as_person("scrub").get(reverse("reorder-used")).status_code == 403
    assert "Draft the bill" not in as_person("quality").get(reverse("reorder-used")).content.decode()
