"""What a scanner did to the test symbol: each thing they do is named, with the setting that mends it."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.scanner import CAPS_LOCK, GERMAN
from trays.identifiers import gs1
from trays.identifiers.checkdigits import holds_mod10
from trays.identifiers.gs1 import GS
from trays.scanners import keys
from trays.scanners.probe import TEST_GTIN, TEST_PAYLOAD, Known, Line, Probe, Told, Verdict, probe

TOLD = Told(end="Enter", longest_gap_ms=12, positions=TEST_PAYLOAD)
KNOWN = Known()


def found(text: str, told: Told = TOLD, known: Known = KNOWN) -> Probe:
    made = probe(text.encode(), told, known)
    assert made is not None
    return made


def line(made: Probe, code: str) -> Line:
    (one,) = (one for one in made.lines if one.code == code)
    return one


def setting(made: Probe, code: str) -> tuple[str, str] | None:
    one = line(made, code).setting
    return (one.name, one.value) if one else None


def as_typed(text: str, computer: dict[str, str]) -> str:
    return "".join(computer.get(letter, letter) for letter in text)


def test_the_test_symbol_is_a_sound_gs1_code_that_needs_its_separator() -> None:
    parsed = gs1.parse(TEST_PAYLOAD)
    assert parsed.faults == ()
    assert [element.ai for element in parsed.elements] == ["01", "10", "21"]
    assert TEST_PAYLOAD.count(GS) == 1 and holds_mod10(TEST_GTIN)
    # Letters and signs that move on other keyboards are in it, in both cases.
    assert set("yZaQmW-/_+:") <= set(TEST_PAYLOAD)


@pytest.mark.parametrize("before", ["]d2", "]C1"])
def test_a_scanner_that_does_nothing_to_it_may_stay_as_it_is(before: str) -> None:
    made = found(before + TEST_PAYLOAD)
    assert made.changes == ()
    assert {one.code for one in made.lines} == {
        "separator-right", "letters-right", "identifier-right", "end-right", "pace-right",
    }  # fmt: skip


def test_a_lost_separator_cannot_be_mended_here_and_is_said_so() -> None:
    made = found(TEST_PAYLOAD.replace(GS, ""))
    assert [one.code for one in made.changes] == ["separator-lost"]
    assert setting(made, "separator-lost") is None
    assert "ASCII 29" in line(made, "separator-lost").step


@pytest.mark.parametrize("stand_in", ["#", "~", "|", "{FNC}"])
def test_a_replaced_separator_becomes_a_setting_and_then_is_known(stand_in: str) -> None:
    text = TEST_PAYLOAD.replace(GS, stand_in)
    assert setting(found(text), "separator-replaced") == ("separator", stand_in)
    assert found(text, known=Known(separator=stand_in)).changes == ()


@pytest.mark.parametrize("typed", ["<GS>", "{GS}"])
def test_a_separator_sent_as_its_name_is_right(typed: str) -> None:
    assert found(TEST_PAYLOAD.replace(GS, typed)).changes == ()


def test_letters_for_a_separator_are_no_setting() -> None:
    made = found(TEST_PAYLOAD.replace(GS, "FNC1"))
    assert setting(made, "separator-replaced") is None and made.changes


def test_what_can_be_relied_on_is_offered_once() -> None:
    assert setting(found(TEST_PAYLOAD), "separator-right") == ("sends_separators", "on")
    assert setting(found(TEST_PAYLOAD, known=Known(sends_separators=True)), "separator-right") is None


def test_caps_lock_is_told_from_another_language() -> None:
    swapped = as_typed(TEST_PAYLOAD, CAPS_LOCK)
    assert [one.code for one in found(swapped).changes] == ["caps-lock"]
    german = as_typed(TEST_PAYLOAD, GERMAN)
    made = found(german)
    assert [one.code for one in made.changes] == ["layout"]
    assert setting(made, "layout") == ("by_position", "on")
    assert (
        line(found(TEST_PAYLOAD, replace(TOLD, caps=True)), "caps-lock-allowed-for").verdict is Verdict.NOTE
    )


def test_both_at_once_with_a_stand_in_are_still_told_apart() -> None:
    text = as_typed(TEST_PAYLOAD.replace(GS, "#"), GERMAN)
    made = found(text, replace(TOLD, positions=TEST_PAYLOAD.replace(GS, "#")))
    assert {one.code for one in made.changes} == {"layout", "separator-replaced"}
    assert setting(made, "separator-replaced") == ("separator", "#")


@pytest.mark.parametrize(
    ("before", "code"),
    [
        ("", "identifier-none"),
        ("]d1", "identifier-plain"),
        ("]C0", "identifier-plain"),
        ("]E0", "identifier-other"),
    ],
)
def test_what_the_scanner_says_of_the_symbol_is_judged(before: str, code: str) -> None:
    assert code in {one.code for one in found(before + TEST_PAYLOAD).lines}


@pytest.mark.parametrize("identifier", ["", "]d2"])
def test_signs_before_and_after_become_settings_and_then_are_known(identifier: str) -> None:
    text = f"~{identifier}{TEST_PAYLOAD}^"
    made = found(text)
    assert setting(made, "prefix-kept") == ("prefix", "~")
    assert setting(made, "suffix-kept") == ("suffix", "^")
    assert found(text, known=Known(prefix="~", suffix="^")).changes == ()
    assert setting(found(f"AB{TEST_PAYLOAD}"), "prefix-kept") is None


def test_a_missing_end_and_a_slow_pace_become_settings() -> None:
    made = found(TEST_PAYLOAD, replace(TOLD, end="none", longest_gap_ms=130))
    assert setting(made, "end-missing") == ("suffix", keys.NO_SUFFIX)
    assert setting(made, "pace-slow") == ("slower", "4")
    known = Known(suffix=keys.NO_SUFFIX, slower=4)
    assert found(TEST_PAYLOAD, replace(TOLD, end="none", longest_gap_ms=130), known).changes == ()
    assert setting(found(TEST_PAYLOAD, replace(TOLD, longest_gap_ms=900)), "pace-slow") is None


def test_of_a_camera_only_the_code_is_judged() -> None:
    made = found(f"]d2{TEST_PAYLOAD}", Told(by_keys=False))
    assert {one.code for one in made.lines} == {"separator-right", "letters-right", "identifier-right"}


@pytest.mark.parametrize("text", ["", "0109521234000013", TEST_PAYLOAD[:20], "]d2", TEST_PAYLOAD[::-1]])
def test_another_code_is_none_of_its_business(text: str) -> None:
    assert probe(text.encode(), Told(), KNOWN) is None


@given(st.binary(max_size=200), st.text(max_size=60))
def test_nothing_that_arrives_breaks_it(scan: bytes, positions: str) -> None:
    for raw in (scan, scan + TEST_PAYLOAD.encode() + scan):
        probe(raw, Told(positions=positions), KNOWN)


@given(st.text(max_size=12))
def test_what_fits_as_a_setting_never_swallows_part_of_a_code(text: str) -> None:
    scan = TEST_PAYLOAD.encode()
    prefix, suffix = (text if keys.fits_prefix(text) else ""), (text if keys.fits_suffix(text) else "")
    assert keys.without_marks(scan, prefix=prefix, suffix=suffix) == scan
    if keys.fits_separator(text) and text:
        assert not text[0].isalnum() and len(text) <= keys.MOST_SEPARATOR
