"""The element string parser beside biip, an independent one. Where they differ is listed by name."""

from datetime import date
from random import Random

import biip
import pytest

from tests.trays.identifiers import legal
from trays.identifiers import gs1, table
from trays.identifiers.gs1 import GS
from trays.identifiers.meaning import read

GTIN = "0109521234000013"
TODAY = date(2026, 11, 24)

# What is legal by the dictionary and yet not read by biip 5.2.
NOT_READ_THERE = {"7007": "a period of two dates"}
# Codes of faults that stop here while biip reads on.
NOT_JUDGED_THERE = {
    "characters": "letters in a period of two dates (7007)",
    "check-digit": "told of the element, but its message is there all the same",
    "content": "winding, yes or no, latitude and other inner rules",
    "country": "ISO 3166",
    "currency": "ISO 4217",
    "date": "dates in a period of two (7007)",
    "key-prefix": "a key that does not start with a company prefix",
    "length": "data beyond the greatest length is read on as the next element, without a separator",
    "percent": "percent codes",
    "piece": "piece and total",
    "twice": "two different values of one AI",
    "unknown-ai": "as with the length: what is read on may hold an AI that is known",
}


def theirs(wire: str) -> list[tuple[str, str]] | None:
    """biip's elements, or none where it reads nothing."""
    try:
        message = biip.parse("]d2" + wire).gs1_message
    except biip.ParseError:
        return None
    return None if message is None else [(one.ai.ai, one.value) for one in message.element_strings]


def test_both_read_the_same_from_every_identifier() -> None:
    rng = Random(11)
    differ = set()
    for ai in table.definitions():
        for _ in range(3):
            element = legal.element(ai, rng)
            if theirs(gs1.joined((element,))) != [(ai, element.value)]:
                differ.add(ai)
    assert differ == set(NOT_READ_THERE)


def test_both_read_the_same_from_lists_of_several() -> None:
    rng = Random(12)
    known = sorted(set(table.definitions()) - set(NOT_READ_THERE))
    for _ in range(150):
        ais = [ai for ai in legal.beside(rng.choice(known), rng) if ai in known]
        elements = [legal.element(ai, rng) for ai in ais]
        assert theirs(gs1.joined(elements)) == [(e.ai, e.value) for e in elements]


def test_what_one_reads_and_the_other_does_not_is_for_a_named_reason() -> None:
    rng = Random(13)
    known = sorted(table.definitions())
    seen = set()
    for _ in range(900):
        elements = [legal.element(ai, rng) for ai in legal.beside(rng.choice(known), rng, 2)]
        wire = list(gs1.joined(elements))
        wire[rng.randrange(len(wire))] = rng.choice("0123456789AZaz#%/-")
        text = "".join(wire)
        parsed, other = gs1.parse(text), theirs(text)
        stops = {f.code for f in parsed.faults if f.stops}
        if other is None:
            continue
        ours = [(e.ai, e.value) for e in parsed.elements]
        if stops:
            seen |= stops
            assert stops <= set(NOT_JUDGED_THERE), (text, stops)
        else:
            assert ours == other, text
    assert "check-digit" in seen


def test_known_a_wrong_check_digit_is_a_message_there_and_stops_here() -> None:
    wire = "0109521234000014"
    found = biip.parse("]d2" + wire).gs1_message
    assert found is not None and found.element_strings[0].gtin_error
    assert not read("]d2" + wire, today=TODAY).usable


def test_known_a_plain_symbol_is_read_as_gs1_there_and_offered_here() -> None:
    assert biip.parse("]d1" + GTIN).gs1_message is not None
    assert not read("]d1" + GTIN, today=TODAY).usable


def test_known_two_lots_are_taken_there_and_stop_here() -> None:
    wire = f"{GTIN}10A{GS}10B"
    assert theirs(wire) is not None
    assert not read("]d2" + wire, today=TODAY).usable


def test_known_an_unknown_identifier_loses_all_there_and_nothing_here() -> None:
    wire = f"{GTIN}10A{GS}8888x"
    assert theirs(wire) is None
    assert read("]d2" + wire, today=TODAY).lot == "A"


def test_known_a_bare_bracket_is_an_exception_there() -> None:
    with pytest.raises(IndexError):
        biip.parse("]")
    assert read("]", today=TODAY).sentence
