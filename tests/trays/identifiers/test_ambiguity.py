"""The search for all readings, against one that tries every way to cut the text."""

from itertools import combinations
from time import process_time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trays.identifiers import gs1, table
from trays.identifiers.ambiguity import MOST_READINGS, Readings, legal_readings
from trays.identifiers.checkdigits import with_mod10
from trays.identifiers.gs1 import GS, Element

GTIN = "01" + with_mod10("0952123400001")


def by_brute_force(text: str) -> set[tuple[Element, ...]]:
    """Every cut of what follows the GTIN into pieces, kept if they are elements that may stand together.

    Those that lack a companion only if there are no others.
    """
    rest = text.removeprefix(GTIN)
    found: set[tuple[Element, ...]] = set()
    lacking: set[tuple[Element, ...]] = set()
    for number in range(len(rest)):
        for cuts in combinations(range(1, len(rest)), number):
            places = (0, *cuts, len(rest))
            pieces = [GTIN, *(rest[a:b] for a, b in zip(places, places[1:], strict=False))]
            known = [(d, p) for p in pieces if (d := table.find(p)) is not None]
            elements = tuple(Element(d.ai, p[len(d.ai) :]) for d, p in known)
            whole = len(known) == len(pieces) and len({e.ai for e in elements}) == len(elements)
            if whole and not any(gs1.element_fault(e) for e in elements):
                faults = [f.sentence for f in gs1.pairing_faults(elements)]
                if not any("may not stand beside" in f for f in faults):
                    (lacking if faults else found).add(elements)
    return found or lacking


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(["10", "21", "17", "30", "A", "1", "271130", "91"]), min_size=1, max_size=6))
def test_all_readings_are_found_and_no_others(pieces: list[str]) -> None:
    text = GTIN + "".join(pieces)[:11]
    clever = legal_readings(text).found
    assert len(set(clever)) == len(clever)
    slow = by_brute_force(text)
    if len(slow) <= MOST_READINGS:
        assert set(clever) == slow and legal_readings(text).complete
    else:
        assert set(clever) <= slow and len(clever) == MOST_READINGS and not legal_readings(text).complete


def test_a_separator_that_came_always_ends_its_element() -> None:
    assert legal_readings(f"{GTIN}10AB{GS}21C") == Readings(
        ((Element("01", GTIN[2:]), Element("10", "AB"), Element("21", "C")),)
    )


def test_texts_longer_than_any_label_are_not_searched_and_that_is_said() -> None:
    assert legal_readings("91" + "A" * 400) == Readings((), complete=False)
    assert legal_readings("") == legal_readings(GS) == Readings(())


def test_a_reading_that_lacks_a_companion_counts_only_where_none_is_whole() -> None:
    # (37) counts what a logistic unit holds: beside a GTIN it is no count.
    assert len(legal_readings(f"{GTIN}10AB375").found) == 1
    # (403) is the route of a logistic unit, which is not named here.
    assert len(legal_readings(f"{GTIN}10AB403X").found) == 1
    apart = legal_readings("17271130" + "10ABC21D").found
    assert {tuple(e.ai for e in r) for r in apart} == {("17", "10"), ("17", "10", "21")}


def test_common_identifiers_are_offered_first() -> None:
    first, second, *rest = legal_readings(f"{GTIN}10ABC17271130").found
    assert [e.ai for e in first] == ["01", "10"] and [e.ai for e in second] == ["01", "10", "17"]
    assert {e.ai for r in rest for e in r} == {"01", "10", "711"}


def test_the_digits_of_the_alt_key_may_be_a_separator_or_data() -> None:
    with_codes = legal_readings(f"{GTIN}10ABC02921D", alt_codes=True).found
    lots = {e.value for r in with_codes for e in r if e.ai == "10"}
    assert {"ABC02921D", "ABC029", "ABC"} <= lots
    assert "ABC" not in {e.value for r in legal_readings(f"{GTIN}10ABC02921D").found for e in r}


@pytest.mark.parametrize("piece", ["91", "10", "2110", "37", "7008", "21A10B240C", "90919293949596979899"])
def test_the_worst_texts_are_given_up_in_bounded_time(piece: str) -> None:
    text = (piece * 150)[:300]
    begun = process_time()
    found = legal_readings(text, alt_codes=True)
    assert process_time() - begun < 2, "a search without bounds would take for ever"
    assert len(found.found) <= MOST_READINGS
