"""Each act on an order or a delivery writes exactly one event, which names nobody and no cause; sent twice it
writes one still.
"""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from tests.trays.ledger.acts import left_out, verbs_of, writes_one_event
from tests.trays.orders.conftest import Office
from tests.world import NOW, TODAY
from trays.ledger.models import Event
from trays.orders.deliveries import (
    Label,
    delivery_begin,
    delivery_close,
    delivery_receive,
    delivery_take_back,
)
from trays.orders.models import Delivery
from trays.orders.services import (
    LineAnswer,
    limits_set,
    line_change,
    line_take_off,
    order_approve,
    order_cancel,
    order_close,
    order_confirm,
    order_send,
)

CAUSE = "alert:LK-REFERENCE-9"
NOTE = "for the second case"
# Halves that run inside an act.
NO_WHOLE_ACT = {"draft_within", "end_within", "write"}

Act = Callable[[Office, dict[str, Any]], Callable[[], Any]]
"""Makes ready what the act needs, and gives back the act."""


def _draft(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    return lambda: o.draft(o.wish(2, cause=CAUSE), note=NOTE, **key)


def _change(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    line = o.line(o.draft(o.wish(2, cause=CAUSE)))
    return lambda: line_change(by=o.stores, line=line, quantity=3, price=Decimal(9), at=NOW, **key)


def _take_off(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    line = o.line(o.draft(o.wish(2, cause=CAUSE)))
    return lambda: line_take_off(by=o.stores, line=line, at=NOW, **key)


def _approve(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    order, signs = o.draft(o.wish(2, cause=CAUSE), note=NOTE), o.sign_as()
    return lambda: order_approve(by=signs, order=order, at=NOW, **key)


def _send(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    order = o.approved(o.wish(2, cause=CAUSE))
    return lambda: order_send(by=o.stores, order=order, way="mail", papers={"csv": b"x"}, at=NOW, **key)


def _confirm(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    order = o.sent(o.wish(2, cause=CAUSE))
    answers = [LineAnswer(o.line(order).pk, 1)]
    return lambda: order_confirm(
        by=o.stores, order=order, answers=answers, suppliers_number="A-77", at=NOW, **key
    )


def _cancel(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    order = o.sent(o.wish(2, cause=CAUSE))
    return lambda: order_cancel(by=o.stores, order=order, reason="not_needed", note=NOTE, at=NOW, **key)


def _close(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    order = o.sent(o.wish(2, cause=CAUSE))
    return lambda: order_close(by=o.stores, order=order, reason="rest_not_coming", note=NOTE, at=NOW, **key)


def _limits(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    amounts = {"stores": Decimal(500), "quality": None}
    return lambda: limits_set(by=o.stores, site=o.world.site, amounts=amounts, at=NOW, **key)


def _begun(o: Office) -> Delivery:
    order = o.sent(o.wish(1, cause=CAUSE))
    return delivery_begin(by=o.stores, order=order, place=o.world.shelf, at=NOW)


def _begin(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    order = o.sent(o.wish(1, cause=CAUSE))
    return lambda: delivery_begin(
        by=o.stores, order=order, place=o.world.shelf, note_number=NOTE, at=NOW, **key
    )


def _receive(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    delivery, label = _begun(o), Label(o.femoral, "L1", expires=TODAY + timedelta(days=400))
    return lambda: delivery_receive(
        by=o.stores, delivery=delivery, label=label, count=2, note=NOTE, at=NOW, **key
    )


def _take_back(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    delivery = _begun(o)
    label = Label(o.femoral, "L1", expires=TODAY + timedelta(days=400))
    delivery_receive(by=o.stores, delivery=delivery, label=label, at=NOW)
    return lambda: delivery_take_back(by=o.stores, delivery=delivery, at=NOW, **key)


def _finish(o: Office, key: dict[str, Any]) -> Callable[[], Any]:
    delivery = _begun(o)
    label = Label(o.femoral, "L1", expires=TODAY + timedelta(days=400))
    delivery_receive(by=o.stores, delivery=delivery, label=label, at=NOW)
    return lambda: delivery_close(by=o.stores, delivery=delivery, at=NOW, **key)


ACTS: dict[str, Act] = {
    "order_draft": _draft,
    "line_change": _change,
    "line_take_off": _take_off,
    "order_approve": _approve,
    "order_send": _send,
    "order_confirm": _confirm,
    "order_cancel": _cancel,
    "order_close": _close,
    "limits_set": _limits,
    "delivery_begin": _begin,
    "delivery_receive": _receive,
    "delivery_take_back": _take_back,
    "delivery_close": _finish,
}


def test_every_act_of_the_room_is_tried() -> None:
    untried, gone = left_out(verbs_of("trays.orders"), tried=ACTS, halves=NO_WHOLE_ACT)
    assert untried == []
    assert gone == set()


@pytest.mark.parametrize("name", sorted(ACTS))
def test_each_act_writes_one_event_and_sent_again_no_more(name: str, office: Office) -> None:
    act = ACTS[name](office, {"client_key": uuid4()})
    writes_one_event(act, nameless=[CAUSE, NOTE, office.stores.name])
    count = Event.objects.count()
    act()
    assert Event.objects.count() == count
