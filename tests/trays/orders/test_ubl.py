"""The electronic order: valid against the published schema, and by the rules of its profile."""

from datetime import date, time
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trays.orders import profile
from tests.trays.orders.conftest import Office
from tests.world import TODAY
from trays.orders.documents import papers_of
from trays.orders.kinds import DocLine, DocParty, OrderDoc
from trays.orders.ubl import order_xml
from trays.parties.models import Party
from trays.web.errors import Refusal

SCHEMA = profile.schema()
BUYER = DocParty("Larkmere Orthopaedic Centre", "9524000000019", "GB")
SITE = DocParty("Larkmere Orthopaedic Centre, Larkmere", "9524000000026")
SUPPLIER = DocParty("Merrowfield", "9524001000018", "GB")


def a_line(number: int = 1, **changes: Any) -> DocLine:
    given: dict[str, Any] = {
        "number": number, "code": "tib-3", "gtin": "09520000000011", "name": "Tibial 3", "size": "3",
        "side": "LEFT", "quantity": 2, "box": 1, "unit_price": Decimal("412.50"),
    }  # fmt: skip
    return DocLine(**{**given, **changes})


def a_doc(*lines: DocLine, **changes: Any) -> OrderDoc:
    given: dict[str, Any] = {
        "number": "PO-00042", "code": "", "kind": "stock", "kind_name": "Stock order",
        "kind_words": "Please deliver.", "issued_on": date(2026, 12, 7), "issued_at": time(9, 30),
        "currency": "GBP", "note": "", "needed_by": None, "brings": True, "buyer": BUYER, "deliver_to": SITE,
        "supplier": SUPPLIER, "approved_by": "S. Stores", "lines": lines or (a_line(),), "printed": "",
        "language": "en-gb",
    }  # fmt: skip
    return OrderDoc(**{**given, **changes})


def judged(content: bytes) -> list[str]:
    order = profile.read(content)
    SCHEMA.validate(order)
    return [*(entry.message for entry in SCHEMA.error_log), *profile.faults(order)]


@pytest.mark.parametrize("kind", ["stock", "bill_only", "bill_and_replace", "exchange"])
def test_every_kind_of_order_is_valid_and_within_the_profile(office: Office, kind: str) -> None:
    swabs = office.world.component("consumable", "swab-5")
    used = {"lot": "L40", "serial": "S9"} if kind.startswith("bill") else {}
    order = office.approved(
        office.wish(3, **used),
        office.wish(20, component=swabs, price=Decimal("0.375")),
        kind=kind,
        needed_by=TODAY,
        note="Gate 2 & 3",
    )
    xml = papers_of(order)["xml"]
    assert judged(xml) == []
    read = profile.read(xml)
    assert profile.one(read, "/o:Order/cbc:ID") == order.number
    assert profile.one(read, "//cac:SellerSupplierParty/cac:Party/cbc:EndpointID") == "9524001000018"
    assert profile.texts(read, "//cac:LineItem/cbc:Quantity") == ["3", "20"]
    paid = kind != "exchange"
    amount = profile.one(read, "//cac:AnticipatedMonetaryTotal/cbc:PayableAmount")
    assert amount == ("1245.00" if paid else "0.00")
    assert bool(profile.texts(read, "//cac:Delivery")) == (kind != "bill_only")
    assert profile.texts(read, "//cac:ItemInstance/cbc:SerialID") == (["S9"] if used else [])


def test_a_delivery_names_the_site_by_its_location_number_and_the_day(office: Office) -> None:
    read = profile.read(papers_of(office.approved(needed_by=TODAY))["xml"])
    assert profile.one(read, "//cac:DeliveryLocation/cbc:ID") == office.world.site.gln
    assert profile.one(read, "//cac:RequestedDeliveryPeriod/cbc:EndDate") == "2026-12-07"


def test_without_location_numbers_there_is_no_electronic_order_but_paper(office: Office) -> None:
    for number in ("", "9524001000017", "952400"):
        Party.objects.filter(pk=office.world.supplier.pk).update(gln=number)
        assert set(papers_of(office.approved())) == {"pdf", "csv"}
    with pytest.raises(Refusal, match="no-location-number"):
        order_xml(a_doc(supplier=DocParty("Merrowfield", "")))


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        (b"0088", "scheme 0089 is on no list"),
        (b"9524001000018", "9524001000019 is no location number"),
        (b"09520000000011", "09520000000012 is no trade item number"),
        (b">825.00</cbc:PayableAmount", "PayableAmount is not the sum of the lines"),
        (b"412.50", "a line's amount is not quantity times price"),
        (b">Tibial 3</cbc:Name", "Name is empty"),
        (b'unitCode="EA"', "a unit of measure is on no list"),
        (b"ordering:3", "the process is not named"),
    ],
)
def test_the_check_finds_what_is_broken(broken: bytes, told: str) -> None:
    instead = {b"0088": b"0089", b"ordering:3": b"ordering:9", b'unitCode="EA"': b'unitCode="QQ"'}
    worse = instead.get(broken) or (
        b"></cbc:Name" if broken.startswith(b">T") else broken.translate(bytes.maketrans(b"815", b"926"))
    )
    whole = order_xml(a_doc())
    if broken.isdigit() and len(broken) > 4:
        worse = broken[:-1] + bytes([broken[-1] + 1])
    assert judged(whole) == []
    assert broken in whole
    assert told in judged(whole.replace(broken, worse))


def test_the_schema_refuses_an_order_in_the_wrong_shape() -> None:
    whole = order_xml(a_doc())
    swapped = whole.replace(b"cbc:IssueDate>", b"cbc:IssueDay>")
    assert not SCHEMA.validate(profile.read(swapped))


WORDS = st.text("abÅß<&>'\"\x01 ]0", max_size=40).map(lambda text: f"x{text}")
PRICE = st.decimals(min_value=0, max_value=9_999_999, places=4)


@settings(max_examples=60, deadline=None)
@given(
    lines=st.lists(st.tuples(WORDS, st.integers(1, 100_000), PRICE), min_size=1, max_size=8),
    note=st.text(max_size=80),
)
def test_any_words_and_prices_make_a_valid_order_whose_sums_agree(
    lines: list[tuple[str, int, Decimal]], note: str
) -> None:
    made = [
        a_line(number, name=name, quantity=quantity, unit_price=price, box=10)
        for number, (name, quantity, price) in enumerate(lines, start=1)
    ]
    assert judged(order_xml(a_doc(*made, note=note))) == []


def test_a_party_without_a_country_has_no_address_rather_than_an_empty_one() -> None:
    content = order_xml(a_doc(buyer=DocParty(BUYER.name, BUYER.gln)))
    read = profile.read(content)
    assert SCHEMA.validate(read)
    assert profile.texts(read, "//cac:BuyerCustomerParty//cac:PostalAddress") == []
