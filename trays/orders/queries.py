"""Reading orders: what is on order, what is due, and what one order says."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Case, F, IntegerField, Prefetch, QuerySet, Sum, When
from django.db.models.functions import Coalesce

from trays.orders.models import (
    Delivery,
    DeliveryLine,
    Order,
    OrderKind,
    OrderLine,
    OrderPaper,
    OrderSend,
    OrderState,
)
from trays.orders.money import order_total

_PROMISED = Coalesce(F("confirmed_quantity"), F("quantity"))
# What is still to come on a line; a line that got more than was promised awaits nothing.
OUTSTANDING = Case(
    When(delivered_quantity__gte=_PROMISED, then=0),
    default=_PROMISED - F("delivered_quantity"),
    output_field=IntegerField(),
)


def outstanding(line: OrderLine) -> int:
    """How many pieces are still to come on a line of a whole order."""
    if not line.is_open or not line.order.brings:
        return 0
    promised = line.quantity if line.confirmed_quantity is None else line.confirmed_quantity
    return max(0, promised - line.delivered_quantity)


def _open_lines(site_id: int, states: Iterable[str]) -> QuerySet[OrderLine]:
    rows = OrderLine.objects.filter(order__site_id=site_id, order__state__in=list(states), end="")
    return rows.exclude(order__kind=OrderKind.BILL_ONLY)


def on_order(*, site_id: int) -> dict[int, int]:
    """By component, the pieces still to come on every open order of the site. One query.

    Drafts count: what somebody has drafted is not asked for a second time.
    """
    rows = _open_lines(site_id, Order.OPEN).order_by().values_list("component_id")
    return {key: pieces for key, pieces in rows.annotate(pieces=Sum(OUTSTANDING)) if pieces}


@dataclass(frozen=True, slots=True)
class Expected:
    """Pieces that a supplier owes: on which day they are due, and on which line of which order."""

    component_id: int
    quantity: int
    due_on: date | None
    order_id: int
    order_number: str
    line_id: int


def expected(*, site_id: int) -> tuple[Expected, ...]:
    """What was sent for and has not come, first due first; orders not sent yet are no promise. One query."""
    rows = _open_lines(site_id, Order.OUT).annotate(
        left=OUTSTANDING, due=Coalesce(F("confirmed_for"), F("order__due_on"))
    )
    rows = rows.filter(left__gt=0).order_by(F("due").asc(nulls_last=True), "pk")
    return tuple(
        Expected(*row)
        for row in rows.values_list("component_id", "left", "due", "order_id", "order__number", "pk")
    )


def lines_for_causes(causes: Iterable[str]) -> dict[str, OrderLine]:
    """The open line that was ordered for each cause, with its order; causes without one are not in it."""
    wanted = [cause for cause in causes if cause]
    rows = OrderLine.objects.filter(cause__in=wanted, end="").select_related("order")
    return {line.cause: line for line in rows}


def whole_orders() -> QuerySet[Order]:
    """Orders with all that their page and their papers name."""
    lines = OrderLine.objects.select_related("component__family", "order").order_by("number")
    deliveries = Delivery.objects.select_related("begun_by", "closed_by").order_by("number")
    arrivals = DeliveryLine.objects.select_related(
        "order_line", "arrival__component__family", "arrival__by"
    ).order_by("number")
    return Order.objects.select_related(
        "site__party", "supplier", "drafted_by", "approval", "ended_by"
    ).prefetch_related(
        Prefetch("lines", lines),
        Prefetch("deliveries", deliveries.prefetch_related(Prefetch("lines", arrivals))),
        Prefetch("sends", OrderSend.objects.select_related("sent_by").order_by("pk")),
        # Their content is read only when somebody fetches one.
        Prefetch("sends__papers", OrderPaper.objects.defer("content").order_by("format")),
    )


def live_lines(order: Order) -> list[OrderLine]:
    """The lines that the order asks for: those taken off the draft are not among them."""
    return [line for line in order.lines.all() if line.end != OrderLine.End.TAKEN_OFF]


def total_of(order: Order) -> Decimal:
    """What the order comes to; nothing for an exchange."""
    if not order.pays:
        return Decimal("0.00")
    return order_total((line.quantity, line.unit_price) for line in live_lines(order))


def is_late(order: Order, day: date) -> bool:
    """Whether goods were due before the day and have not come; read the lines with the order."""
    due = order.state in Order.OUT and order.brings and order.due_on is not None and order.due_on < day
    return due and any(outstanding(line) for line in order.lines.all())


def site_orders(*, site_id: int, states: Iterable[str], most: int = 500) -> list[Order]:
    """A site's orders in these states with their lines, the newest first. Two queries."""
    lines = OrderLine.objects.select_related("component", "order").order_by("number")
    rows = Order.objects.filter(site_id=site_id, state__in=list(states)).select_related("supplier")
    return list(rows.prefetch_related(Prefetch("lines", lines)).order_by("-pk")[:most])


def open_draft(*, site_id: int, supplier_id: int, kind: str, currency: str) -> Order | None:
    """The newest draft to this supplier that lines may still be added to."""
    return (
        Order.objects.filter(
            site_id=site_id, supplier_id=supplier_id, kind=kind, currency=currency, state=OrderState.DRAFT
        )
        .order_by("-pk")
        .first()
    )
