"""Element strings: built, parsed, in brackets; what breaks a rule is named."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.identifiers import gs1
from trays.identifiers.checkdigits import CSET_82, with_mod10
from trays.identifiers.gs1 import GS, Element, Malformed

GTIN = "09521234000013"
TEXT_20 = st.text(CSET_82, min_size=1, max_size=20)


def codes(text: str) -> list[tuple[str, str, bool]]:
    return [(f.code, f.ai, f.stops) for f in gs1.parse(text).faults]


@st.composite
def element_lists(draw: st.DrawFn) -> list[tuple[str, str]]:
    """A GTIN with some of its attributes, in any order."""
    day = draw(st.dates()).strftime("%y%m%d")
    rest = [
        ("10", draw(TEXT_20)), ("17", day), ("11", day), ("21", draw(TEXT_20)), ("240", draw(TEXT_20)),
        ("30", str(draw(st.integers(0, 99_999_999)))), ("7003", "2711302359"), ("91", draw(TEXT_20)),
    ]  # fmt: skip
    chosen = draw(st.lists(st.sampled_from(rest), unique=True))
    return list(draw(st.permutations([("01", GTIN), *chosen])))


@given(element_lists())
def test_what_is_built_is_parsed_back(pairs: list[tuple[str, str]]) -> None:
    wire = gs1.build(pairs)
    parsed = gs1.parse(wire)
    assert parsed.elements == tuple(Element(*p) for p in pairs)
    assert parsed.faults == () and parsed.unread == ""


@given(element_lists())
def test_separators_stand_only_where_they_are_needed(pairs: list[tuple[str, str]]) -> None:
    predefined = {"01", "11", "17"}
    needed = sum(ai not in predefined for ai, _ in pairs[:-1])
    assert gs1.build(pairs).count(GS) == needed


def test_the_printed_text_parts_elements_by_a_blank() -> None:
    wire = gs1.build([("8004", "95212340417A"), ("91", "231")])
    assert gs1.hri(wire) == "(8004)95212340417A (91)231"


@given(st.lists(st.sampled_from([GS, "", GS + GS]), min_size=3, max_size=3))
def test_stray_separators_are_tolerated(stray: list[str]) -> None:
    front, middle, end = stray
    text = f"{front}01{GTIN}{middle}17271130{GS}{middle}10AB{end}"
    assert gs1.parse(text) == gs1.parse(f"01{GTIN}1727113010AB")


def test_fixed_length_is_not_predefined_length() -> None:
    assert GS in gs1.build([("01", GTIN), ("7003", "2711302359"), ("10", "A")])
    assert GS in gs1.build([("8003", "0" + with_mod10("952123400001") + "7"), ("90", "A")])


def test_serials_and_lots_are_exact() -> None:
    parsed = gs1.parse(f"01{GTIN}10007{GS}21aB")
    assert (parsed.value("10"), parsed.value("21"), parsed.value("99")) == ("007", "aB", None)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("0109521234000014", ("check-digit", "01", True)),
        (f"01{GTIN}17270230", ("date", "17", True)),
        (f"01{GTIN}7003271100", ("length", "7003", True)),
        (f"01{GTIN}70032711001200", ("date", "7003", True)),
        (f"01{GTIN}10" + "A" * 21, ("length", "10", True)),
        (f"01{GTIN}10", ("length", "10", True)),
        (f"01{GTIN}10A#B", ("characters", "10", True)),
        (f"01{GTIN}30A", ("characters", "30", True)),
        ("019521234", ("length", "01", True)),
        ("8003195212340000130", ("content", "8003", True)),
        (f"01{GTIN}10A{GS}10B", ("twice", "10", True)),
        (f"01{GTIN}88", ("unknown-ai", "", True)),
        ("1727113010A", ("pairing", "17", False)),
        ("8004ABC12", ("key-prefix", "8004", True)),
        (f"01{GTIN}235A" + GS + "21B", ("pairing", "21", False)),
        (f"01{GTIN}3103001000" + "3102000100", ("pairing", "3103", False)),
        (f"01{GTIN}240A" + GS + "250B", ("pairing", "250", False)),
        (f"01{GTIN}231ABC", ("retired-ai", "", True)),
        ("800495212341" + GS + "10A", ("pairing", "10", False)),
        (f"01{GTIN}02{GTIN}375", ("pairing", "02", False)),
        ("", ("empty", "", True)),
        (GS, ("empty", "", True)),
    ],
)
def test_a_broken_rule_is_named(text: str, fault: tuple[str, str, bool]) -> None:
    assert fault in codes(text)


def test_day_00_is_read_but_never_made() -> None:
    assert codes(f"01{GTIN}17271100") == []
    with pytest.raises(Malformed) as error:
        gs1.build([("01", GTIN), ("17", "271100")])
    assert error.value.fault.code == "date"


def test_the_same_lot_twice_is_no_contradiction() -> None:
    assert codes(f"01{GTIN}10A{GS}10A") == []


def test_an_unknown_identifier_loses_nothing_around_it() -> None:
    parsed = gs1.parse(f"01{GTIN}8888xyz{GS}10AB")
    assert [e.ai for e in parsed.elements] == ["01", "10"]
    assert parsed.unread == "8888xyz"
    parsed = gs1.parse(f"01{GTIN}19123456" + "10AB")
    assert [e.ai for e in parsed.elements] == ["01", "10"], (
        "19 has a pre-defined length, though nobody gave it out"
    )


def test_a_retired_lot_tells_its_own_length_and_loses_nothing_after_it() -> None:
    parsed = gs1.parse(f"01{GTIN}231ABC10L1")
    assert [e.ai for e in parsed.elements] == ["01", "10"] and parsed.unread == "231ABC"
    # 235 was given out anew, and ends with a separator.
    assert gs1.parse(f"01{GTIN}235AB{GS}10L1").value("235") == "AB"


def test_pairings_may_be_kept_by_any_one_of_several_groups() -> None:
    assert codes(f"01{GTIN}21S{GS}250B") == []
    assert codes("415" + with_mod10("952123400001") + "8020R") == []
    assert ("pairing", "415", False) in codes("415" + with_mod10("952123400001"))


@pytest.mark.parametrize(
    "pairs", [[], [("10", "A")], [("01", "1")], [("12345", "A")], [("8004", "1"), ("21", "A")]]
)
def test_what_breaks_a_rule_is_not_built(pairs: list[tuple[str, str]]) -> None:
    with pytest.raises(Malformed):
        gs1.build(pairs)


@given(st.text(max_size=200))
def test_no_text_makes_the_parser_fail(text: str) -> None:
    gs1.parse(text)


@given(st.text(CSET_82 + GS, max_size=120))
def test_nothing_of_a_text_is_lost(text: str) -> None:
    parsed = gs1.parse(text)
    taken = "".join(e.ai + e.value for e in parsed.elements)
    assert len(taken + parsed.unread.replace(GS, "")) == len(text.replace(GS, ""))
