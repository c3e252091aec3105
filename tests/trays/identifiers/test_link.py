"""GS1 Digital Link addresses: keys, qualifiers, queries; and addresses that are none."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.identifiers import link
from trays.identifiers.checkdigits import with_mod10

GTIN = "09521234000013"


def parsed(address: str) -> list[tuple[str, str]]:
    found = link.parse(address)
    assert found is not None
    return [(e.ai, e.value) for e in found[0].elements]


def stops(address: str) -> set[str]:
    found = link.parse(address)
    assert found is not None
    return {f.code for f in found[0].faults if f.stops}


@pytest.mark.parametrize(
    "address",
    [
        f"https://id.gs1.org/01/{GTIN}/10/AB-1",
        f"http://id.gs1.org/01/{GTIN}/10/AB-1",
        f"HTTPS://ID.GS1.ORG/01/{GTIN}/10/AB-1",
        f"https://maker.example/some/path/01/{GTIN}/10/AB-1",
        f"https://maker.example:8443/01/{GTIN}/10/AB-1/",
        f"https://maker.example/01/{GTIN}/10/AB-1?linkType=gs1:pip&lang=de",
        f"https://maker.example/01/{GTIN}/10/AB-1#part",
        f"https://maker.example/gtin/{GTIN}/lot/AB-1",
        f"maker.example/01/{GTIN}/10/AB-1",
        f"https://maker.example/01/{GTIN}?10=AB-1",
        f"https://maker.example/00/12/01/{GTIN}/10/AB%2D1",
    ],
)
def test_any_domain_and_any_path_before_the_key(address: str) -> None:
    assert parsed(address) == [("01", GTIN), ("10", "AB-1")]
    assert stops(address) == set()


def test_percent_codes_are_undone_once() -> None:
    assert parsed(f"https://x.example/01/{GTIN}/21/A%2FB%25%28c%29?10=1%2B2") == [
        ("01", GTIN), ("21", "A/B%(c)"), ("10", "1+2"),
    ]  # fmt: skip


def test_a_broken_percent_code_stops() -> None:
    assert "percent" in stops(f"https://x.example/01/{GTIN}/21/A%2")
    assert "percent" in stops(f"https://x.example/01/{GTIN}?10=%zz")


def test_a_plus_in_the_query_stands_for_a_blank_which_is_no_data() -> None:
    assert stops(f"https://x.example/01/{GTIN}?10=A+B") == {"characters"}


def test_the_query_holds_dates_and_is_parted_by_either_sign() -> None:
    assert parsed(f"https://x.example/01/{GTIN}/21/7?17=271130;3103=000500&s4t=x")[2:] == [
        ("17", "271130"), ("3103", "000500"),
    ]  # fmt: skip


@pytest.mark.parametrize("number", [with_mod10(d) for d in ("952123400001", "9521234", "95212340000")])
def test_shorter_gtins_are_filled_and_that_is_told(number: str) -> None:
    found = link.parse(f"https://x.example/01/{number}")
    assert found is not None
    assert found[0].value("01") == number.rjust(14, "0")
    assert [n.code for n in found[1]] == ["short-gtin"]


@pytest.mark.parametrize(
    ("path", "fine"),
    [
        ("22/A/10/B/21/C", True), ("22/A/21/C", True), ("10/B", True), ("235/X", True),
        ("10/B/22/A", False), ("21/C/10/B", False), ("22/A/235/X", False), ("17/271130", False),
        ("254/A", False),
    ],
)  # fmt: skip
def test_qualifiers_come_in_the_order_of_their_key_and_of_one_set(path: str, fine: bool) -> None:
    assert ("link" not in stops(f"https://x.example/01/{GTIN}/{path}")) == fine


def test_only_data_attributes_may_stand_in_the_query() -> None:
    assert stops(f"https://x.example/01/{GTIN}?21=A") == {"link"}
    assert stops(f"https://x.example/01/{GTIN}?88=A") == {"unknown-ai"}
    assert stops(f"https://x.example/01/{GTIN}?10=A&10=B") == {"twice"}


def test_a_wrong_check_digit_is_told_and_no_other_web_page_is_taken_for_one() -> None:
    assert stops("https://x.example/01/09521234000014") == {"check-digit"}
    assert stops(f"https://x.example/01/{GTIN}?17=270230") == {"date"}


@pytest.mark.parametrize(
    "text",
    [
        "", "https://", "https:///01/1", "https://x.example", "https://x.example/", "https://x.example/news/01/12",
        "https://x.example/10/AB", "https://x.example/01",
        "ftp://x.example/01/" + GTIN, "http://[", "x/01/" + GTIN,
        "https://x.example/8004/pages", "mailto:a@b.example",
    ],
)  # fmt: skip
def test_other_addresses_are_none(text: str) -> None:
    assert link.parse(text) is None


@given(st.text(max_size=120), st.sampled_from(["https://", "https://x.example/01/", "http://x.example/?"]))
def test_no_address_makes_it_fail(text: str, front: str) -> None:
    link.parse(front + text)
