"""The papers of an order: what stands on them, kept as they were sent, safe in a spreadsheet."""

import csv
import hashlib
import io
from decimal import Decimal

import pytest

from tests.trays.orders.conftest import Office
from tests.trays.orders.test_ubl import a_doc, a_line
from tests.trays.symbols.rendering import texts
from tests.world import NOW
from trays.catalogue.models import Component
from trays.orders.documents import paper_of, papers_of
from trays.orders.exporting import order_csv
from trays.orders.services import order_send
from trays.orders.sheet import order_pdf
from trays.web.errors import Refusal


def test_the_printed_order_says_what_for_how_much_and_where_to(office: Office) -> None:
    swabs = office.world.component("consumable", "swab-5")
    order = office.approved(
        office.wish(2), office.wish(20, component=swabs, price=Decimal("0.375")), note="Ring at gate 2."
    )
    (page,) = texts(papers_of(order)["pdf"])
    for words in (
        order.number, "Merrowfield", "Larkmere Orthopaedic Centre, Larkmere", "Ring at gate 2.", "size 2",
        "LEFT", "2 boxes of 10", "825.00", "832.50 GBP", "S. Stores", "(414)9524000000026",
    ):  # fmt: skip
        assert words in page, words


def test_a_bill_says_what_was_used_and_that_nothing_is_to_be_sent(office: Office) -> None:
    order = office.approved(office.wish(1, lot="L40-009", serial="S123"), kind="bill_only")
    (page,) = texts(papers_of(order)["pdf"])
    assert "Please invoice them; send nothing." in page and "nothing to send" in page
    assert "lot L40-009" in page and "serial S123" in page


def test_long_words_many_lines_and_the_longest_codes_are_printed_whole() -> None:
    long = a_line(
        code="C" * 40, lot="W" * 20, serial="9" * 20, quantity=100_000, box=10,
        name="Femoral component, posterior-stabilised, cemented, narrow, with an augment for the left knee",
        unit_price=Decimal("9999999.9999"),
    )  # fmt: skip
    lines = [a_line(number, name=long.name, code=long.code, lot=long.lot) for number in range(2, 72)]
    pages = texts(order_pdf(a_doc(long, *lines, note="Zażółć gęślą jaźń. " * 12)))
    whole = "".join(pages).replace("\r\n", "")
    assert len(pages) > 4
    for words in ("C" * 40, "W" * 20, "9" * 20, "100000", "10000 boxes of 10", "999999999990.00"):
        assert words in whole, words
    assert all("PO-00042" in page for page in pages)


def test_what_was_sent_is_what_is_downloaded_later_whatever_changed_since(office: Office) -> None:
    order = office.approved()
    before = papers_of(order)
    order_send(by=office.stores, order=order, way="mail", papers=before, at=NOW)
    Component.objects.update(name="Renamed")
    for form, content in before.items():
        assert paper_of(order, form) == content
        paper = order.sends.get().papers.get(format=form)
        assert paper.digest == hashlib.sha256(content).hexdigest()
    assert b"Renamed" in papers_of(order)["xml"]


def test_the_same_order_makes_the_same_papers(office: Office) -> None:
    order = office.approved()
    assert papers_of(order) == papers_of(order)


def test_a_draft_has_no_papers(office: Office) -> None:
    with pytest.raises(Refusal, match="not-approved"):
        papers_of(office.draft())


def test_the_table_for_spreadsheets_runs_nothing_and_keeps_its_zeros() -> None:
    content = order_csv(a_doc(a_line(name="=HYPERLINK(1)", code="@x")))
    (row,) = csv.DictReader(io.StringIO(content.decode("utf-8-sig")))
    assert (row["Item"], row["Our code"], row["Trade item number"]) == (
        "'=HYPERLINK(1)", "'@x", "09520000000011",
    )  # fmt: skip
    assert (row["Quantity"], row["Price each"], row["Line total"]) == ("2", "412.50", "825.00")
