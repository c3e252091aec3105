"""Orders at each stage, for the addresses that need one."""

from decimal import Decimal
from typing import Any

from django.utils import timezone

from tests.world import World
from trays.orders.deliveries import delivery_begin
from trays.orders.models import Order
from trays.orders.services import OrderWish, order_approve, order_draft, order_send
from trays.staff.signing import Signer


def furnish_orders(world: World) -> dict[str, Any]:
    """A draft, an approved order, one that was sent, one whose delivery is being taken in."""
    keeper, now = world.cast.keeper, timezone.now()
    item = world.component("tibial", "2")

    def draft() -> Order:
        wish = OrderWish(item, 2, price=Decimal("12.50"))
        return order_draft(
            by=keeper, site=world.site, supplier=world.supplier, kind="stock", lines=[wish], at=now
        )

    def sent() -> Order:
        order = order_approve(by=Signer(keeper), order=draft(), at=now)
        return order_send(by=keeper, order=order, way="phone", papers={}, at=now)

    first, taking_in = draft(), sent()
    delivery_begin(by=keeper, order=taking_in, place=world.shelf, at=now)
    return {
        "order_draft": first.pk,
        "order_line": first.lines.get().pk,
        "order_approved": order_approve(by=Signer(keeper), order=draft(), at=now).pk,
        "order_sent": sent().pk,
        "order_taking_in": taking_in.pk,
        "order_item": item.code,
        "order_form": "csv",
    }
