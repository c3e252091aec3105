"""Every AI of the table: what is legal goes onto the wire, into brackets, into an address, and comes back."""

from datetime import date
from random import Random
from urllib.parse import quote

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trays.identifiers import legal
from trays.identifiers import brackets, gs1, link, meaning, table
from trays.identifiers.gs1 import GS, Element

TODAY = date(2026, 11, 24)
EVERY = sorted(table.definitions())
KEYS = [ai for ai in EVERY if table.definitions()[ai].link_key is not None]


def test_each_identifier_alone_comes_back_from_wire_and_brackets() -> None:
    rng = Random(4)
    for ai in EVERY:
        for _ in range(6):
            element = legal.element(ai, rng)
            assert gs1.element_fault(element) is None, element
            assert gs1.parse(gs1.joined((element,))).elements == (element,)
            assert brackets.parse(gs1.to_brackets((element,)))[0].elements == (element,)


def test_each_identifier_with_its_company_is_built_without_a_fault() -> None:
    rng = Random(5)
    for ai in EVERY:
        elements = [legal.element(one, rng) for one in legal.companions(ai)]
        wire = gs1.build((e.ai, e.value) for e in elements)
        parsed = gs1.parse(wire)
        assert (parsed.elements, parsed.faults) == (tuple(elements), ()), ai


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(EVERY), st.randoms(use_true_random=False))
def test_any_legal_list_comes_back_from_the_symbol(ai: str, rng: Random) -> None:
    elements = tuple(legal.element(one, rng) for one in legal.beside(ai, rng))
    reading = meaning.read("]d2" + gs1.joined(elements), today=TODAY, proven=True)
    assert [(p.key, p.value) for p in reading.parts] == [(e.ai, e.value) for e in elements]
    assert not reading.stopped and reading.certain == reading.parts
    assert {f.code for f in reading.broken} <= {"pairing", "two-dates"}


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(EVERY), st.randoms(use_true_random=False))
def test_one_separator_too_many_anywhere_between_elements_changes_nothing(ai: str, rng: Random) -> None:
    elements = [legal.element(one, rng) for one in legal.beside(ai, rng)]
    assert gs1.parse(GS.join(e.ai + e.value for e in elements)) == gs1.parse(gs1.joined(elements))


@pytest.mark.parametrize("key", KEYS)
def test_each_key_comes_back_from_an_address_with_its_qualifiers(key: str) -> None:
    rng = Random(6)
    for order in table.definitions()[key].link_key or ((),):
        elements = tuple(legal.element(ai, rng) for ai in (key, *order))
        path = "/".join(f"{e.ai}/{quote(e.value, safe='')}" for e in elements)
        found = link.parse(f"https://shelf.example/a/b/{path}?linkType=all#top")
        assert found is not None
        assert found[0].elements == elements
        assert not [f for f in found[0].faults if f.stops]


def test_each_attribute_comes_back_from_the_query_of_an_address() -> None:
    rng = Random(7)
    for ai in EVERY:
        element = legal.element(ai, rng)
        found = link.parse(f"https://x.example/01/09521234000013?{ai}={quote(element.value, safe='')}")
        assert found is not None
        stops = {f.code for f in found[0].faults if f.stops}
        if ai == "01":
            assert stops <= {"twice"}
        elif table.definitions()[ai].attribute:
            assert element in found[0].elements and not stops
        else:
            assert "link" in stops


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(EVERY), st.randoms(use_true_random=False), st.data())
def test_data_of_a_wrong_length_is_refused(ai: str, rng: Random, data: st.DataObject) -> None:
    element = legal.element(ai, rng)
    longer = Element(ai, element.value + "0" * (table.definitions()[ai].most - len(element.value) + 1))
    assert gs1.element_fault(longer) is not None
    assert gs1.element_fault(Element(ai, "")) is not None


def test_a_changed_digit_is_found_wherever_a_check_digit_stands() -> None:
    rng = Random(8)
    for ai in EVERY:
        first = table.definitions()[ai].components
        if "csum" not in {name for c in first for name in c.checks}:
            continue
        value = legal.element(ai, rng).value
        place = 1 if ai == "8003" else 0
        changed = value[:place] + str((int(value[place]) + 1) % 10) + value[place + 1 :]
        fault = gs1.element_fault(Element(ai, changed))
        assert fault is not None and (fault.code, fault.stops) == ("check-digit", True), ai
