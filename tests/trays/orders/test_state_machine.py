"""Any order of acts: an order goes only along its ways, money and goods agree, no cause is ordered twice."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from tests.trays.orders.conftest import Office
from tests.world import NOW, TODAY
from trays.orders import queries
from trays.orders.deliveries import (
    Label,
    delivery_begin,
    delivery_close,
    delivery_receive,
    delivery_take_back,
)
from trays.orders.models import DeliveryLine, Order, OrderLine
from trays.orders.services import (
    LineAnswer,
    line_take_off,
    order_approve,
    order_cancel,
    order_close,
    order_confirm,
    order_send,
)
from trays.orders.ways import WAYS
from trays.stock.models import Unit
from trays.web.errors import Refusal

CAUSES = st.sampled_from(["", "a", "b", "c"])
REASONS = st.sampled_from(["not_needed", "cannot_supply", "rest_not_coming", "billed"])


class Walk(RuleBasedStateMachine):
    """One office pressing whatever it likes on whatever order there is."""

    office: Office

    @initialize()
    def begin(self) -> None:
        self.undo = transaction.atomic()
        self.undo.__enter__()
        self.seen: dict[int, str] = {}

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.undo.__exit__(None, None, None)

    def order(self, which: int) -> Order | None:
        orders = list(Order.objects.order_by("pk"))
        return orders[which % len(orders)] if orders else None

    def press(self, which: int, act: str, **more: object) -> None:
        order = self.order(which)
        if order is None:
            return
        try:
            getattr(self, f"_{act}")(order, **more)
        except Refusal:
            return

    @rule(cause=CAUSES, pieces=st.integers(1, 4), kind=st.sampled_from(["stock", "bill_only", "exchange"]))
    def draft(self, cause: str, pieces: int, kind: str) -> None:
        try:
            self.office.draft(self.office.wish(pieces, cause=cause), kind=kind)
        except Refusal:
            assert cause

    @rule(which=st.integers(0, 9))
    def approve(self, which: int) -> None:
        self.press(which, "approve")

    @rule(which=st.integers(0, 9))
    def send(self, which: int) -> None:
        self.press(which, "send")

    @rule(which=st.integers(0, 9), pieces=st.integers(0, 4))
    def confirm(self, which: int, pieces: int) -> None:
        self.press(which, "confirm", pieces=pieces)

    @rule(which=st.integers(0, 9), pieces=st.integers(1, 5), condition=st.sampled_from(["good", "damaged"]))
    def deliver(self, which: int, pieces: int, condition: str) -> None:
        self.press(which, "deliver", pieces=pieces, condition=condition)

    @rule(which=st.integers(0, 9), pieces=st.integers(1, 5))
    def deliver_by_mistake(self, which: int, pieces: int) -> None:
        self.press(which, "deliver", pieces=pieces, condition="good", mistake=True)

    @rule(which=st.integers(0, 9), reason=REASONS, act=st.sampled_from(["cancel", "close"]))
    def end(self, which: int, reason: str, act: str) -> None:
        self.press(which, act, reason=reason)

    @rule(which=st.integers(0, 9))
    def take_off(self, which: int) -> None:
        self.press(which, "take_off")

    def _approve(self, order: Order) -> None:
        order_approve(by=self.office.sign_as(), order=order, at=NOW)

    def _send(self, order: Order) -> None:
        order_send(by=self.office.stores, order=order, way="mail", papers={}, at=NOW)

    def _confirm(self, order: Order, pieces: int) -> None:
        answers = [LineAnswer(line.pk, pieces) for line in order.lines.filter(end="")]
        order_confirm(by=self.office.stores, order=order, answers=answers, at=NOW)

    def _deliver(self, order: Order, pieces: int, condition: str, mistake: bool = False) -> None:
        office = self.office
        delivery = order.deliveries.filter(closed_at=None).first() or delivery_begin(
            by=office.stores, order=order, place=office.world.shelf, tenure="owned", at=NOW
        )
        label = Label(office.femoral, "L1", expires=TODAY + timedelta(days=400))
        delivery_receive(
            by=office.stores, delivery=delivery, label=label, count=pieces, condition=condition, at=NOW
        )
        if mistake:
            delivery_take_back(by=office.stores, delivery=delivery, at=NOW)
        delivery_close(by=office.stores, delivery=delivery, at=NOW)

    def _cancel(self, order: Order, reason: str) -> None:
        order_cancel(by=self.office.stores, order=order, reason=reason, at=NOW)

    def _close(self, order: Order, reason: str) -> None:
        order_close(by=self.office.stores, order=order, reason=reason, at=NOW)

    def _take_off(self, order: Order) -> None:
        line = order.lines.select_related("order").first()
        assert line is not None
        line_take_off(by=self.office.stores, line=line, at=NOW)

    @invariant()
    def every_order_is_there_and_went_along_its_ways(self) -> None:
        if not hasattr(self, "seen"):
            return
        now = dict(Order.objects.values_list("pk", "state"))
        assert set(self.seen) <= set(now)
        for pk, before in self.seen.items():
            assert _reaches(before, now[pk])
        self.seen = now

    @invariant()
    def no_cause_is_open_twice_and_nothing_is_open_on_what_is_over(self) -> None:
        causes = list(OrderLine.objects.filter(end="").exclude(cause="").values_list("cause", flat=True))
        assert len(causes) == len(set(causes))
        assert not OrderLine.objects.filter(order__state__in=Order.ENDED, end="").exists()

    @invariant()
    def what_came_is_in_stock_and_what_is_on_order_is_still_to_come(self) -> None:
        came = sum(DeliveryLine.objects.values_list("quantity", flat=True))
        assert Unit.objects.filter(lot="L1").count() == came
        for line in OrderLine.objects.all():
            counted = line.deliveries.filter(settles=True, taken_back_at=None)
            settled = counted.values_list("quantity", flat=True)
            assert line.delivered_quantity == sum(settled) <= line.quantity
        left = sum(queries.outstanding(line) for line in OrderLine.objects.select_related("order"))
        assert sum(queries.on_order(site_id=self.office.world.site.pk).values()) == left

    @invariant()
    def an_order_comes_to_the_sum_of_its_lines(self) -> None:
        for order in queries.whole_orders():
            pieces = sum(line.quantity for line in queries.live_lines(order))
            assert queries.total_of(order) == (pieces * Decimal("412.50") if order.pays else 0)


def _reaches(before: str, after: str) -> bool:
    """Whether one state follows from another, by any number of ways: one act may take two steps."""
    reached, new = {before}, {before}
    while new:
        new = {step for state in new for step in WAYS[state]} - reached
        reached |= new
    return after in reached


@pytest.mark.slow
def test_no_order_of_acts_breaks_a_law(office: Office) -> None:
    Walk.office = office
    run_state_machine_as_test(  # type: ignore[no-untyped-call]
        Walk,
        settings=settings(
            max_examples=15, stateful_step_count=25, deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )  # fmt: skip
