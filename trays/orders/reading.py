"""From the rows of an approved order to what its papers say."""

from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils.dateformat import format as date_words
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from trays.catalogue.models import PackLevel
from trays.catalogue.words import side_word, size_words
from trays.identifiers import ours
from trays.identifiers.checkdigits import gtin14
from trays.identifiers.gs1 import Malformed
from trays.orders.kinds import DocLine, DocParty, OrderDoc
from trays.orders.models import Order, OrderKind, OrderLine
from trays.orders.queries import live_lines
from trays.parties.models import Site
from trays.web.errors import Refusal


def doc_of(order: Order) -> OrderDoc:
    """Everything that the papers of an order fetched by `queries.whole_orders` say. One query more.

    Raises Refusal "not-approved": a draft has no papers, since nothing in them would hold.
    """
    if order.approval is None or order.approved_at is None:
        raise Refusal(
            "not-approved",
            _("%(order)s is not approved; it has no papers yet.") % {"order": order.number},
            _("Have it approved first."),
        )
    lines = live_lines(order)
    gtins = _gtins([line.component_id for line in lines])
    issued = order.approved_at.astimezone(ZoneInfo(order.site.zone))
    site, buyer = order.site, order.site.party
    return OrderDoc(
        number=order.number,
        code=sheet_code(site, order.number),
        kind=order.kind,
        kind_name=str(order.get_kind_display()),
        kind_words=kind_words(order.kind),
        issued_on=issued.date(),
        issued_at=issued.time().replace(microsecond=0),
        currency=order.currency,
        note=order.note,
        needed_by=order.needed_by,
        brings=order.brings,
        buyer=DocParty(buyer.name, buyer.gln, buyer.country),
        deliver_to=DocParty(f"{buyer.name}, {site.name}", site.gln or buyer.gln),
        supplier=DocParty(order.supplier.name, order.supplier.gln, order.supplier.country),
        approved_by=order.approval.name,
        lines=tuple(_line(line, gtins.get(line.component_id, ""), order.pays) for line in lines),
        printed=date_words(issued, "j M Y H:i"),
        language=get_language() or "en-gb",
    )


def kind_words(kind: str) -> str:
    """What the supplier is to do, in one sentence."""
    return {
        OrderKind.STOCK: _("Please deliver the goods below and invoice them."),
        OrderKind.BILL_ONLY: _("The goods below were used. Please invoice them; send nothing."),
        OrderKind.BILL_AND_REPLACE: _(
            "The goods below were used. Please invoice them and deliver the same again."
        ),
        OrderKind.EXCHANGE: _("Please deliver the goods below in exchange, without charge."),
    }[OrderKind(kind)]


def number_from(serial: str) -> str:
    """The order's number that a scanned or typed serial stands for; "" when it is none."""
    digits = serial.upper().removeprefix("PO").removeprefix("-")
    known = serial[:2].upper() == "PO" and digits.isascii() and digits.isdecimal() and len(digits) < 19
    return f"PO-{digits}" if known else ""


def sheet_code(site: Site, number: str) -> str:
    """The element string of an order's paper: a document of the site's own; "" without a location number."""
    document = site.gln or site.party.gln
    try:
        return ours.sheet(document, number.replace("-", "", 1)) if document else ""
    except Malformed:
        return ""


def _line(line: OrderLine, gtin: str, pays: bool) -> DocLine:
    component = line.component
    return DocLine(
        number=line.number,
        code=component.code,
        gtin=gtin,
        name=component.name,
        size=size_words(component),
        side=side_word(component.side),
        quantity=line.quantity,
        box=component.order_multiple,
        unit_price=(line.unit_price or Decimal(0)) if pays else Decimal(0),
        lot=line.lot,
        serial=line.serial,
    )


def _gtins(component_ids: list[int]) -> dict[int, str]:
    """By component the trade item number of one piece. One query."""
    rows = PackLevel.objects.filter(component_id__in=component_ids, quantity=1).order_by("-pk")
    found = {}
    for key, code in rows.values_list("component_id", "code"):
        if number := _gtin(code):
            found[key] = number
    return found


def _gtin(code: str) -> str:
    """The code as fourteen digits if it is a trade item number, else "": other codes are none."""
    try:
        return gtin14(code) or ""
    except ValueError:
        return ""
