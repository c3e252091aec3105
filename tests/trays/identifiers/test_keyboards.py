"""Codes that came through another keyboard: turned back where a check digit proves it, and always told."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.identifiers import gs1, keyboards, meaning
from trays.identifiers.checkdigits import check_pair, mod43
from trays.identifiers.keyboards import Twist
from trays.identifiers.meaning import Kind, Reading

TODAY = date(2026, 11, 24)
GTIN = "09521234000013"
WIRE = gs1.build([("01", GTIN), ("17", "271130"), ("10", "yZ-a/Q"), ("21", "Mw_7")])
GERMAN, FRENCH = keyboards.LAYOUTS


def read(raw: str) -> Reading:
    return meaning.read(raw, today=TODAY, proven=True)


def through(twist: Twist, text: str) -> str:
    """The text as it arrives."""
    forth = {ord(sent): chr(came) for came, sent in twist.back.items()}
    return text.translate(forth)


def told(reading: Reading) -> list[str]:
    return [n.code for n in reading.assumed]


@pytest.mark.parametrize("twist", [GERMAN, FRENCH, keyboards.CAPS_LOCK])
@pytest.mark.parametrize("front", ["]d2", "]C1", "]Q3", "]J1"])
def test_a_whole_scan_is_turned_back_and_told(twist: Twist, front: str) -> None:
    reading = read(through(twist, front + WIRE))
    assert (reading.lot, reading.serial, reading.gtin) == ("yZ-a/Q", "Mw_7", GTIN)
    assert reading.usable and told(reading) == [twist.code]
    # What did not change on the way is certain, what was turned back is not.
    assert "10" not in [p.key for p in reading.certain]


def test_digits_of_a_french_keyboard_need_no_symbology_identifier() -> None:
    reading = read(through(FRENCH, WIRE))
    assert (reading.gtin, reading.usable, told(reading)) == (GTIN, True, ["layout"])
    assert "French" in reading.assumed[0].sentence


def test_the_raw_scan_stays_as_it_came() -> None:
    raw = through(GERMAN, "]d2" + WIRE)
    assert read(raw).raw == raw.encode()


def test_a_wrong_check_digit_is_not_explained_away() -> None:
    reading = read(through(FRENCH, "]d2" + WIRE.replace(GTIN, "09521234000014")))
    assert (reading.kind, reading.gtin, reading.assumed) == (Kind.TEXT, None, ())


def test_where_only_the_signs_show_it_the_person_is_asked() -> None:
    reading = read(f"01{GTIN}21AYß1")
    assert not reading.usable
    assert [[(p.key, p.value) for p in c] for c in reading.choices] == [[("01", GTIN), ("21", "AZ-1")]]
    assert "German" in reading.sentence
    assert meaning.choose(reading, 0, today=TODAY).serial == "AZ-1"


def test_letters_that_changed_places_without_a_check_cannot_be_seen() -> None:
    assert read(f"01{GTIN}21AYB").serial == "AYB"


def test_caps_lock_shows_in_check_characters_of_letters() -> None:
    body = "9521Ab"
    reading = read("8013" + (body + check_pair(body)).swapcase())
    assert (reading.value("8013"), told(reading)) == (body + check_pair(body), ["capslock"])


@pytest.mark.parametrize(("came", "was"), [("]e0", "]E0"), ("]E0", "]e0")])
def test_retail_symbols_and_databar_are_told_apart_by_what_they_hold(came: str, was: str) -> None:
    data = "9521234000013" if was == "]E0" else "01" + GTIN
    reading = read(came + data)
    assert (reading.symbology, reading.gtin, told(reading)) == (was, GTIN, ["capslock"])


# HIBC


def test_small_letters_of_an_hibc_label_are_taken_for_capitals() -> None:
    reading = read("+a123bjc5d6e71g")
    assert (reading.kind, reading.value("device"), told(reading)) == (Kind.HIBC, "A123BJC5D6E71", ["case"])
    assert not read("+a123bjc5d6e71h").usable


def test_an_hibc_label_through_a_german_keyboard_is_turned_back() -> None:
    body = "+A123YZ51/$$3271130L-1"
    reading = read(through(GERMAN, body + mod43(body)))
    assert (reading.kind, reading.value("device")) == (Kind.HIBC, "A123YZ51")
    assert told(reading) == ["layout"]


def test_an_hibc_label_whose_letters_changed_places_is_never_close_enough() -> None:
    body = "+A123YA51"
    reading = read(body.replace("Y", "Z") + mod43(body))
    assert (reading.kind, reading.usable) == (Kind.UNREADABLE, False)
    assert "German keyboard" in reading.sentence


@given(st.text(max_size=60), st.sampled_from([GERMAN, FRENCH, keyboards.CAPS_LOCK]))
def test_turning_back_undoes_what_the_keyboard_did(text: str, twist: Twist) -> None:
    sent = "".join(c for c in text if c in set(twist.back.values()))
    assert twist.undone(through(twist, sent)) == sent


@given(st.text("abcdefghijklmnopqrstuvwxyzäöüß éè-./1234", min_size=8, max_size=40))
def test_what_people_type_is_left_alone(text: str) -> None:
    reading = read("K " + text)
    assert reading.kind is Kind.TEXT and reading.text == ("K " + text).strip()
    assert {n.code for n in reading.assumed} <= {"blanks"}
