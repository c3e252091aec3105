"""An order as CSV: one row a line, for suppliers who read tables."""

from django.utils.translation import gettext as _

from trays.exchange.writer import write_csv
from trays.orders.kinds import OrderDoc


def order_csv(doc: OrderDoc) -> bytes:
    """Every line with what identifies the order, safe to open in a spreadsheet."""
    heads = [
        _("Order"), _("Kind"), _("Issued"), _("Buyer"), _("Deliver to"), _("Deliver to, location number"),
        _("Needed by"), _("Line"), _("Our code"), _("Trade item number"), _("Item"), _("Size"), _("Side"),
        _("Lot used"), _("Serial used"), _("Quantity"), _("Boxes"), _("Price each"), _("Line total"),
        _("Currency"),
    ]  # fmt: skip
    rows = [
        [
            doc.number, doc.kind_name, doc.issued_on, doc.buyer.name,
            doc.deliver_to.name if doc.brings else "", doc.deliver_to.gln if doc.brings else "",
            doc.needed_by, line.number, line.code, line.gtin, line.name, line.size, line.side, line.lot,
            line.serial, line.quantity, line.boxes or None, line.unit_price, line.total, doc.currency,
        ]
        for line in doc.lines
    ]  # fmt: skip
    return write_csv(rows, heads)
