"""What the pages of one order show: lines, deliveries and steps as plain values."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.catalogue.words import side_in_text, size_words
from trays.orders.models import Delivery, DeliveryLine, Order, OrderLine
from trays.orders.money import line_total, plain
from trays.orders.queries import live_lines, outstanding
from trays.orders.words import boxes_words, pay_and_send
from trays.stock.models_arrivals import Condition


@dataclass(frozen=True, slots=True)
class ShownLine:
    """One line of an order's page. `came` and `left` are None where nothing is to come."""

    line: OrderLine
    size: str
    name: str
    used: str
    quantity: int
    under: str
    each: str
    total: str
    confirmed: int | None
    confirmed_for: date | None
    less: bool
    came: int | None
    left: int | None
    end: str

    @property
    def here(self) -> bool:
        """Whether all of it has come."""
        return self.left == 0 and bool(self.came)


@dataclass(frozen=True, slots=True)
class ShownArrival:
    """What one scan of a delivery brought in, and how it stands to the order; the difference in words."""

    number: int
    size: str
    name: str
    quantity: int
    lot: str
    serial: str
    expires: date | None
    line_number: int | None
    difference: str
    taken_back: bool
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class Step:
    """Something that was done with the order: what, when, by whom."""

    what: str
    at: datetime
    by: str
    detail: str = ""


def shown_lines(order: Order) -> list[ShownLine]:
    """The lines of a whole order, without those taken off."""
    return [_shown(line, order) for line in live_lines(order)]


def _shown(line: OrderLine, order: Order) -> ShownLine:
    price = (line.unit_price if order.pays else Decimal(0)) if line.unit_price is not None else None
    if not order.pays:
        price = Decimal(0)
    under = ", ".join(word for word in (boxes_words(line), pay_and_send(line)) if word)
    promised = line.confirmed_quantity
    return ShownLine(
        line=line,
        size=size_of(line.component),
        name=name_of(line.component),
        used=_used(line),
        quantity=line.quantity,
        under=under,
        each="" if price is None else plain(price),
        total="" if price is None else plain(line_total(line.quantity, price)),
        confirmed=promised,
        confirmed_for=line.confirmed_for,
        less=promised is not None and promised < line.quantity,
        came=line.delivered_quantity if order.brings else None,
        left=outstanding(line) if order.brings else None,
        end=str(line.get_end_display()) if line.end else "",
    )


def size_of(component: Component) -> str:
    """Size and side, large: "5 × 14 left"; "" where there is no size."""
    return " ".join(word for word in (size_words(component), side_in_text(component.side)) if word)


def name_of(component: Component) -> str:
    """The family for what has sizes, else its own name."""
    return component.family.name if component.size else component.name


def _used(line: OrderLine) -> str:
    words = []
    if line.lot:
        words.append(_("used: lot %(lot)s") % {"lot": line.lot})
    if line.serial:
        words.append(_("used: serial %(serial)s") % {"serial": line.serial})
    return ", ".join(words)


def shown_arrivals(delivery: Delivery) -> list[ShownArrival]:
    """What came in on a delivery, the newest first."""
    return [_arrival(one) for one in reversed(list(delivery.lines.all()))]


def _arrival(one: DeliveryLine) -> ShownArrival:
    arrival, component = one.arrival, one.arrival.component
    return ShownArrival(
        number=one.number,
        size=size_of(component) if component else "",
        name=name_of(component) if component else "",
        quantity=one.quantity,
        lot=arrival.lot,
        serial=arrival.serial,
        expires=arrival.expires,
        line_number=one.order_line.number if one.order_line else None,
        difference=_difference(one),
        taken_back=one.taken_back_at is not None,
        at=arrival.at,
        by=arrival.by.name,
    )


def _difference(one: DeliveryLine) -> str:
    """What is not as ordered, in words; "" for what simply came."""
    if one.taken_back_at is not None:
        return _("taken back: a scan by mistake")
    condition = one.arrival.condition
    if condition != Condition.GOOD:
        return str(one.arrival.get_condition_display())
    if one.order_line is None:
        return _("over and above the order")
    return "" if one.settles else _("set apart")


def differences(deliveries: Sequence[Delivery]) -> int:
    """How many receipts were not as ordered."""
    return sum(
        1
        for delivery in deliveries
        for one in delivery.lines.all()
        if one.taken_back_at is None and (not one.settles or one.arrival.condition != Condition.GOOD)
    )


def steps(order: Order) -> list[Step]:
    """What was done with the order, first to last."""
    done = [Step(_("Drafted"), order.drafted_at, order.drafted_by.name)]
    if order.approval is not None and order.approved_at is not None:
        done.append(Step(_("Approved, signed"), order.approved_at, order.approval.name))
    for send in order.sends.all():
        papers = ", ".join(paper.get_format_display() for paper in send.papers.all())
        way = str(send.get_way_display())
        done.append(Step(_("Sent"), send.sent_at, send.sent_by.name, ": ".join(filter(None, (way, papers)))))
    if order.confirmed_at is not None:
        number = order.suppliers_number
        detail = _("their number %(number)s") % {"number": number} if number else ""
        done.append(Step(_("Confirmed by the supplier"), order.confirmed_at, "", detail))
    for delivery in order.deliveries.all():
        note = delivery.note_number
        detail = _("note %(number)s") % {"number": note} if note else ""
        done.append(Step(_("Delivery begun"), delivery.begun_at, delivery.begun_by.name, detail))
        if delivery.closed_at is not None and delivery.closed_by is not None:
            done.append(Step(_("Delivery finished"), delivery.closed_at, delivery.closed_by.name))
    if order.ended_at is not None and order.ended_by is not None:
        why = ": ".join(filter(None, (str(order.get_end_display()), order.end_note)))
        done.append(Step(str(order.get_state_display()), order.ended_at, order.ended_by.name, why))
    return sorted(done, key=lambda step: step.at)
