"""The table of orders, on screen and as a file."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.orders.models import Order, OrderState
from trays.orders.money import plain
from trays.orders.queries import is_late, live_lines, outstanding, total_of
from trays.orders.words import next_act
from trays.web.table import Column, Lines, NumberColumn, SecondLineColumn, WhenColumn


@dataclass(frozen=True, slots=True)
class OrderRow:
    """One order as the table sorts, draws and files it."""

    pk: int
    number: str
    supplier: str
    kind: str
    state: str
    state_order: int
    since: str
    due_on: date | None
    late: bool
    to_come: int | None
    total: Decimal
    currency: str
    act: str
    needs: bool


def order_rows(orders: Iterable[Order], *, day: date) -> list[OrderRow]:
    """Orders as rows; those that need an act first, then by the day on which they are due."""
    rows = [_row(order, day) for order in orders]
    far = date.max
    return sorted(rows, key=lambda row: (not row.late, row.state_order, row.due_on or far, row.pk))


def _row(order: Order, day: date) -> OrderRow:
    late = is_late(order, day)
    coming = order.brings and order.state in Order.OUT
    return OrderRow(
        pk=order.pk,
        number=order.number,
        supplier=order.supplier.name,
        kind=str(order.get_kind_display()),
        state=str(order.get_state_display()),
        state_order=list(OrderState).index(OrderState(order.state)),
        since=str(order.get_end_display()) if order.end else "",
        due_on=order.due_on if coming else None,
        late=late,
        to_come=sum(outstanding(line) for line in live_lines(order)) if coming else None,
        total=total_of(order),
        currency=order.currency,
        act=next_act(order),
        needs=late or order.state in (OrderState.DRAFT, OrderState.APPROVED),
    )


class OrderTable(Lines):
    """One line for each order."""

    name = gettext_lazy("Orders")
    row_head = "number"
    looks = ("flat",)
    empty = (
        gettext_lazy("No such order."),
        gettext_lazy("Orders are drafted from the reorder page, or by hand below."),
    )

    number = Column(verbose_name=gettext_lazy("Order"))
    supplier = SecondLineColumn(under="kind", verbose_name=gettext_lazy("Supplier"))
    state = SecondLineColumn(under="since", order_by=("state_order",), verbose_name=gettext_lazy("State"))
    due_on = WhenColumn(form="day", verbose_name=gettext_lazy("Due"))
    to_come = NumberColumn(verbose_name=gettext_lazy("To come, pieces"))
    total = NumberColumn(verbose_name=gettext_lazy("Comes to"))
    act = Column(orderable=False, default="", verbose_name=gettext_lazy("Next act"))

    def row_class(self, record: OrderRow) -> str:
        return "needs" if record.needs else "past" if not record.act else ""

    def render_number(self, value: str, record: OrderRow) -> str:
        address = reverse("order", args=[record.pk])
        return format_html('<a class="do nowrap" href="{}"><b>{}</b></a>', address, value)

    def value_number(self, value: str) -> str:
        return value

    def render_due_on(self, value: date, record: OrderRow) -> str:
        shown = self.columns["due_on"].column.render(value)
        if not record.late:
            return shown
        return format_html('{}<span class="under"><b>{}</b></span>', shown, _("late"))

    def value_due_on(self, value: date) -> date:
        return value

    def render_total(self, value: Decimal, record: OrderRow) -> str:
        return format_html("{} {}", plain(value), record.currency)

    def value_total(self, value: Decimal) -> Decimal:
        return value

    def render_act(self, value: str, record: OrderRow) -> str:
        return format_html('<a class="do" href="{}"><b>{}</b></a>', reverse("order", args=[record.pk]), value)

    def value_act(self, value: str) -> str:
        return value
