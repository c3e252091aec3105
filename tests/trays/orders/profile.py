"""What an electronic order must keep beyond its schema: the rules of the profile, each as we read it."""

from collections.abc import Iterator
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any

from lxml import etree

from trays.identifiers.checkdigits import holds_mod10

HERE = Path(__file__).parent / "ubl21"
NS = {
    "o": "urn:oasis:names:specification:ubl:schema:xsd:Order-2",
    "cac": "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2",
    "cbc": "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2",
}
# UN/ECE Recommendation 20: one, and each.
UNITS = {"EA", "C62"}
# Of ISO 4217, those that a European or American hospital meets.
CURRENCIES = {"CHF", "CZK", "DKK", "EUR", "GBP", "NOK", "PLN", "SEK", "USD"}


def schema() -> etree.XMLSchema:
    return etree.XMLSchema(file=str(HERE / "maindoc" / "UBL-Order-2.1.xsd"))


def read(content: bytes) -> Any:
    return etree.fromstring(content, etree.XMLParser(resolve_entities=False, no_network=True))


def texts(node: Any, path: str) -> list[str]:
    return [str(one.text) if hasattr(one, "text") else str(one) for one in node.xpath(path, namespaces=NS)]


def one(node: Any, path: str) -> str:
    found = texts(node, path)
    return found[0] if len(found) == 1 else ""


def faults(order: Any) -> list[str]:
    """Every rule that the order breaks, in words."""
    return [*_head(order), *_parties(order), *_amounts(order), *_lines(order), *_everywhere(order)]


def _head(order: Any) -> Iterator[str]:
    if one(order, "/o:Order/cbc:CustomizationID") != "urn:fdc:peppol.eu:poacc:trns:order:3":
        yield "the specification is not named"
    if one(order, "/o:Order/cbc:ProfileID") != "urn:fdc:peppol.eu:poacc:bis:ordering:3":
        yield "the process is not named"
    for name in ("ID", "IssueDate", "DocumentCurrencyCode"):
        if not one(order, f"/o:Order/cbc:{name}"):
            yield f"{name} is missing"
    if one(order, "/o:Order/cbc:OrderTypeCode") not in ("105", "220", "227"):
        yield "the kind of order is on no list"
    if len(texts(order, "/o:Order/cbc:Note")) > 1:
        yield "more than one note"
    if one(order, "/o:Order/cbc:DocumentCurrencyCode") not in CURRENCIES:
        yield "the currency is on no list"


def _parties(order: Any) -> Iterator[str]:
    for side in ("BuyerCustomerParty", "SellerSupplierParty"):
        party = f"/o:Order/cac:{side}/cac:Party"
        for path in (
            "cbc:EndpointID", "cbc:EndpointID/@schemeID", "cac:PartyIdentification/cbc:ID",
            "cac:PartyName/cbc:Name", "cac:PartyLegalEntity/cbc:RegistrationName",
            "cac:PostalAddress/cac:Country/cbc:IdentificationCode",
        ):  # fmt: skip
            if not one(order, f"{party}/{path}"):
                yield f"{side} has no {path}"
    for number in texts(order, "//*[@schemeID='0088']"):
        if len(number) != 13 or not holds_mod10(number):
            yield f"{number} is no location number"
    for number in texts(order, "//*[@schemeID='0160']"):
        if len(number) != 14 or not holds_mod10(number):
            yield f"{number} is no trade item number"
    for scheme in texts(order, "//@schemeID"):
        if scheme not in ("0088", "0160"):
            yield f"scheme {scheme} is on no list"


def _amounts(order: Any) -> Iterator[str]:
    currency = one(order, "/o:Order/cbc:DocumentCurrencyCode")
    if set(texts(order, "//@currencyID")) != {currency}:
        yield "an amount is in another currency than the order"
    for amount in texts(order, "//*[@currencyID][not(self::cbc:PriceAmount)]"):
        if -Decimal(amount).as_tuple().exponent > 2:  # type: ignore[operator]
            yield f"{amount} has more than two decimals"
    lines = [Decimal(text) for text in texts(order, "//cac:LineItem/cbc:LineExtensionAmount")]
    total = "/o:Order/cac:AnticipatedMonetaryTotal/cbc:"
    for name in ("LineExtensionAmount", "PayableAmount"):
        if Decimal(one(order, f"{total}{name}") or "-1") != sum(lines):
            yield f"{name} is not the sum of the lines"


def _lines(order: Any) -> Iterator[str]:
    items = order.xpath("/o:Order/cac:OrderLine/cac:LineItem", namespaces=NS)
    if not items:
        yield "no lines"
    ids = [one(item, "cbc:ID") for item in items]
    if len(set(ids)) < len(ids) or "" in ids:
        yield "lines are not told apart"
    for item in items:
        quantity = Decimal(one(item, "cbc:Quantity") or "-1")
        price = Decimal(one(item, "cac:Price/cbc:PriceAmount") or "-1")
        base = Decimal(one(item, "cac:Price/cbc:BaseQuantity") or "1")
        if quantity < 0 or price < 0 or base <= 0:
            yield "a quantity or price is negative"
        wanted = (quantity * price / base).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)
        if Decimal(one(item, "cbc:LineExtensionAmount") or "-1") != wanted:
            yield "a line's amount is not quantity times price"
        units = set(texts(item, ".//@unitCode"))
        if len(units) != 1 or not units <= UNITS:
            yield "a unit of measure is on no list"
        if not one(item, "cac:Item/cbc:Name"):
            yield "an item has no name"


def _everywhere(order: Any) -> Iterator[str]:
    for element in order.iter():
        if not len(element) and not (element.text or "").strip():
            yield f"{etree.QName(element).localname} is empty"
        for name, value in element.attrib.items():
            if not value.strip():
                yield f"{name} is empty"
