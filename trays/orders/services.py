"""The way of an order: approved by signature, sent, confirmed, and ended with a reason.

Drafting stands in `drafting.py`, goods that arrive in `deliveries.py`, the end in `ending.py`, limits in
`limits.py`.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line
from trays.orders.drafting import (
    OrderWish,
    cause_clash,
    draft_within,
    line_change,
    line_take_off,
    lock_order,
    order_draft,
    whole_boxes,
)
from trays.orders.ending import order_cancel, order_close
from trays.orders.limits import check_limit, limits_set
from trays.orders.models import (
    LineEnd,
    Order,
    OrderEnd,
    OrderLine,
    OrderPaper,
    OrderSend,
    OrderState,
    PaperFormat,
    SendWay,
)
from trays.orders.money import plain
from trays.orders.queries import live_lines
from trays.orders.steps import (
    check_way,
    end_within,
    locked,
    no_way,
    once,
    open_lines,
    step_within,
    write,
)
from trays.parties.queries import site_day
from trays.parties.workdays import due
from trays.staff.access import require
from trays.staff.models import Person, Signature
from trays.staff.signing import Signer, sign
from trays.web.errors import Refusal

__all__ = [
    "LineAnswer", "OrderWish", "cause_clash", "content_of", "draft_within", "limits_set", "line_change",
    "line_take_off", "order_approve", "order_cancel", "order_close", "order_confirm", "order_draft",
    "order_send", "whole_boxes",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class LineAnswer:
    """What the supplier says of one line: how many come, and on which day."""

    line_id: int
    quantity: int
    due_on: date | None = None


def order_approve(*, by: Signer, order: Order, at: datetime, client_key: UUID | None = None) -> Order:
    """Approve a draft: a signed act of a person whose roles may approve what it comes to.

    From here on nothing in it changes any more.

    Raises Refusal "order-no-way", "no-lines", "price-unknown", "above-limit"; NotAllowed.
    """
    person = by.person
    require(by=person, act="approve_order", site_id=order.site_id)

    def work() -> Order:
        row = locked(order, OrderState.APPROVED)
        lines = live_lines(row)
        _check_lines(row, lines)
        check_limit(by=person, order=row)
        row.approval = sign(
            by=by, meaning=Signature.Meaning.APPROVED, subject="order", subject_id=row.pk,
            content=content_of(row), at=at,
        )  # fmt: skip
        row.approved_at = at
        said = step_within(row, OrderState.APPROVED, "approval", "approved_at")
        return write(row, "order.approve", person, at, client_key, [said])

    return once("order.approve", person, client_key, work)


def order_send(
    *,
    by: Person,
    order: Order,
    way: str,
    papers: Mapping[str, bytes],
    at: datetime,
    client_key: UUID | None = None,
) -> Order:
    """Take down that an approved order went to the supplier, and keep the papers as they were sent.

    `papers` are the documents by format, as `documents.papers_of` makes them. An order that is out already
    may be sent again: it stays what it is.

    Raises Refusal "order-no-way"; NotAllowed.
    """
    require(by=by, act="send_order", site_id=order.site_id)

    def work() -> Order:
        row = lock_order(order)
        again = row.state in Order.OUT
        if not again:
            check_way(row, OrderState.SENT)
        made = OrderSend.objects.create(order=row, way=SendWay(way), sent_at=at, sent_by=by)
        kept = [
            OrderPaper(
                send=made, format=PaperFormat(form), content=content,
                digest=hashlib.sha256(content).hexdigest(),
            )
            for form, content in sorted(papers.items())
        ]  # fmt: skip
        OrderPaper.objects.bulk_create(kept)
        if again:
            said = Line("order", row.pk, row.state, row.state)
        else:
            row.sent_at = at
            row.due_on = _due(row, at)
            said = step_within(row, OrderState.SENT, "sent_at", "due_on")
        said_also = Line("order_send", made.pk, "", made.way)
        return write(row, "order.send", by, at, client_key, [said, said_also])

    return once("order.send", by, client_key, work)


def order_confirm(
    *,
    by: Person,
    order: Order,
    answers: Sequence[LineAnswer],
    suppliers_number: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Order:
    """Take down what the supplier confirmed. A line of which nothing comes is over, and its cause is free;
    an order of which nothing comes at all is over with it. May be done anew while the order is out.

    Raises Refusal "order-no-way", "all-here", "not-this-orders-line", "more-than-ordered", "date-passed";
    NotAllowed.
    """
    require(by=by, act="send_order", site_id=order.site_id)

    def work() -> Order:
        row = lock_order(order)
        if row.state not in Order.OUT:
            raise no_way(row, OrderState.CONFIRMED)
        waiting = {line.pk: line for line in open_lines(row)}
        if not waiting:
            raise Refusal(
                "all-here",
                _("Everything on %(order)s has come; there is nothing left to confirm.")
                % {"order": row.number},
                _("Finish its delivery."),
            )
        sent_on = site_day(row.site, row.sent_at) if row.sent_at else None
        said = [_answer_line(waiting, one, sent_on) for one in answers]
        row.confirmed_at = at
        row.suppliers_number = suppliers_number.strip()[:40] or row.suppliers_number
        row.due_on = _next_due(row)
        if not open_lines(row).exists():
            said.append(_end_without_lines(row, by, at))
        else:
            state = OrderState.CONFIRMED if row.state == OrderState.SENT else row.state
            said.append(step_within(row, state, "confirmed_at", "suppliers_number", "due_on"))
        return write(row, "order.confirm", by, at, client_key, said)

    return once("order.confirm", by, client_key, work)


def content_of(order: Order) -> dict[str, Any]:
    """What an approval is bound to: from whom what is ordered, how much of it, and at what price."""
    lines = [
        [
            line.number, line.component.code, line.quantity,
            None if line.unit_price is None else plain(line.unit_price), line.lot, line.serial,
        ]
        for line in live_lines(order)
    ]  # fmt: skip
    return {
        "order": order.number,
        "site": order.site.code,
        "supplier": order.supplier.code,
        "kind": order.kind,
        "currency": order.currency,
        "note": order.note,
        "needed_by": order.needed_by.isoformat() if order.needed_by else None,
        "lines": lines,
    }


def _check_lines(row: Order, lines: Sequence[OrderLine]) -> None:
    if not lines:
        raise Refusal(
            "no-lines", _("This order has no lines."), _("Cancel it, or add what is to be ordered.")
        )
    without = [line for line in lines if line.unit_price is None]
    if row.pays and without:
        raise Refusal(
            "price-unknown",
            _("Line %(number)s, %(item)s, has no price.")
            % {"number": without[0].number, "item": without[0].component.name},
            _("Put the agreed price in before it is approved."),
            line=without[0].number,
        )


def _due(row: Order, at: datetime) -> date | None:
    return due(site_day(row.site, at), row.supplier.lead_working_days) if row.brings else None


def _next_due(row: Order) -> date | None:
    """The first day on which something is confirmed to come; else what stood before."""
    days = [line.confirmed_for for line in open_lines(row) if line.confirmed_for is not None]
    return min(days, default=row.due_on)


def _answer_line(lines: Mapping[int, OrderLine], one: LineAnswer, sent_on: date | None) -> Line:
    line = lines.get(one.line_id)
    if line is None:
        raise Refusal(
            "not-this-orders-line", _("This line is not open on this order."), _("Load the page again.")
        )
    if not 0 <= one.quantity <= line.quantity:
        raise Refusal(
            "more-than-ordered",
            _("Line %(number)s: %(quantity)s were ordered; more cannot be confirmed.")
            % {"number": line.number, "quantity": line.quantity},
            _("Take down what was ordered, and order the rest."),
            line=line.number,
        )
    if one.due_on is not None and sent_on is not None and one.due_on < sent_on:
        raise Refusal(
            "date-passed",
            _("Line %(number)s: this day is before the order was sent.") % {"number": line.number},
            _("Put the day right."),
            line=line.number,
        )
    before = line.quantity if line.confirmed_quantity is None else line.confirmed_quantity
    line.confirmed_quantity, line.confirmed_for = one.quantity, one.due_on
    if line.order.brings and one.quantity <= line.delivered_quantity:
        line.end = LineEnd.DELIVERED if line.delivered_quantity else LineEnd.NOT_CONFIRMED
    elif one.quantity == 0:
        line.end = LineEnd.NOT_CONFIRMED
    line.save(update_fields=["confirmed_quantity", "confirmed_for", "end"])
    return Line("order_line", line.pk, str(before), str(one.quantity))


def _end_without_lines(row: Order, by: Person, at: datetime) -> Line:
    """Nothing more comes on it: cancelled if nothing came, else closed."""
    row.save(update_fields=["confirmed_at", "suppliers_number", "due_on"])
    came = OrderLine.objects.filter(order=row, delivered_quantity__gt=0).exists()
    state = OrderState.CLOSED if came else OrderState.CANCELLED
    reason = OrderEnd.REST_NOT_COMING if came else OrderEnd.CANNOT_SUPPLY
    return end_within(row, state, reason, by=by, at=at)[-1]
