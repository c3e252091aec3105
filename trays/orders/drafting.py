"""Drafting an order: what is wished for, from whom, for which cause; and mending the draft."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID, uuid4

from django.db import IntegrityError
from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.ledger.append import Line, record
from trays.ledger.once import act_once, changed_meanwhile
from trays.orders.models import LineEnd, Order, OrderKind, OrderLine, OrderState
from trays.orders.queries import lines_for_causes
from trays.parties.models import Party, PartyKind, Site
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal, Unreadable

MOST_LINES = 500
MOST_PIECES = 100_000
MOST_PRICE = Decimal("9999999")
LOT_LENGTH = 20


@dataclass(frozen=True, slots=True)
class OrderWish:
    """So many pieces of a component, and the key of the cause that asks for them; "" = somebody's own idea.

    Without a price the component's own stands. `lot` and `serial` name what was used, on a bill.
    """

    component: Component
    quantity: int
    cause: str = ""
    price: Decimal | None = None
    currency: str = ""
    lot: str = ""
    serial: str = ""


def whole_boxes(component: Component, pieces: int) -> int:
    """The pieces, rounded up to whole boxes of the component."""
    multiple = component.order_multiple
    return -(-pieces // multiple) * multiple


def order_draft(
    *,
    by: Person,
    site: Site,
    supplier: Party,
    kind: str,
    lines: Sequence[OrderWish],
    at: datetime,
    note: str = "",
    needed_by: date | None = None,
    into: Order | None = None,
    client_key: UUID | None = None,
) -> Order:
    """Draft an order to a supplier, or add lines to an open draft of it.

    Raises Refusal as `draft_within`; NotAllowed. The same client key gives the same order.
    """
    require(by=by, act="draft_order", site_id=site.pk)

    def work() -> Order:
        order, said = draft_within(
            by=by, site=site, supplier=supplier, kind=kind, lines=lines, at=at, note=note,
            needed_by=needed_by, into=into,
        )  # fmt: skip
        record(
            chain=site.code, verb="order.draft", by=by, at=at, client_key=client_key,
            answer={"order": order.pk}, lines=said,
        )  # fmt: skip
        return order

    return act_once(
        verb="order.draft",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Order.objects.get(pk=answer["order"]),
        clash_said=cause_clash,
    )


def draft_within(
    *,
    by: Person,
    site: Site,
    supplier: Party,
    kind: str,
    lines: Sequence[OrderWish],
    at: datetime,
    note: str = "",
    needed_by: date | None = None,
    into: Order | None = None,
) -> tuple[Order, list[Line]]:
    """The same within the transaction of a larger act: the order, and the lines for that act's event.

    Raises Refusal "no-lines", "not-a-supplier", "other-suppliers-item", "no-quantity", "not-whole-boxes",
    "price-nonsense", "two-currencies", "cause-ordered-already", "not-a-draft", "another-draft"; Unreadable
    "lot-unreadable". Two at once for one cause end in an IntegrityError: `cause_clash` says it.
    """
    kind = OrderKind(kind)
    currency = _check_all(supplier, kind, lines)
    _check_causes(lines)
    if into is None:
        order = Order.objects.create(
            number=uuid4().hex[:20], site=site, supplier=supplier, kind=kind, currency=currency,
            note=note.strip()[:400], needed_by=needed_by, drafted_at=at, drafted_by=by,
        )  # fmt: skip
        # The key comes from the database's own sequence, so no two orders ever share a number.
        order.number = f"PO-{order.pk:05d}"
        order.save(update_fields=["number"])
        first, said = 1, [Line("order", order.pk, "", order.state)]
    else:
        order = lock_order(into)
        _check_into(order, site, supplier, kind, currency)
        first = 1 + (order.lines.order_by("-number").values_list("number", flat=True).first() or 0)
        said = [Line("order", order.pk, order.state, order.state)]
    for number, wish in enumerate(lines, start=first):
        said.append(_add(order, number, wish))
    return order, said


def line_change(
    *,
    by: Person,
    line: OrderLine,
    quantity: int,
    price: Decimal | None,
    at: datetime,
    client_key: UUID | None = None,
) -> OrderLine:
    """Put another quantity or price on a line of a draft.

    Raises Refusal "not-a-draft", "line-ended", "no-quantity", "not-whole-boxes", "price-nonsense".
    """
    require(by=by, act="draft_order", site_id=line.order.site_id)

    def work() -> OrderLine:
        order, row = _draft_line(line)
        wish = OrderWish(row.component, quantity, price=price, currency=row.currency)
        _check_quantity(wish, order.kind)
        _check_price(price)
        said = Line("order_line", row.pk, str(row.quantity), str(quantity))
        row.quantity, row.unit_price = quantity, price
        row.save(update_fields=["quantity", "unit_price"])
        _write(order, "order.line", by, at, client_key, row, [said])
        return row

    return _line_once("order.line", by, client_key, work)


def line_take_off(*, by: Person, line: OrderLine, at: datetime, client_key: UUID | None = None) -> OrderLine:
    """Take a line off a draft. It stays on file, and its cause may be ordered for again.

    Raises Refusal "not-a-draft", "line-ended".
    """
    require(by=by, act="draft_order", site_id=line.order.site_id)

    def work() -> OrderLine:
        order, row = _draft_line(line)
        row.end = LineEnd.TAKEN_OFF
        row.save(update_fields=["end"])
        _write(order, "order.line-off", by, at, client_key, row, [Line("order_line", row.pk, "", row.end)])
        return row

    return _line_once("order.line-off", by, client_key, work)


def lock_order(order: Order) -> Order:
    """The order's row, locked and read anew; call it inside the transaction of the act."""
    # Without a join: a row that changed while PostgreSQL waited for it would fall out of one.
    Order.objects.select_for_update().get(pk=order.pk)
    return Order.objects.select_related("site", "supplier").get(pk=order.pk)


