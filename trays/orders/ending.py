"""The end of an order, always with a reason: cancelled while nothing has come, closed while it is out."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.orders.models import Order, OrderEnd, OrderState
from trays.orders.steps import end_within, locked, once, write
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal

CANCELS = (
    OrderEnd.NOT_NEEDED, OrderEnd.MISTAKE, OrderEnd.NOT_APPROVED, OrderEnd.CANNOT_SUPPLY,
    OrderEnd.OTHER_SOURCE,
)  # fmt: skip
CLOSES = (OrderEnd.BILLED, OrderEnd.REST_NOT_COMING, OrderEnd.CANNOT_SUPPLY, OrderEnd.OTHER_SOURCE)


def order_cancel(
    *,
    by: Person,
    order: Order,
    reason: str,
    note: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Order:
    """Cancel an order of which nothing has come. It stays on file, and its causes are free again.

    Raises Refusal "order-no-way", "reason-missing"; NotAllowed.
    """
    drafted = order.state == OrderState.DRAFT
    require(by=by, act="draft_order" if drafted else "send_order", site_id=order.site_id)

    def work() -> Order:
        row = locked(order, OrderState.CANCELLED)
        if drafted and row.state != OrderState.DRAFT:
            require(by=by, act="send_order", site_id=row.site_id)
        _check_reason(reason, CANCELS)
        said = end_within(row, OrderState.CANCELLED, reason, by=by, at=at, note=note)
        return write(row, "order.cancel", by, at, client_key, said, reason=reason)

    return once("order.cancel", by, client_key, work)


def order_close(
    *,
    by: Person,
    order: Order,
    reason: str,
    note: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Order:
    """Close an order that is out although goods are still to come, or a bill whose invoice is here.

    Raises Refusal "order-no-way", "reason-missing", "goods-to-come" (billed, but goods are to come);
    NotAllowed.
    """
    require(by=by, act="send_order", site_id=order.site_id)

    def work() -> Order:
        row = locked(order, OrderState.CLOSED)
        _check_reason(reason, CLOSES)
        if reason == OrderEnd.BILLED and row.brings:
            raise Refusal(
                "goods-to-come",
                _("Goods are to come on this order; its invoice does not end it."),
                _("Receive them, or say why the rest is not coming."),
                field="reason",
            )
        said = end_within(row, OrderState.CLOSED, reason, by=by, at=at, note=note)
        return write(row, "order.close", by, at, client_key, said, reason=reason)

    return once("order.close", by, client_key, work)


def _check_reason(reason: str, allowed: Sequence[OrderEnd]) -> None:
    if reason not in allowed:
        raise Refusal("reason-missing", _("No reason is given."), _("Choose why it ends."), field="reason")
