"""Goods that arrive on an order: each scan is one receipt, and settles the lines that it was ordered on."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from trays.catalogue.models import Component, FamilyKind
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.orders.drafting import lock_order
from trays.orders.models import (
    Delivery,
    DeliveryLine,
    LineEnd,
    Order,
    OrderEnd,
    OrderKind,
    OrderLine,
    OrderState,
)
from trays.orders.queries import outstanding
from trays.orders.steps import end_within, step_within
from trays.parties.models import Tenure
from trays.places.models import Place
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock import claims
from trays.stock.apart import end_rows
from trays.stock.arriving import Goods, pile_receive_within, receive_within
from trays.stock.models import UnitState
from trays.stock.models_apart import ApartEnd
from trays.stock.models_arrivals import Arrival, Condition
from trays.stock.moving import lock_units, piles_take_within, state_word
from trays.stock.moving import step_within as step_within_stock
from trays.web.errors import Refusal

# In these conditions goods may be used, so they settle what was ordered.
USABLE = (Condition.GOOD, Condition.SHORT_ACCEPTED)


@dataclass(frozen=True, slots=True)
class Label:
    """What one or two scans of a label said, or a person typed from it."""

    component: Component
    lot: str = ""
    serial: str = ""
    expires: date | None = None
    raw: bytes = b""


def tenure_of(order: Order) -> str:
    """Whose the goods of an order are when nothing else is said: what is replaced stays the supplier's.

    "" for an exchange: they are whose those were that went back.
    """
    if order.kind == OrderKind.EXCHANGE:
        return ""
    return Tenure.CONSIGNED if order.kind == OrderKind.BILL_AND_REPLACE else Tenure.OWNED


def delivery_begin(
    *,
    by: Person,
    order: Order,
    place: Place,
    tenure: str = "",
    note_number: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Delivery:
    """Begin to take in a delivery: where it is put down, whose it is, and what its note is called.

    Raises Refusal "not-expected" (not sent yet, over, or nothing to come), "delivery-open",
    "place-elsewhere", "whose-goods" (an exchange: nobody said); NotAllowed.
    """
    require(by=by, act="receive_stock", site_id=order.site_id)
    whose = tenure or tenure_of(order)
    if whose not in (Tenure.OWNED, Tenure.CONSIGNED):
        raise Refusal(
            "whose-goods",
            _("Nobody has said whose these goods are."),
            _("Say whether they are ours or the supplier's: as those were that went back."),
            field="tenure",
        )

    def work() -> Delivery:
        row = lock_order(order)
        _check_expected(row)
        if place.site_id != row.site_id:
            raise Refusal(
                "place-elsewhere", _("This place is at another site."), _("Choose a place of this site.")
            )
        if row.deliveries.filter(closed_at__isnull=True).exists():
            raise Refusal(
                "delivery-open",
                _("A delivery of %(order)s is being taken in already.") % {"order": row.number},
                _("Go on with it, or finish it first."),
            )
        made = Delivery.objects.create(
            order=row, number=1 + row.deliveries.count(), place=place, tenure=whose,
            note_number=note_number.strip()[:40], begun_at=at, begun_by=by,
        )  # fmt: skip
        said = [Line("delivery", made.pk, "", "begun"), Line("order", row.pk, row.state, row.state)]
        _write(row, "delivery.begin", by, at, client_key, {"delivery": made.pk}, said, place)
        return made

    return act_once(
        verb="delivery.begin",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Delivery.objects.get(pk=answer["delivery"]),
    )


def delivery_receive(
    *,
    by: Person,
    delivery: Delivery,
    label: Label,
    count: int = 1,
    condition: str = Condition.GOOD,
    note: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> list[DeliveryLine]:
    """Take in so many of one lot, or one serial, on an open delivery: one scan, one event.

    What may be used settles the open lines of its component in their order. More than is open, or what was
    not ordered from this supplier, comes in as a difference.

    Raises Refusal "delivery-closed", "suppliers-item" (of another supplier), "pieces-apart" (damaged
    pieces of a pile), and what `trays.stock.arriving.receive_within` raises; NotAllowed.
    """
    require(by=by, act="receive_stock", site_id=delivery.order.site_id)

    def work() -> list[DeliveryLine]:
        # Units and piles first, then the order: the order of locks everywhere.
        arrival, usable, said = _take_in(by, delivery, label, count, condition, note, at)
        row = lock_order(delivery.order)
        own = Delivery.objects.get(pk=delivery.pk)
        _check_open(own)
        lines, more = _settle(row, own, arrival, label.component, count, usable=usable)
        answer = {"lines": [line.pk for line in lines]}
        _write(row, "delivery.receive", by, at, client_key, answer, [*said, *more], own.place)
        return lines

    return act_once(
        verb="delivery.receive",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: list(DeliveryLine.objects.filter(pk__in=answer["lines"]).order_by("number")),
    )


def delivery_take_back(
    *, by: Person, delivery: Delivery, at: datetime, client_key: UUID | None = None
) -> list[DeliveryLine]:
    """Take back the newest receipt of an open delivery, which was a mistake: what it brought is not there.

    Its units stay on file as missing, since the record says that they came; a serial scanned anew is that
    unit again.

    Raises Refusal "delivery-closed", "nothing-taken-in", "moved-on" (somebody has taken a unit since),
    "not-enough" (pieces were taken from the pile since); NotAllowed.
    """
    require(by=by, act="receive_stock", site_id=delivery.order.site_id)

    def work() -> list[DeliveryLine]:
        arrival = _newest(delivery)
        said = _give_back(arrival, by=by, at=at)
        row = lock_order(delivery.order)
        _check_open(Delivery.objects.get(pk=delivery.pk))
        lines = list(arrival.delivery_lines.select_related("order_line__order").order_by("number"))
        if any(line.taken_back_at is not None for line in lines):
            raise _nothing_taken_in()
        arrival.delivery_lines.update(taken_back_at=at, taken_back_by=by)
        for one in lines:
            if one.settles and one.order_line is not None:
                said.append(_count(one.order_line, -one.quantity))
        if row.state == OrderState.PART_DELIVERED and not row.lines.filter(delivered_quantity__gt=0).exists():
            said.append(step_within(row, OrderState.CONFIRMED if row.confirmed_at else OrderState.SENT))
        said.append(Line("delivery", delivery.pk, "begun", "taken-back"))
        answer = {"lines": [line.pk for line in lines]}
        _write(
            row, "delivery.take-back", by, at, client_key, answer, said, delivery.place, "taken-in-by-mistake"
        )
        return lines

    return act_once(
        verb="delivery.take-back",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: list(DeliveryLine.objects.filter(pk__in=answer["lines"]).order_by("number")),
    )


def delivery_close(
    *, by: Person, delivery: Delivery, at: datetime, client_key: UUID | None = None
) -> Delivery:
    """Finish a delivery. With it the order is closed when nothing is open on it any more.

    Raises Refusal "delivery-closed"; NotAllowed.
    """
    require(by=by, act="receive_stock", site_id=delivery.order.site_id)

    def work() -> Delivery:
        row = lock_order(delivery.order)
        own = Delivery.objects.get(pk=delivery.pk)
        _check_open(own)
        own.closed_at, own.closed_by = at, by
        own.save(update_fields=["closed_at", "closed_by"])
        said = [Line("delivery", own.pk, "begun", "finished")]
        if row.state == OrderState.PART_DELIVERED and not row.lines.filter(end="").exists():
            said += end_within(row, OrderState.CLOSED, OrderEnd.DELIVERED, by=by, at=at)
        _write(row, "delivery.close", by, at, client_key, {"delivery": own.pk}, said, own.place)
        return own

    return act_once(
        verb="delivery.close",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Delivery.objects.get(pk=answer["delivery"]),
    )


def _take_in(
    by: Person, delivery: Delivery, label: Label, count: int, condition: str, note: str, at: datetime
) -> tuple[Arrival, bool, list[Line]]:
    """The goods into stock, or set apart; the newest arrival is theirs. With it whether they may be used."""
    order = delivery.order
    if label.component.supplier_id != order.supplier_id:
        raise Refusal(
            "suppliers-item",
            _("%(item)s does not come from %(supplier)s.")
            % {"item": label.component.name, "supplier": order.supplier.name},
            _("Look at label and note; receive it on its own supplier's order, or without one."),
        )
    owned = delivery.tenure == Tenure.OWNED
    goods = Goods(
        component=label.component,
        owner=order.site.party if owned else order.supplier,
        tenure=delivery.tenure,
        place=delivery.place,
        lot=label.lot,
        serial=label.serial,
        expires=label.expires,
    )
    if label.component.family.kind != FamilyKind.CONSUMABLE:
        units, said = receive_within(
            by=by, site=order.site, goods=goods, count=count, at=at, condition=condition, note=note,
            raw=label.raw,
        )  # fmt: skip
        # A lot that a safety notice names is set apart, however good it looks.
        usable = all(unit.state == UnitState.SHELF for unit in units)
        return Arrival.objects.filter(units__unit=units[0]).latest("pk"), usable, said
    if condition not in USABLE:
        raise Refusal(
            "pieces-apart",
            _("Pieces of a lot cannot be set apart one by one."),
            _("Leave the damaged ones out: the line stays open for them. Tell the supplier."),
        )
    pile, line = pile_receive_within(by=by, site=order.site, goods=goods, pieces=count, at=at, raw=label.raw)
    return Arrival.objects.filter(pile=pile).latest("pk"), True, [line]


def _settle(
    row: Order, delivery: Delivery, arrival: Arrival, component: Component, count: int, *, usable: bool
) -> tuple[list[DeliveryLine], list[Line]]:
    """Put an arrival against the open lines of its component; the rest is a difference."""
    lines = list(
        OrderLine.objects.filter(order=row, component=component, end="")
        .select_related("order")
        .order_by("number")
    )
    number, left = 1 + delivery.lines.count(), count
    made: list[DeliveryLine] = []
    said: list[Line] = []

    def add(line: OrderLine | None, pieces: int, settles: bool) -> None:
        made.append(
            DeliveryLine.objects.create(
                delivery=delivery,
                number=number + len(made),
                order_line=line,
                arrival=arrival,
                quantity=pieces,
                settles=settles,
            )  # fmt: skip
        )

    if not usable:
        add(lines[0] if lines else None, left, False)
        return made, [Line("delivery", delivery.pk, "", "difference")]
    for line in lines:
        pieces = min(left, outstanding(line))
        if pieces:
            add(line, pieces, True)
            said.append(_count(line, pieces))
            left -= pieces
    if left:
        add(None, left, False)
        said.append(Line("delivery", delivery.pk, "", "difference"))
    if any(one.settles for one in made) and row.state != OrderState.PART_DELIVERED:
        said.append(step_within(row, OrderState.PART_DELIVERED))
    return made, said


def _newest(delivery: Delivery) -> Arrival:
    """The newest receipt of the delivery that was not taken back. Raises Refusal "nothing-taken-in"."""
    newest = delivery.lines.filter(taken_back_at__isnull=True).select_related("arrival").order_by("-number")
    line = newest.first()
    if line is None:
        raise _nothing_taken_in()
    return line.arrival


def _give_back(arrival: Arrival, *, by: Person, at: datetime) -> list[Line]:
    """Out of stock again what an arrival brought."""
    if arrival.pile is not None:
        return [piles_take_within(pile=arrival.pile, pieces=arrival.count, after="taken-back")]
    units = lock_units(arrival.units.values_list("unit_id", flat=True))
    for unit in units:
        if unit.state not in (UnitState.SHELF, UnitState.QUARANTINE):
            raise Refusal(
                "moved-on",
                _("%(unit)s is %(state)s by now; its receipt cannot be taken back.")
                % {"unit": unit, "state": state_word(unit.state)},
                _("Find out where it is; stock that is wrong is put right by a stock take."),
            )
    said = step_within_stock(units=units, state=UnitState.MISSING)
    said += claims.give_up_within(units, at)
    end_rows(units, end=ApartEnd.MISSING, by=by, at=at)
    return said


def _check_open(delivery: Delivery) -> None:
    if delivery.closed_at is not None:
        raise Refusal(
            "delivery-closed",
            _("This delivery was finished."),
            _("Begin another one of the same order, or receive it without an order."),
        )


def _nothing_taken_in() -> Refusal:
    return Refusal(
        "nothing-taken-in",
        _("There is no receipt of this delivery to take back."),
        _("Load the page again; stock that is wrong is put right by a stock take."),
    )


def _count(line: OrderLine, pieces: int) -> Line:
    """So many more have come on a line, or fewer; it is over when nothing is to come, and open again else."""
    before = line.delivered_quantity
    line.delivered_quantity = before + pieces
    if line.order.is_open and line.end in ("", LineEnd.DELIVERED):
        line.end = ""
        line.end = LineEnd.DELIVERED if outstanding(line) == 0 else ""
    line.save(update_fields=["delivered_quantity", "end"])
    return Line("order_line", line.pk, str(before), str(line.delivered_quantity))


def _check_expected(row: Order) -> None:
    if row.state in Order.OUT and row.brings:
        return
    raise Refusal(
        "not-expected",
        _("Nothing is to come on %(order)s: it is %(state)s, %(kind)s.")
        % {
            "order": row.number,
            "state": str(row.get_state_display()).lower(),
            "kind": str(row.get_kind_display()).lower(),
        },
        _("Take down first that it was sent; or receive the goods without an order."),
    )


def _write(
    row: Order,
    verb: str,
    by: Person,
    at: datetime,
    client_key: UUID | None,
    answer: dict[str, Any],
    said: Sequence[Line],
    place: Place,
    reason: str = "",
) -> None:
    record(
        chain=row.site.code, verb=verb, by=by, at=at, place_id=place.pk, reason=reason, client_key=client_key,
        answer=answer, lines=said,
    )  # fmt: skip