def cause_clash(clash: IntegrityError) -> Refusal:
    """What is said when two ordered for one cause at the same moment."""
    if not any(name in str(clash) for name in ("order_line_cause_once", "orderline.cause")):
        return changed_meanwhile(clash)
    return Refusal(
        "cause-ordered-already",
        _("Somebody has just ordered for the same cause."),
        _("Look at the orders; nothing is ordered twice."),
    )


def _add(order: Order, number: int, wish: OrderWish) -> Line:
    price = wish.component.price if wish.price is None else wish.price
    made = OrderLine.objects.create(
        order=order, number=number, component=wish.component, quantity=wish.quantity, unit_price=price,
        currency=order.currency, cause=wish.cause, lot=wish.lot, serial=wish.serial,
    )  # fmt: skip
    return Line("order_line", made.pk, "", str(made.quantity))


def _draft_line(line: OrderLine) -> tuple[Order, OrderLine]:
    order = lock_order(line.order)
    _check_draft(order)
    row = OrderLine.objects.select_related("component").get(pk=line.pk)
    if not row.is_open:
        raise Refusal("line-ended", _("This line was taken off already."), _("Load the page again."))
    return order, row


def _line_once(verb: str, by: Person, client_key: UUID | None, work) -> OrderLine:  # type: ignore[no-untyped-def]
    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: OrderLine.objects.get(pk=answer["line"]),
    )


def _write(
    order: Order, verb: str, by: Person, at: datetime, client_key: UUID | None, row: OrderLine,
    said: list[Line],
) -> None:  # fmt: skip
    record(
        chain=order.site.code, verb=verb, by=by, at=at, client_key=client_key, answer={"line": row.pk},
        lines=said,
    )  # fmt: skip


