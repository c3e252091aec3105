"""Bracketed text as people type it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.identifiers import brackets, gs1
from trays.identifiers.checkdigits import CSET_82
from trays.identifiers.gs1 import Element

GTIN = "09521234000013"


@given(st.lists(st.sampled_from(["10", "21", "240", "91"]), unique=True, min_size=1), st.data())
def test_it_is_read_back_brackets_in_the_data_included(ais: list[str], data: st.DataObject) -> None:
    elements = tuple(Element(ai, data.draw(st.text(CSET_82, min_size=1, max_size=20))) for ai in ais)
    assert brackets.parse(gs1.to_brackets(elements))[0].elements == elements


def test_the_printed_text_reads_back() -> None:
    wire = gs1.build([("8004", "95212340417A"), ("91", "231")])
    assert brackets.parse(gs1.hri(wire)) == (gs1.parse(wire), ())


@pytest.mark.parametrize(
    "text",
    [
        f"(01){GTIN}(10)aB-1", f"(01) {GTIN} (10) aB-1", f"  (01){GTIN}  (10)aB-1 ", f"( 01 ){GTIN}(10)aB-1",
    ],
)  # fmt: skip
def test_blanks_round_an_element_are_no_data_and_case_counts(text: str) -> None:
    parsed, notes = brackets.parse(text)
    assert parsed.elements == (Element("01", GTIN), Element("10", "aB-1"))
    assert (parsed.faults, notes) == ((), ())


def test_blanks_between_digits_are_left_out_and_told() -> None:
    parsed, notes = brackets.parse("(01) 0952 1234 0000 13")
    assert parsed.value("01") == GTIN
    assert [n.code for n in notes] == ["blanks"]


def test_blanks_inside_a_lot_are_refused_as_they_are_no_data() -> None:
    assert [f.code for f in brackets.parse(f"(01){GTIN}(10)A B")[0].faults] == ["characters"]


def test_brackets_in_the_data_are_escaped() -> None:
    assert brackets.parse(f"(01){GTIN}(10)A\\(21\\)B")[0].value("10") == "A(21)B"


@pytest.mark.parametrize(
    "text", ["(01", "()", "(1)2", "(abc)1", "x(01)1", "", "(01)(", "((01)1", "(10)A(B)", "(٣٣)1"]
)
def test_brackets_that_hold_no_identifier_are_faulty(text: str) -> None:
    assert any(f.stops for f in brackets.parse(text)[0].faults)


def test_what_stands_before_a_fault_is_kept() -> None:
    parsed, _ = brackets.parse(f"(01){GTIN}(10)AB(x)1")
    assert (parsed.value("01"), parsed.value("10"), parsed.unread) == (GTIN, "AB", "(x)1")


@given(st.text(max_size=200))
def test_no_text_makes_the_parser_fail(text: str) -> None:
    brackets.parse(text)
    brackets.parse("(" + text)
