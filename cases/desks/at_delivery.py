"""A scan on the page where a delivery comes in: the box is taken in, and settles what was ordered."""

from datetime import timedelta
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.desks.found import Finding, Link, refuse
from cases.desks.page_scan import Scan, done, wrong
from trays.catalogue.queries import component_by_gtin
from trays.orders.deliveries import Label, delivery_receive
from trays.orders.models import Delivery, DeliveryLine, Order, OrderLine
from trays.orders.queries import outstanding, whole_orders
from trays.orders.views_receive import open_delivery
from trays.staff.access import may
from trays.web.errors import Refusal

TWICE = timedelta(seconds=3)
"""The same label sooner than this is one box read twice."""


def take_in(scan: Scan) -> Finding | None:
    """Take the scanned box in on the delivery of the page. Raises Refusal."""
    order = whole_orders().filter(pk=scan.pk).first()
    if order is None or not may(by=scan.by, act="receive_stock", site_id=order.site_id):
        return None
    reading = scan.reading
    code = reading.device or ""
    if not code:
        raise wrong(scan, _("Scan the label of a box that was delivered."))
    known = component_by_gtin(code)
    if known is None:
        raise Refusal(
            "unknown-item",
            _("No component with the code %(code)s is on file.") % {"code": code},
            _("Set it aside; on the page Receive it is taken in and added to the catalogue."),
        )
    component, pieces = known
    lot, serial = reading.lot or "", reading.serial or ""
    if not lot and not serial:
        # Its other half may come next; the item alone names no box.
        return None
    delivery = open_delivery(order)
    _check_not_twice(delivery, scan)
    label = Label(component, lot, serial, reading.expiry.day if reading.expiry else None, reading.raw)
    try:
        lines = delivery_receive(
            by=scan.by, delivery=delivery, label=label, count=pieces, at=scan.at, client_key=scan.key
        )
    except Refusal as refusal:
        if refusal.code != "short-dated":
            raise
        link = Link(_("Say what becomes of it"), _asked(order, label, pieces))
        return refuse(refusal.code, refusal.sentence, refusal.next_step, links=(link,))
    return _said(order, label, lines)


def _check_not_twice(delivery: Delivery, scan: Scan) -> None:
    newest = delivery.lines.select_related("arrival").order_by("-number").first()
    if newest is None or newest.taken_back_at is not None or bytes(newest.arrival.raw) != scan.reading.raw:
        return
    if scan.at - newest.arrival.at < TWICE:
        raise Refusal(
            "scanned-twice",
            _("The same box was read twice; it is taken in once."),
            _("If there is another one just like it, scan that now."),
        )


def _asked(order: Order, label: Label, pieces: int) -> str:
    """The form by hand, with what the label said already in it."""
    given = {"item": label.component.code, "lot": label.lot, "serial": label.serial, "count": str(pieces)}
    if label.expires is not None:
        given["expires"] = label.expires.isoformat()
    return f"{reverse('order-receive', args=[order.pk])}?{urlencode(given)}#hand"


def _said(order: Order, label: Label, lines: list[DeliveryLine]) -> Finding:
    what = _("Taken in: %(item)s, %(lot)s.") % {
        "item": label.component.name,
        "lot": label.serial or label.lot,
    }
    numbers = ", ".join(str(one.order_line.number) for one in lines if one.order_line is not None)
    settled = all(one.settles for one in lines)
    if settled:
        why = ngettext("Line %(numbers)s.", "Lines %(numbers)s.", len(lines)) % {"numbers": numbers}
    elif numbers:
        why = _("Line %(numbers)s; not all of it settles the order: see the list.") % {"numbers": numbers}
    else:
        why = _("It was not ordered, or more came than was: taken down as a difference.")
    open_lines = OrderLine.objects.filter(order=order, end="").select_related("order")
    left = sum(outstanding(line) for line in open_lines)
    still = ngettext("%(n)s piece is still to come.", "%(n)s pieces are still to come.", left) % {"n": left}
    return done(what, why, still if left else _("Everything has come: finish the delivery."))
