"""The checks that the dictionary names, each with data that passes and data that does not."""

import pytest

from trays.identifiers import codelists, gs1
from trays.identifiers.checkdigits import check_pair
from trays.identifiers.gs1 import Element

GTIN = "09521234000013"


@pytest.mark.parametrize(
    ("ai", "good", "bad", "code"),
    [
        ("8013", "1987654Ad4X4bL5ttr2310c2K", "1987654Ad4X4bL5ttr2310c2L", "check-digit"),
        ("8004", "9521A", "952A", "key-prefix"),
        ("8003", "0" + GTIN[1:] + "A", "1" + GTIN[1:] + "A", "content"),
        ("17", "271100", "271131", "date"),
        ("7003", "2711302359", "2711302360", "time"),
        ("7003", "2711302359", "2711002359", "date"),
        ("4324", "2711000930", "2711002430", "time"),
        ("7250", "20260229"[:4] + "0228", "20260229", "date"),
        ("8008", "27113023", "27113024", "time"),
        ("8008", "2711302359", "2711302399", "time"),
        ("7011", "271130", "2711309", "length"),
        ("8006", GTIN + "0102", GTIN + "0201", "piece"),
        ("8006", GTIN + "0202", GTIN + "0002", "piece"),
        ("7258", "1/2", "2/1", "content"),
        ("7258", "1/1", "1-2", "content"),
        ("8001", "12341234512301", "00001234512301", "content"),
        ("8001", "12341234512390", "12341234512320", "content"),
        ("8011", "0", "01", "content"),
        ("4321", "1", "2", "content"),
        ("4330", "001234-", "001234+", "content"),
        ("4309", "18000000003600000000", "18000000013600000000", "content"),
        ("4309", "00000000003600000000", "00000000003600000001", "content"),
        ("7040", "1ABc", "1AB*", "content"),
        ("7241", "10", "11", "content"),
        ("7241", "80", "00", "content"),
        ("4300", "A%20B", "A%2", "percent"),
        ("7252", "9", "3", "content"),
        ("422", "826", "827", "country"),
        ("423", "826056", "826999", "country"),
        ("425", "826", "82605", "length"),
        ("7030", "999A", "998A", "country"),
        ("4307", "GB", "gb", "country"),
        ("3910", "978100", "123100", "currency"),
        ("8007", "GB29NWBK60161331926819", "GB29NWBK60161331926818", "check-digit"),
        ("8007", "GB29NWBK60161331926819", "XX29NWBK60161331926819", "check-digit"),
        ("8014", "9521A" + check_pair("9521A"), "9521234UH", "check-digit"),
        ("8010", "9521-A/1", "9521-a", "characters"),
        ("8030", "aA9-_==", "a=A", "characters"),
        ("10", "!\"%&'()*+,-./", "a b", "characters"),
        ("10", ":;<=>?_azAZ09", "#", "characters"),
        ("30", "12345678", "123456789", "length"),
        ("37", "1", "x", "characters"),
    ],
)
def test_each_rule_lets_the_right_pass_and_names_what_is_wrong(
    ai: str, good: str, bad: str, code: str
) -> None:
    assert gs1.element_fault(Element(ai, good)) is None
    fault = gs1.element_fault(Element(ai, bad))
    assert fault is not None
    assert (fault.code, fault.ai, fault.stops) == (code, ai, True)
    assert fault.sentence.startswith(f"({ai})") and fault.sentence.endswith(".")


def test_a_model_number_needs_a_letter_or_sign() -> None:
    digits = next(d for n in range(1000, 9999) if (d := f"{n}5214" + check_pair(f"{n}5214")).isdigit())
    fault = gs1.element_fault(Element("8014", digits))
    assert fault is not None and fault.code == "content"


@pytest.mark.parametrize("value", ["１２３", "12³", "1\ud800", "\x00", "é"])
def test_digits_and_letters_of_other_scripts_are_no_data(value: str) -> None:
    for ai in ("30", "10", "8010", "8030"):
        fault = gs1.element_fault(Element(ai, value))
        assert fault is not None and fault.code == "characters"


def test_the_lists_have_the_form_of_their_standards() -> None:
    assert all(len(c) == 3 and c.isdigit() for c in codelists.COUNTRIES | codelists.CURRENCIES)
    assert all(len(c) == 2 and c.isupper() for c in codelists.COUNTRY_LETTERS)
    assert len(codelists.COUNTRIES) == len(codelists.COUNTRY_LETTERS) == 249
    assert {"826", "840", "978", "756"} <= codelists.COUNTRIES | codelists.CURRENCIES