def _check_all(supplier: Party, kind: OrderKind, lines: Sequence[OrderWish]) -> str:
    """Refuse what cannot be ordered; give the one currency of the lines."""
    if not lines or len(lines) > MOST_LINES:
        raise Refusal(
            "no-lines",
            _("An order has 1 to %(most)s lines.") % {"most": MOST_LINES},
            _("Name what is to be ordered."),
        )
    if supplier.kind != PartyKind.SUPPLIER:
        raise Refusal(
            "not-a-supplier",
            _("%(party)s is no supplier.") % {"party": supplier.name},
            _("Choose a supplier."),
        )
    for wish in lines:
        if wish.component.supplier_id != supplier.pk:
            raise Refusal(
                "other-suppliers-item",
                _("%(item)s does not come from %(supplier)s.")
                % {"item": wish.component.name, "supplier": supplier.name},
                _("Order it from its own supplier."),
            )
        _check_quantity(wish, kind)
        _check_price(wish.price)
        _check_text(wish)
    currencies = sorted({wish.currency or wish.component.currency for wish in lines})
    if len(currencies) > 1:
        raise Refusal(
            "two-currencies",
            _("These lines have prices in %(all)s; an order has one currency.")
            % {"all": ", ".join(currencies)},
            _("Draft one order for each currency."),
        )
    return currencies[0]


def _check_quantity(wish: OrderWish, kind: str) -> None:
    component = wish.component
    if not 1 <= wish.quantity <= MOST_PIECES:
        raise Refusal(
            "no-quantity",
            _("%(item)s: this is no number to order.") % {"item": component.name},
            _("Put the number right."),
            field="quantity",
        )
    boxed = kind in (OrderKind.STOCK, OrderKind.EXCHANGE)
    if boxed and wish.quantity % component.order_multiple:
        raise Refusal(
            "not-whole-boxes",
            _("%(item)s is sold in boxes of %(multiple)s; %(quantity)s are no whole boxes.")
            % {"item": component.name, "multiple": component.order_multiple, "quantity": wish.quantity},
            _("Order %(pieces)s.") % {"pieces": whole_boxes(component, wish.quantity)},
            field="quantity",
        )


def _check_price(price: Decimal | None) -> None:
    if price is not None and not (price.is_finite() and 0 <= price <= MOST_PRICE):
        raise Refusal(
            "price-nonsense", _("This is no price."), _("Put it right, as the agreement says it."),
            field="price",
        )  # fmt: skip


def _check_text(wish: OrderWish) -> None:
    for text in (wish.lot, wish.serial):
        if len(text) > LOT_LENGTH or not text.isprintable():
            raise Unreadable(
                "lot-unreadable",
                _("Lots and serials have at most %(most)s printable letters.") % {"most": LOT_LENGTH},
                _("Type it as it stands on the label."),
            )


def _check_causes(lines: Sequence[OrderWish]) -> None:
    causes = [wish.cause for wish in lines if wish.cause]
    if len(set(causes)) < len(causes):
        raise Refusal(
            "cause-ordered-already",
            _("Two lines of this order have the same cause."),
            _("Order for each cause once."),
        )
    there = lines_for_causes(causes)
    if there:
        one = next(iter(there.values()))
        raise Refusal(
            "cause-ordered-already",
            _("For this cause %(quantity)s are on order already, on %(order)s.")
            % {"quantity": one.quantity, "order": one.order.number},
            _("Open that order; nothing is ordered twice."),
            order=one.order.number,
        )


def _check_into(order: Order, site: Site, supplier: Party, kind: str, currency: str) -> None:
    _check_draft(order)
    if (order.site_id, order.supplier_id, order.kind, order.currency) != (
        site.pk, supplier.pk, kind, currency,
    ):  # fmt: skip
        raise Refusal(
            "another-draft",
            _("%(order)s is an order of another kind, site, supplier or currency.") % {"order": order.number},
            _("Draft an order of its own."),
        )


def _check_draft(order: Order) -> None:
    if order.state != OrderState.DRAFT:
        raise Refusal(
            "not-a-draft",
            _("%(order)s is no longer a draft: %(state)s.")
            % {"order": order.number, "state": order.get_state_display().lower()},
            _("Draft another order for what is missing."),
        )
