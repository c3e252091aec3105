"""Two accept one alert, or scan one delivery, at one moment: ordered once, and each scan counted once."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.db.models import Sum

from tests.world import NOW, World
from trays.ledger.queries import verify
from trays.orders import deliveries, drafting
from trays.orders.deliveries import Label, delivery_begin, delivery_receive
from trays.orders.models import Delivery, DeliveryLine, Order, OrderLine
from trays.orders.services import OrderWish, order_approve, order_draft, order_send
from trays.staff.models import Person
from trays.staff.signing import Signer
from trays.stock.models import Unit
from trays.web.errors import Refusal

pytestmark = pytest.mark.race

LAW = next(law for law in OrderLine._meta.constraints if law.name == "order_line_cause_once")


def draft(world: World, cause: str = "alert:1", quantity: int = 1) -> Order:
    wish = OrderWish(world.component("femoral", "2", side="left"), quantity, cause=cause, price=Decimal(1))
    return order_draft(
        by=world.cast.stores, site=world.site, supplier=world.supplier, kind="stock", lines=[wish], at=NOW
    )


@pytest.fixture
def meet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both look for an open line of the cause before either writes: the worst moment, made certain."""
    both = threading.Barrier(2)
    look = drafting.lines_for_causes

    def look_and_wait(causes: Any) -> Any:
        seen = look(causes)
        try:
            both.wait(1.5)
        except threading.BrokenBarrierError:
            pass
        return seen

    monkeypatch.setattr(drafting, "lines_for_causes", look_and_wait)


@contextmanager
def without_the_law() -> Iterator[None]:
    with connection.schema_editor() as editor:
        editor.remove_constraint(OrderLine, LAW)
    yield


def test_one_orders_and_the_other_is_told(race_world: World, at_once: Any, meet: None) -> None:
    answers = at_once(lambda: draft(race_world), lambda: draft(race_world))
    (lost,) = [answer for answer in answers if isinstance(answer, Exception)]
    assert isinstance(lost, Refusal) and lost.code == "cause-ordered-already", repr(lost)
    assert Order.objects.count() == OrderLine.objects.count() == 1
    assert verify() == []


@pytest.mark.postgres
def test_without_the_law_it_would_be_ordered_twice(race_world: World, at_once: Any, meet: None) -> None:
    # SQLite lets one writer in at a time from the first statement on, so there the look alone is enough.
    with without_the_law():
        at_once(lambda: draft(race_world), lambda: draft(race_world))
        twice = OrderLine.objects.filter(cause="alert:1", end="").count()
        OrderLine.objects.filter(cause="alert:1").update(cause="")
        with connection.schema_editor() as editor:
            editor.add_constraint(OrderLine, LAW)
    assert twice == 2


def test_sixteen_at_once_order_once_for_each_cause(race_world: World, at_once: Any) -> None:
    def work(number: int) -> Callable[[], Any]:
        return lambda: draft(race_world, cause=f"alert:{number % 4}")

    answers = at_once(*(work(number) for number in range(16)))
    wrong = [a for a in answers if isinstance(a, Exception) and not isinstance(a, Refusal)]
    assert wrong == []
    assert sorted(OrderLine.objects.values_list("cause", flat=True)) == [f"alert:{n}" for n in range(4)]
    assert verify() == []


def sent_and_begun(world: World, quantity: int) -> Delivery:
    stores: Person = world.cast.stores
    order = order_approve(by=Signer(stores), order=draft(world, quantity=quantity), at=NOW)
    order = order_send(by=stores, order=order, way="phone", papers={}, at=NOW)
    return delivery_begin(by=stores, order=order, place=world.shelf, at=NOW)


def take(world: World, delivery: Delivery, lot: str) -> list[DeliveryLine]:
    label = Label(world.component("femoral", "2", side="left"), lot)
    return delivery_receive(by=world.cast.stores, delivery=delivery, label=label, at=NOW)


def test_scans_at_the_same_moment_are_all_taken_in_and_none_settles_too_much(
    race_world: World, at_once: Any
) -> None:
    delivery = sent_and_begun(race_world, 5)
    answers = at_once(*(lambda n=n: take(race_world, delivery, f"L{n}") for n in range(8)))
    assert [answer for answer in answers if isinstance(answer, Exception)] == []
    assert Unit.objects.count() == 8
    assert OrderLine.objects.get().delivered_quantity == 5
    assert DeliveryLine.objects.filter(settles=False).aggregate(n=Sum("quantity"))["n"] == 3
    assert verify() == []


@pytest.mark.postgres
def test_without_the_lock_scans_run_into_each_other(
    race_world: World, at_once: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    delivery = sent_and_begun(race_world, 5)
    monkeypatch.setattr(deliveries, "lock_order", lambda order: Order.objects.get(pk=order.pk))
    answers = at_once(*(lambda n=n: take(race_world, delivery, f"L{n}") for n in range(8)))
    assert [answer for answer in answers if isinstance(answer, Exception)] != []
