"""Our own identifiers: made, read back, and never with what belongs to a GTIN."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.identifiers import gs1, ours
from trays.identifiers.checkdigits import CSET_82, holds_mod10, mod10
from trays.identifiers.gs1 import Element, Malformed
from trays.identifiers.ours import AssetKey, PlaceKey, SetKey, SheetKey, StaffKey, TradeItemKey

PREFIX = "9521234"
KEYS = st.text(CSET_82, min_size=1, max_size=16)


def key_of(payload: str) -> ours.OurKey | None:
    parsed = gs1.parse(payload)
    assert parsed.faults == ()
    return ours.key_of(parsed.elements)


@given(KEYS, KEYS)
def test_keys_come_back_as_they_were_given(key: str, more: str) -> None:
    kind = ours.asset_type(PREFIX, "12")
    room = ours.gln(PREFIX, "31")
    assert key_of(ours.set_label(kind, key)) == SetKey(kind, key)
    assert key_of(ours.pack_label(PREFIX, key, more)) == AssetKey(PREFIX + key, more)
    assert key_of(ours.instrument(PREFIX, key)) == AssetKey(PREFIX + key, None)
    assert key_of(ours.place(room, key)) == PlaceKey(room, key)
    assert key_of(ours.place(room)) == PlaceKey(room, None)


@given(st.integers(1, 99_999_999), st.integers(1, 9999))
def test_sheets_and_their_lines_come_back(serial: int, line: int) -> None:
    document = ours.document_number(PREFIX, "101")
    assert key_of(ours.sheet(document, str(serial))) == SheetKey(document, str(serial), None)
    assert key_of(ours.sheet_line(document, str(serial), line)) == SheetKey(document, str(serial), line)


@given(st.text("0123456789ABC", min_size=1, max_size=20), st.integers(1, 9999))
def test_a_house_without_a_company_prefix_codes_numbers_by_internal_identifiers(
    number: str, line: int
) -> None:
    assert key_of(ours.pack_number(number)) == AssetKey(number, None)
    assert key_of(ours.pack_number(number, "3")) == AssetKey(number, "3")
    assert key_of(ours.sheet_number(number)) == SheetKey("", number, None)
    assert key_of(ours.sheet_number(number, line)) == SheetKey("", number, line)


def test_staff_have_a_service_relation_number_or_a_badge_code() -> None:
    number = "95212340000000001"
    number += mod10(number)
    assert ours.staff(number) == "8017" + number
    assert key_of(ours.staff(number)) == StaffKey(number)
    assert key_of(ours.staff("JB-12")) == StaffKey("JB-12")
    with pytest.raises(Malformed):
        ours.staff("952123400000000011")


def test_internal_identifiers_beside_others_are_not_ours() -> None:
    assert ours.key_of([Element("92", "1"), Element("10", "A")]) is None
    assert ours.key_of([Element("91", "1")]) is None


def test_a_line_has_three_digits() -> None:
    document = ours.document_number(PREFIX, "101")
    assert ours.sheet_line(document, "48203", 7) == f"253{document}48203-007"


def test_the_example_of_the_pack_label() -> None:
    assert gs1.hri(ours.pack_label(PREFIX, "0417A", "231")) == "(8004)95212340417A (91)231"


@pytest.mark.parametrize("make", [ours.asset_type, ours.gln, ours.document_number, ours.gtin])
def test_made_numbers_have_right_check_digits(make: object) -> None:
    assert callable(make)
    number = make(PREFIX, "42")
    assert holds_mod10(number) and len(number) in (13, 14)


def test_components_keep_their_gtin() -> None:
    assert key_of(ours.component("9521234000013")) == TradeItemKey("09521234000013")


@pytest.mark.parametrize(
    "make",
    [
        lambda: ours.numbered(PREFIX, "1234567"),
        lambda: ours.numbered("95X", "1"),
        lambda: ours.set_label("9521234000012", "1"),
        lambda: ours.instrument(PREFIX, "A B"),
        lambda: ours.instrument(PREFIX, "X" * 24),
        lambda: ours.pack_label(PREFIX, "0417A", ""),
        lambda: ours.sheet(ours.document_number(PREFIX, "1"), "12-3"),
        lambda: ours.sheet(ours.document_number(PREFIX, "1"), ""),
        lambda: ours.sheet_line(ours.document_number(PREFIX, "1"), "12", 0),
        lambda: ours.component("9521234000012"),
        lambda: ours.place("123", "A1"),
        lambda: ours.sheet_number("12-3"),
        lambda: ours.sheet_number("12", 0),
        lambda: ours.pack_number(""),
        lambda: ours.instrument("95", "X"),
    ],
)
def test_data_that_breaks_a_rule_makes_no_label(make: object) -> None:
    assert callable(make)
    with pytest.raises(Malformed) as error:
        make()
    assert error.value.fault.sentence.endswith(".")


@pytest.mark.parametrize("asset", [("8003", "0" + ours.asset_type(PREFIX, "1") + "5"), ("8004", "95212341")])
@pytest.mark.parametrize("beside", [("10", "LOT"), ("17", "271130"), ("21", "SN")])
def test_lot_expiry_and_serial_never_stand_beside_an_asset(
    asset: tuple[str, str], beside: tuple[str, str]
) -> None:
    elements = [Element("01", "09521234000013"), Element(*asset), Element(*beside)]
    fault = ours.fault_of_ours(elements)
    assert fault is not None and fault.ai == beside[0]
    assert ours.fault_of_ours(elements[:2]) is None


@pytest.mark.parametrize("serial", ["", "48203-", "48203-0a1", "48203-01", "48203-000", "-001"])
def test_a_foreign_document_number_is_no_sheet_of_ours(serial: str) -> None:
    assert ours.key_of([Element("253", ours.document_number(PREFIX, "1") + serial)]) is None


def test_other_codes_carry_no_key_of_ours() -> None:
    assert ours.key_of([Element("00", "0" * 18)]) is None
