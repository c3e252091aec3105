"""The demo has an order at each stage, and every one of them goes out as a valid electronic order."""


from tests.demo.loaded.conftest import LOADED_AT
from tests.trays.orders import profile
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.orders.documents import papers_of
from trays.orders.models import Order, OrderState
from trays.orders.queries import is_late, total_of, whole_orders


def test_there_is_an_order_in_every_state_and_one_is_late(loaded):
    states = set(Order.objects.values_list("state", flat=True))
    assert states == set(OrderState.values)
    late = [order for order in Order.objects.all() if is_late(order, LOADED_AT.date())]
    assert [order.state for order in late] == ["part_delivered"]
    assert {order.kind for order in Order.objects.all()} >= {"stock", "bill_only", "bill_and_replace"}


def test_one_draft_is_more_than_stores_may_approve(loaded):
    (draft,) = whole_orders().filter(state="draft")
    assert total_of(draft) > draft.site.order_limits.get(role="stores").amount


def test_nothing_of_it_lies_in_the_future_and_the_record_holds(loaded):
    verbs = Event.objects.filter(verb__startswith="order.") | Event.objects.filter(
        verb__startswith="delivery."
    )
    assert verbs.count() > 30
    assert not Event.objects.filter(recorded_at__gt=LOADED_AT).exists()
    assert verify() == []


def test_every_order_is_valid_by_schema_and_profile(loaded):
    schema = profile.schema()
    approved = list(Order.objects.filter(approval__isnull=False))
    assert len(approved) == 7
    for order in approved:
        read = profile.read(papers_of(order)["xml"])
        schema.validate(read)
        assert [entry.message for entry in schema.error_log] == [], order.number
        assert profile.faults(read) == [], order.number
