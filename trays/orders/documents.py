"""The papers of an order: PDF for people, CSV for tables, UBL for machines."""

from collections.abc import Callable

from trays.orders.exporting import order_csv
from trays.orders.kinds import OrderDoc
from trays.orders.models import Order, OrderPaper, PaperFormat
from trays.orders.queries import whole_orders
from trays.orders.reading import doc_of
from trays.orders.sheet import order_pdf
from trays.orders.ubl import order_xml
from trays.web.errors import Refusal

MAKERS: dict[str, Callable[[OrderDoc], bytes]] = {
    PaperFormat.PDF: order_pdf,
    PaperFormat.CSV: order_csv,
    PaperFormat.UBL: order_xml,
}


def paper_of(order: Order, form: str) -> bytes:
    """One paper of an approved order: as it was last sent, or, before that, as it will be.

    Raises Refusal "not-approved", "no-location-number" (UBL), "not-printed" (PDF).
    """
    sent = OrderPaper.objects.filter(send__order=order, format=form).order_by("-send").first()
    if sent is not None:
        return bytes(sent.content)
    return MAKERS[form](doc_of(whole_orders().get(pk=order.pk)))


def papers_of(order: Order) -> dict[str, bytes]:
    """Every paper that can be made; without location numbers there is no UBL.

    Raises Refusal "not-approved", "not-printed".
    """
    doc = doc_of(whole_orders().get(pk=order.pk))
    made = {}
    for form, make in MAKERS.items():
        try:
            made[form] = make(doc)
        except Refusal as refusal:
            if refusal.code != "no-location-number":
                raise
    return made
