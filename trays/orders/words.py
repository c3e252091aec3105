"""What an order comes to in sentences, and what is next for it."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.orders.models import Order, OrderLine, OrderState
from trays.orders.money import plain
from trays.orders.queries import is_late, live_lines, outstanding, total_of
from trays.web.wording import sitetime


def money(order: Order) -> str:
    """What the order comes to, with its currency."""
    return f"{plain(total_of(order))} {order.currency}"


def next_act(order: Order) -> str:
    """What is next for an order, as a verb; "" for one that has ended."""
    if order.state == OrderState.SENT:
        return _("Take down the confirmation")
    if order.state in Order.OUT:
        if not order.brings:
            return _("Close with its invoice")
        left = any(outstanding(line) for line in order.lines.all())
        return _("Receive") if left else _("Finish the delivery")
    return {OrderState.DRAFT: _("Approve"), OrderState.APPROVED: _("Send")}.get(OrderState(order.state), "")


def boxes_words(line: OrderLine) -> str:
    """ "1 box of 10"; "" for what comes singly."""
    boxes = line.boxes
    if not boxes:
        return ""
    words = ngettext("%(boxes)s box of %(box)s", "%(boxes)s boxes of %(box)s", boxes)
    return words % {"boxes": boxes, "box": line.component.order_multiple}


def pay_and_send(line: OrderLine) -> str:
    """ "pay 1, send 0": what a line of a bill or an exchange is, beside its quantity; "" for plain orders."""
    order = line.order
    if order.pays and order.brings and order.kind == Order.Kind.STOCK:
        return ""
    return _("pay %(pay)s, send %(send)s") % {
        "pay": line.quantity if order.pays else 0,
        "send": line.quantity if order.brings else 0,
    }


def order_says(order: Order, day: date) -> str:
    """An order in one or two sentences."""
    lines = live_lines(order)
    what = ngettext("%(n)s line, %(money)s.", "%(n)s lines, %(money)s.", len(lines)) % {
        "n": len(lines),
        "money": money(order),
    }
    return f"{what} {_state_says(order, lines, day)}"


def _state_says(order: Order, lines: Sequence[OrderLine], day: date) -> str:
    if order.state == OrderState.DRAFT:
        return _("It waits for approval.")
    if order.state == OrderState.APPROVED:
        return _("It is approved and waits to be sent.")
    if order.state in Order.ENDED:
        end = _("%(state)s %(day)s: %(why)s.") % {
            "state": order.get_state_display(),
            "day": sitetime(order.ended_at),
            "why": str(order.get_end_display()).lower(),
        }
        return f"{end} {order.end_note}".strip()
    if not order.brings:
        return _("Nothing is to come; it is closed when the invoice is here.")
    return _coming(order, lines, day)


def _coming(order: Order, lines: Sequence[OrderLine], day: date) -> str:
    left = sum(outstanding(line) for line in lines)
    if not left:
        return _("Everything has come: finish the delivery.")
    words = ngettext("%(n)s piece is still to come", "%(n)s pieces are still to come", left) % {"n": left}
    if order.due_on is None:
        return f"{words}."
    due = sitetime(order.due_on, "day")
    if is_late(order, day):
        return _("%(words)s; due on %(day)s, so it is late.") % {"words": words, "day": due}
    by = _("confirmed for") if order.confirmed_at else _("expected by the lead time on")
    return f"{words}, {by} {due}."


def list_says(orders: Sequence[Order], day: date) -> str:
    """The open orders of a site in a few sentences."""
    if not orders:
        return _("No order is open.")
    states = [order.state for order in orders]
    drafts, ready = states.count(OrderState.DRAFT), states.count(OrderState.APPROVED)
    late = [order for order in orders if is_late(order, day)]
    said = [ngettext("%(n)s order is open.", "%(n)s orders are open.", len(orders)) % {"n": len(orders)}]
    if drafts:
        said.append(ngettext("%(n)s waits for approval.", "%(n)s wait for approval.", drafts) % {"n": drafts})
    if ready:
        said.append(ngettext("%(n)s is to be sent.", "%(n)s are to be sent.", ready) % {"n": ready})
    if late:
        first = min(order.due_on for order in late if order.due_on)
        words = ngettext(
            "%(n)s is late, due on %(day)s.", "%(n)s are late, the first due on %(day)s.", len(late)
        )
        said.append(words % {"n": len(late), "day": sitetime(first, "day")})
    elif coming := [order.due_on for order in orders if order.state in Order.OUT and order.due_on]:
        said.append(_("The next is due on %(day)s.") % {"day": sitetime(min(coming), "day")})
    return " ".join(said)
