"""The search for all readings, against one that tries every way to cut the text."""

from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from trays.identifiers import gs1, table
from trays.identifiers.ambiguity import MOST_READINGS, legal_readings
from trays.identifiers.checkdigits import with_mod10
from trays.identifiers.gs1 import GS, Element

GTIN = "01" + with_mod10("0952123400001")


def by_brute_force(text: str) -> set[tuple[Element, ...]]:
    """Every cut of what follows the GTIN into pieces, kept if they are elements that may stand together."""
    rest = text.removeprefix(GTIN)
    found = set()
    for number in range(len(rest)):
        for cuts in combinations(range(1, len(rest)), number):
            places = (0, *cuts, len(rest))
            pieces = [GTIN, *(rest[a:b] for a, b in zip(places, places[1:], strict=False))]
            known = [(d, p) for p in pieces if (d := table.find(p)) is not None]
            elements = tuple(Element(d.ai, p[len(d.ai) :]) for d, p in known)
            whole = len(known) == len(pieces) and len({e.ai for e in elements}) == len(elements)
            if whole and not any(gs1.element_fault(e) for e in elements) and not gs1.pairing_faults(elements):
                found.add(elements)
    return found


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(["10", "21", "17", "30", "A", "1", "271130", "91"]), min_size=1, max_size=6))
def test_all_readings_are_found_and_no_others(pieces: list[str]) -> None:
    text = GTIN + "".join(pieces)[:11]
    clever = legal_readings(text)
    assert len(set(clever)) == len(clever)
    slow = by_brute_force(text)
    if len(slow) < MOST_READINGS:
        assert set(clever) == slow
    else:
        assert set(clever) <= slow and len(clever) == MOST_READINGS


def test_a_separator_that_came_always_ends_its_element() -> None:
    assert legal_readings(f"{GTIN}10AB{GS}21C") == (
        (Element("01", GTIN[2:]), Element("10", "AB"), Element("21", "C")),
    )


def test_texts_longer_than_any_label_are_not_searched() -> None:
    assert legal_readings("91" + "A" * 200) == ()
    assert legal_readings("") == legal_readings(GS) == ()
