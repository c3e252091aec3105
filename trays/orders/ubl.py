"""An order as UBL 2.1 Order XML, in the profile Peppol BIS Ordering 3: open standards both.

Element names, their order and the code lists are those of the standards: location numbers under scheme 0088,
trade item numbers under 0160 (ISO 6523), units by UN/ECE Recommendation 20, kinds of document by UNCL 1001.
"""

from decimal import Decimal

# Only made here, never read: what comes from elsewhere goes through defusedxml.
from xml.etree import ElementTree  # nosec B405

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.identifiers.checkdigits import holds_mod10
from trays.orders.kinds import DocLine, DocParty, OrderDoc
from trays.orders.money import plain
from trays.web.errors import Refusal

ORDER = "urn:oasis:names:specification:ubl:schema:xsd:Order-2"
CAC = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
CBC = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"
CUSTOMIZATION = "urn:fdc:peppol.eu:poacc:trns:order:3"
PROFILE = "urn:fdc:peppol.eu:poacc:bis:ordering:3"
PURCHASE_ORDER = "220"
GLN_SCHEME, GTIN_SCHEME = "0088", "0160"
EACH = "EA"

for _prefix, _space in (("", ORDER), ("cac", CAC), ("cbc", CBC)):
    ElementTree.register_namespace(_prefix, _space)

Element = ElementTree.Element


def order_xml(doc: OrderDoc) -> bytes:
    """The order as XML in UTF-8.

    Raises Refusal "no-location-number" where buyer, supplier or the place of delivery has none to send to.
    """
    for party in (doc.buyer, doc.supplier, *([doc.deliver_to] if doc.brings else [])):
        _check_number(party)
    root = Element(f"{{{ORDER}}}Order")
    _basic(root, "CustomizationID", CUSTOMIZATION)
    _basic(root, "ProfileID", PROFILE)
    _basic(root, "ID", doc.number)
    _basic(root, "IssueDate", doc.issued_on.isoformat())
    _basic(root, "IssueTime", doc.issued_at.isoformat("seconds"))
    _basic(root, "OrderTypeCode", PURCHASE_ORDER)
    _basic(root, "Note", " ".join(part for part in (doc.kind_words, doc.note) if part))
    _basic(root, "DocumentCurrencyCode", doc.currency)
    _party(_part(root, "BuyerCustomerParty"), doc.buyer)
    _party(_part(root, "SellerSupplierParty"), doc.supplier)
    if doc.brings:
        _delivery(root, doc)
    _totals(root, doc)
    for line in doc.lines:
        _line(root, doc, line)
    text: bytes = ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)
    return text


def _part(parent: Element, name: str) -> Element:
    return ElementTree.SubElement(parent, f"{{{CAC}}}{name}")


def _basic(parent: Element, name: str, text: str, **attributes: str) -> None:
    """A value of the parent; one that is empty is left out, since the profile allows no empty element."""
    kept = "".join(letter for letter in text if _allowed(letter)).strip()
    if kept:
        ElementTree.SubElement(parent, f"{{{CBC}}}{name}", attributes).text = kept


def _allowed(letter: str) -> bool:
    """Whether XML 1.0 knows the character."""
    point = ord(letter)
    return point in (9, 10, 13) or 0x20 <= point <= 0xD7FF or 0xE000 <= point <= 0xFFFD or point >= 0x10000


def _amount(parent: Element, name: str, amount: Decimal, currency: str) -> None:
    _basic(parent, name, plain(amount), currencyID=currency)


def _party(parent: Element, party: DocParty) -> None:
    own = _part(parent, "Party")
    _basic(own, "EndpointID", party.gln, schemeID=GLN_SCHEME)
    _basic(_part(own, "PartyIdentification"), "ID", party.gln, schemeID=GLN_SCHEME)
    _basic(_part(own, "PartyName"), "Name", party.name)
    if party.country:
        country = _part(_part(own, "PostalAddress"), "Country")
        _basic(country, "IdentificationCode", party.country.upper())
    legal = _part(own, "PartyLegalEntity")
    _basic(legal, "RegistrationName", party.name)


def _delivery(root: Element, doc: OrderDoc) -> None:
    delivery = _part(root, "Delivery")
    _basic(_part(delivery, "DeliveryLocation"), "ID", doc.deliver_to.gln, schemeID=GLN_SCHEME)
    if doc.needed_by is not None:
        _basic(_part(delivery, "RequestedDeliveryPeriod"), "EndDate", doc.needed_by.isoformat())
    party = _part(delivery, "DeliveryParty")
    _basic(_part(party, "PartyIdentification"), "ID", doc.deliver_to.gln, schemeID=GLN_SCHEME)
    _basic(_part(party, "PartyName"), "Name", doc.deliver_to.name)


def _totals(root: Element, doc: OrderDoc) -> None:
    total = _part(root, "AnticipatedMonetaryTotal")
    _amount(total, "LineExtensionAmount", doc.total, doc.currency)
    _amount(total, "PayableAmount", doc.total, doc.currency)


def _line(root: Element, doc: OrderDoc, line: DocLine) -> None:
    outer = _part(root, "OrderLine")
    if line.boxes:
        words = ngettext("%(boxes)s box of %(box)s.", "%(boxes)s boxes of %(box)s.", line.boxes)
        _basic(outer, "Note", words % {"boxes": line.boxes, "box": line.box})
    item = _part(outer, "LineItem")
    _basic(item, "ID", str(line.number))
    _basic(item, "Quantity", str(line.quantity), unitCode=EACH)
    _amount(item, "LineExtensionAmount", line.total, doc.currency)
    price = _part(item, "Price")
    _amount(price, "PriceAmount", line.unit_price, doc.currency)
    _basic(price, "BaseQuantity", "1", unitCode=EACH)
    _item(item, line)


def _item(parent: Element, line: DocLine) -> None:
    item = _part(parent, "Item")
    _basic(item, "Name", line.name)
    _basic(_part(item, "BuyersItemIdentification"), "ID", line.code)
    if line.gtin:
        _basic(_part(item, "StandardItemIdentification"), "ID", line.gtin, schemeID=GTIN_SCHEME)
    for name, value in ((_("Size"), line.size), (_("Side"), line.side)):
        if value:
            own = _part(item, "AdditionalItemProperty")
            _basic(own, "Name", name)
            _basic(own, "Value", value)
    if line.lot or line.serial:
        instance = _part(item, "ItemInstance")
        _basic(instance, "SerialID", line.serial)
        if line.lot:
            _basic(_part(instance, "LotIdentification"), "LotNumberID", line.lot)


def _check_number(party: DocParty) -> None:
    if len(party.gln) != 13 or not holds_mod10(party.gln):
        raise Refusal(
            "no-location-number",
            _("%(party)s has no global location number on file; an electronic order names both by it.")
            % {"party": party.name},
            _("Have it entered with the organisations; the PDF and the CSV need none."),
        )
