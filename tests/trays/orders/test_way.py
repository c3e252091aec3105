"""The way of an order: drafted, approved by signature, sent, confirmed, ended; and what it refuses."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from tests.trays.orders.conftest import Office
from tests.world import NOW, TODAY
from trays.catalogue.models import Component
from trays.ledger.models import Event
from trays.orders import queries
from trays.orders.documents import papers_of
from trays.orders.models import Order, OrderLimit, OrderLine
from trays.orders.services import (
    LineAnswer,
    content_of,
    limits_set,
    line_change,
    line_take_off,
    order_approve,
    order_cancel,
    order_close,
    order_confirm,
    order_send,
    whole_boxes,
)
from trays.parties.models import Party
from trays.staff.signing import holds
from trays.web.errors import NotAllowed, Refusal


def test_an_order_goes_from_draft_to_confirmed_with_one_event_a_step(office: Office) -> None:
    order = office.draft(office.wish(2), office.wish(1, component=office.tibial))
    assert (order.number, order.state, order.currency) == (f"PO-{order.pk:05d}", "draft", "GBP")
    order = order_approve(by=office.sign_as(), order=order, at=NOW)
    order = order_send(by=office.stores, order=order, way="mail", papers=papers_of(order), at=NOW)
    answers = [LineAnswer(line.pk, line.quantity, TODAY + timedelta(days=3)) for line in order.lines.all()]
    order = order_confirm(by=office.stores, order=order, answers=answers, suppliers_number="A-77", at=NOW)
    assert (order.state, order.due_on, order.suppliers_number) == (
        "confirmed", TODAY + timedelta(days=3), "A-77",
    )  # fmt: skip
    verbs = list(Event.objects.order_by("pk").values_list("verb", flat=True))
    assert verbs == ["order.draft", "order.approve", "order.send", "order.confirm"]


def test_what_is_sent_is_due_after_the_suppliers_working_days(office: Office) -> None:
    # A Monday, and a supplier of two working days.
    assert office.sent().due_on == TODAY + timedelta(days=2)
    assert office.sent(kind="bill_only").due_on is None


def test_the_signature_is_bound_to_what_was_approved(office: Office) -> None:
    order = queries.whole_orders().get(pk=office.approved().pk)
    assert order.approval is not None and order.approval.person == office.stores
    assert holds(order.approval, content_of(order))
    order.note = "and three more"
    assert not holds(order.approval, content_of(order))


def test_a_price_that_nobody_knows_is_put_in_before_the_approval(office: Office) -> None:
    Component.objects.filter(pk=office.femoral.pk).update(price=None)
    office.femoral.refresh_from_db()
    order = office.draft()
    with pytest.raises(Refusal, match="price-unknown"):
        order_approve(by=office.sign_as(), order=order, at=NOW)
    line_change(by=office.stores, line=office.line(order), quantity=3, price=Decimal("99.50"), at=NOW)
    order_approve(by=office.sign_as(), order=order, at=NOW)
    assert queries.total_of(queries.whole_orders().get(pk=order.pk)) == Decimal("298.50")


def test_an_exchange_costs_nothing_and_needs_no_price(office: Office) -> None:
    Component.objects.update(price=None)
    office.femoral.refresh_from_db()
    order = office.approved(office.wish(2), kind="exchange")
    assert queries.total_of(queries.whole_orders().get(pk=order.pk)) == 0


def test_a_line_taken_off_the_draft_is_neither_ordered_nor_paid_and_frees_its_cause(office: Office) -> None:
    order = office.draft(office.wish(2, cause="a"), office.wish(1, cause="b", component=office.tibial))
    line_take_off(by=office.stores, line=office.line(order), at=NOW)
    order = order_approve(by=office.sign_as(), order=order, at=NOW)
    assert queries.total_of(queries.whole_orders().get(pk=order.pk)) == Decimal("412.50")
    assert set(queries.lines_for_causes(["a", "b"])) == {"b"}
    office.draft(office.wish(2, cause="a"))


# Limits


def test_above_a_roles_limit_another_role_approves(office: Office) -> None:
    limits_set(
        by=office.stores, site=office.world.site,
        amounts={"stores": Decimal(500), "quality": None}, at=NOW,
    )  # fmt: skip
    order_approve(by=office.sign_as(), order=office.draft(office.wish(1)), at=NOW)
    dear = office.draft(office.wish(2))
    with pytest.raises(Refusal, match="above-limit") as refused:
        order_approve(by=office.sign_as(), order=dear, at=NOW)
    assert "825.00 GBP" in refused.value.sentence and refused.value.next_step == "Who may: Quality."
    with pytest.raises(Refusal, match="above-limit"):
        order_approve(by=office.sign_as(office.world.cast.coordinator), order=dear, at=NOW)
    order_approve(by=office.sign_as(office.world.cast.quality), order=dear, at=NOW)


def test_a_limit_says_nothing_of_another_currency(office: Office) -> None:
    limits_set(by=office.stores, site=office.world.site, amounts={"stores": Decimal(500)}, at=NOW)
    order = office.draft(office.wish(1, price=Decimal(1), currency="EUR"))
    with pytest.raises(Refusal, match="above-limit"):
        order_approve(by=office.sign_as(), order=order, at=NOW)


def test_limits_taken_away_leave_it_to_the_roles(office: Office) -> None:
    limits_set(by=office.stores, site=office.world.site, amounts={"quality": Decimal(1)}, at=NOW)
    limits_set(by=office.stores, site=office.world.site, amounts={}, at=NOW)
    assert not OrderLimit.objects.exists()
    order_approve(by=office.sign_as(), order=office.draft(), at=NOW)
    with pytest.raises(Refusal, match="not-a-role"):
        limits_set(by=office.stores, site=office.world.site, amounts={"surgeon": None}, at=NOW)


# Refused


def test_what_cannot_be_ordered_is_told_plainly(office: Office) -> None:
    swabs = office.world.component("consumable", "swab-5")
    other = Party.objects.create(code="TAR", name="Tarn & Ridley", kind="supplier")
    for wishes, code in (
        ([], "no-lines"),
        ([office.wish(0)], "no-quantity"),
        ([office.wish(25, component=swabs)], "not-whole-boxes"),
        ([office.wish(1, price=Decimal(-1))], "price-nonsense"),
        ([office.wish(1), office.wish(1, component=office.tibial, currency="EUR")], "two-currencies"),
        ([office.wish(1, lot="x" * 21)], "lot-unreadable"),
        ([office.wish(1, cause="a"), office.wish(2, cause="a")], "cause-ordered-already"),
    ):
        with pytest.raises(Refusal, match=code):
            office.draft(*wishes) if wishes else _draft_nothing(office)
    Component.objects.filter(pk=office.tibial.pk).update(supplier=other)
    office.tibial.refresh_from_db()
    with pytest.raises(Refusal, match="other-suppliers-item"):
        office.draft(office.wish(1, component=office.tibial))
    assert not Order.objects.exists() and not Event.objects.exists()
    assert whole_boxes(swabs, 25) == 30
    # What was used is billed piece by piece.
    office.draft(office.wish(3, component=swabs), kind="bill_only")


def _draft_nothing(office: Office) -> None:
    from trays.orders.services import order_draft

    order_draft(
        by=office.stores,
        site=office.world.site,
        supplier=office.world.supplier,
        kind="stock",
        lines=[],
        at=NOW,
    )


def test_a_step_out_of_order_is_refused_and_says_what_is_next(office: Office) -> None:
    draft = office.draft()
    with pytest.raises(Refusal, match="order-no-way") as refused:
        order_send(by=office.stores, order=draft, way="mail", papers={}, at=NOW)
    assert "approved or cancelled" in refused.value.next_step
    with pytest.raises(Refusal, match="order-no-way"):
        order_confirm(by=office.stores, order=draft, answers=[], at=NOW)
    sent = office.sent()
    with pytest.raises(Refusal, match="order-no-way"):
        order_approve(by=office.sign_as(), order=sent, at=NOW)
    with pytest.raises(Refusal, match="not-a-draft"):
        line_change(by=office.stores, line=office.line(sent), quantity=9, price=None, at=NOW)


def test_only_stores_send_and_only_their_own_site(office: Office) -> None:
    order, cast = office.approved(), office.world.cast
    for person in (cast.coordinator, cast.technician, cast.far_coordinator, cast.stranger, cast.supplier):
        with pytest.raises(NotAllowed):
            order_send(by=person, order=order, way="mail", papers={}, at=NOW)


def test_more_than_was_ordered_or_a_day_before_it_was_sent_is_not_confirmed(office: Office) -> None:
    order = office.sent()
    line = office.line(order)
    for answer, code in (
        (LineAnswer(line.pk, 3), "more-than-ordered"),
        (LineAnswer(line.pk, 2, TODAY - timedelta(days=1)), "date-passed"),
        (LineAnswer(line.pk + 100, 2), "not-this-orders-line"),
    ):
        with pytest.raises(Refusal, match=code):
            order_confirm(by=office.stores, order=order, answers=[answer], at=NOW)
    order.refresh_from_db()
    assert order.state == "sent"


# The end


def test_a_line_that_the_supplier_does_not_confirm_is_over_and_its_cause_free(office: Office) -> None:
    order = office.sent(office.wish(2, cause="a"), office.wish(1, cause="b", component=office.tibial))
    first, second = order.lines.all()
    order_confirm(
        by=office.stores, order=order, answers=[LineAnswer(first.pk, 0), LineAnswer(second.pk, 1)], at=NOW
    )
    assert queries.on_order(site_id=office.world.site.pk) == {office.tibial.pk: 1}
    office.draft(office.wish(2, cause="a"))
    order = order_confirm(by=office.stores, order=order, answers=[LineAnswer(second.pk, 0)], at=NOW)
    assert (order.state, order.end) == ("cancelled", "cannot_supply")


def test_an_order_is_cancelled_with_a_reason_and_stays_on_file(office: Office) -> None:
    order = office.sent(office.wish(2, cause="a"))
    with pytest.raises(Refusal, match="reason-missing"):
        order_cancel(by=office.stores, order=order, reason="", at=NOW)
    order = order_cancel(by=office.stores, order=order, reason="other_source", note="from Fennside", at=NOW)
    assert (order.state, order.end, order.end_note) == ("cancelled", "other_source", "from Fennside")
    assert Event.objects.latest("pk").reason == "other_source"
    assert queries.lines_for_causes(["a"]) == {}
    with pytest.raises(Refusal, match="order-no-way"):
        order_close(by=office.stores, order=order, reason="rest_not_coming", at=NOW)


def test_a_bill_is_closed_by_its_invoice_and_an_order_for_goods_is_not(office: Office) -> None:
    bill = office.sent(office.wish(1, lot="L9"), kind="bill_only")
    assert queries.on_order(site_id=office.world.site.pk) == {}
    assert order_close(by=office.stores, order=bill, reason="billed", at=NOW).state == "closed"
    goods = office.sent()
    with pytest.raises(Refusal, match="goods-to-come"):
        order_close(by=office.stores, order=goods, reason="billed", at=NOW)


# Once


def test_each_act_pressed_twice_is_done_once(office: Office) -> None:
    keys = [uuid4() for _ in range(6)]
    first = office.draft(client_key=keys[0])
    assert office.draft(client_key=keys[0]) == first
    for _twice in range(2):
        line_change(
            by=office.stores,
            line=office.line(first),
            quantity=3,
            price=Decimal(5),
            at=NOW,
            client_key=keys[1],
        )
    for _twice in range(2):
        order_approve(by=office.sign_as(), order=first, at=NOW, client_key=keys[2])
    for _twice in range(2):
        order_send(by=office.stores, order=first, way="post", papers={}, at=NOW, client_key=keys[3])
    for _twice in range(2):
        order_cancel(by=office.stores, order=first, reason="not_needed", at=NOW, client_key=keys[4])
    assert Order.objects.count() == 1 and Event.objects.count() == 5
    assert first.sends.count() == 1


def test_nothing_is_ordered_twice_for_one_cause(office: Office) -> None:
    first = office.draft(office.wish(2, cause="alert:7"))
    with pytest.raises(Refusal, match="cause-ordered-already") as refused:
        office.draft(office.wish(2, cause="alert:7"))
    assert first.number in refused.value.sentence
    assert Order.objects.count() == 1


def test_lines_are_added_to_an_open_draft_of_the_same_supplier(office: Office) -> None:
    first = office.draft(office.wish(2, cause="a"))
    assert office.draft(office.wish(1, cause="b"), into=first) == first
    assert list(first.lines.values_list("number", "quantity")) == [(1, 2), (2, 1)]
    with pytest.raises(Refusal, match="another-draft"):
        office.draft(office.wish(1), into=first, kind="exchange")
    order_approve(by=office.sign_as(), order=first, at=NOW)
    with pytest.raises(Refusal, match="not-a-draft"):
        office.draft(office.wish(1), into=first)


# Laws of the database


def refused_by_the_database(change: object) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        change()  # type: ignore[operator]


def test_the_database_itself_keeps_the_laws(office: Office) -> None:
    order = office.sent(office.wish(2, cause="a"))
    row, lines = Order.objects.filter(pk=order.pk), OrderLine.objects.filter(order=order)
    refused_by_the_database(lambda: row.update(state="draft"))
    refused_by_the_database(lambda: row.update(state="closed"))
    refused_by_the_database(lambda: row.update(state="closed", end="delivered", ended_at=NOW))
    refused_by_the_database(lambda: row.update(note="more"))
    refused_by_the_database(lambda: row.update(needed_by=TODAY))
    refused_by_the_database(lambda: row.update(approval=None))
    refused_by_the_database(lambda: row._raw_delete("default"))
    refused_by_the_database(lambda: lines.update(quantity=9))
    refused_by_the_database(lambda: lines.update(unit_price=1))
    refused_by_the_database(lambda: lines.update(confirmed_quantity=3))
    refused_by_the_database(lambda: lines._raw_delete("default"))
    line = office.line(order)
    line.pk, line.number = None, 2
    refused_by_the_database(line.save)
    refused_by_the_database(
        lambda: row.update(state="cancelled", end="mistake", ended_at=NOW, ended_by=office.stores)
    )
    draft = office.draft(office.wish(1))
    refused_by_the_database(lambda: draft.lines.update(cause="a"))
    refused_by_the_database(
        lambda: Order.objects.filter(pk=draft.pk).update(state="approved", approved_at=NOW)
    )


def test_what_was_sent_is_kept_as_it_was_sent(office: Office) -> None:
    paper = office.sent().sends.get().papers.get(format="csv")
    refused_by_the_database(lambda: type(paper).objects.update(digest="x"))
    refused_by_the_database(lambda: type(paper).objects.all()._raw_delete("default"))
