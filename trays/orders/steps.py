"""What every act on an order does: lock it, look whether the step is a way, take it, write the event once."""

from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.orders.drafting import lock_order
from trays.orders.models import LineEnd, Order, OrderLine, OrderState
from trays.orders.queries import whole_orders
from trays.orders.ways import WAYS, way
from trays.staff.models import Person
from trays.web.errors import Refusal


def once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], Order]) -> Order:
    """Do an act on an order once, by its key."""
    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Order.objects.get(pk=answer["order"]),
    )


def write(
    row: Order,
    verb: str,
    by: Person,
    at: datetime,
    client_key: UUID | None,
    said: list[Line],
    *,
    reason: str = "",
) -> Order:
    """Write the act's event, last of all; the order is its answer."""
    record(
        chain=row.site.code, verb=verb, by=by, at=at, reason=reason, client_key=client_key,
        answer={"order": row.pk}, lines=said,
    )  # fmt: skip
    return row


def locked(order: Order, state: OrderState) -> Order:
    """The order locked and whole, if it may go to the state. Raises Refusal "order-no-way"."""
    row = lock_order(order)
    check_way(row, state)
    return whole_orders().get(pk=row.pk)


def step_within(row: Order, state: str, *fields: str) -> Line:
    """Take a locked order to a state, with these fields saved beside it; the line of the act's event."""
    before, row.state = row.state, state
    row.save(update_fields=["state", *fields])
    return Line("order", row.pk, before, state)


def end_within(
    row: Order, state: OrderState, reason: str, *, by: Person, at: datetime, note: str = ""
) -> list[Line]:
    """End a locked order with all its open lines, within a larger act; the lines of its event."""
    said = []
    for line in open_lines(row):
        line.end = LineEnd.WITH_ORDER
        line.save(update_fields=["end"])
        said.append(Line("order_line", line.pk, "open", line.end))
    row.ended_at, row.ended_by, row.end, row.end_note = at, by, reason, note.strip()[:200]
    return [*said, step_within(row, state, "ended_at", "ended_by", "end", "end_note")]


def check_way(row: Order, state: OrderState) -> None:
    """Raises Refusal "order-no-way"."""
    if not way(row.state, state):
        raise no_way(row, state)


def no_way(row: Order, state: OrderState) -> Refusal:
    """What is said of an order that cannot take this step, with what can be next."""
    follows = [str(OrderState(one).label).lower() for one in WAYS[row.state]]
    return Refusal(
        "order-no-way",
        _("%(order)s is %(state)s; it cannot become %(after)s from there.")
        % {
            "order": row.number,
            "state": str(row.get_state_display()).lower(),
            "after": str(state.label).lower(),
        },
        _("Next for it: %(what)s. Load the page again.") % {"what": _(" or ").join(follows)}
        if follows
        else _("It has ended; draft another order if something is still needed."),
        state=row.state,
    )


def open_lines(row: Order) -> QuerySet[OrderLine]:
    """The lines of an order that are not over."""
    return OrderLine.objects.filter(order=row, end="").select_related("component").order_by("number")
