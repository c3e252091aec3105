"""No input makes the reading fail, and none takes long."""

from datetime import date
from random import Random
from time import process_time

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.trays.identifiers import legal
from trays.identifiers import gs1, meaning, table
from trays.identifiers.checkdigits import CSET_82, HIBC_SET, mod43
from trays.identifiers.gs1 import GS
from trays.identifiers.meaning import Kind, Reading

TODAY = date(2026, 11, 24)
FRONTS = [
    "",
    "]d2",
    "]C1",
    "]Q3",
    "]J1",
    "]e0",
    "]E0",
    "]E4",
    "]d1",
    "]C0",
    "]Q1",
    "+",
    "(",
    "=",
    "https://x.y/01/",
]
EVERY = sorted(table.definitions())


def answered(raw: bytes | str, separators: tuple[str, ...] = (), proven: bool = False) -> Reading:
    """The answer, with what must hold for each."""
    reading = meaning.read(raw, today=TODAY, separators=separators, proven=proven, gtin_wanted=proven)
    assert reading.sentence and reading.sentence[-1] in ".”"
    assert reading.raw == (raw if isinstance(raw, bytes) else raw.encode("utf-8", "surrogatepass"))
    assert all(part in reading.parts for part in reading.certain)
    for number, choice in enumerate(reading.choices):
        assert all(part in choice for part in reading.parts)
        assert meaning.choose(reading, number, today=TODAY).choices == ()
    if reading.usable:
        assert not reading.choices and not any(f.stops for f in reading.broken)
    return reading


@pytest.mark.parametrize("raw", ["", b"", "\r\n", "   ", GS * 5, "]d2", GS + " ", "\x02\x03", "]C1\r"])
def test_nothing_is_said_to_be_nothing(raw: bytes | str) -> None:
    assert answered(raw).kind is Kind.EMPTY


@pytest.mark.parametrize(
    "raw", ["\0", "01\0", b"\x00\x01\x02", "]d2\x1e\x04", "\x7f", "a\x0bb", "\u202e01", "\ud800", "]d201\x00"]
)
def test_control_characters_are_refused_in_words(raw: bytes | str) -> None:
    reading = answered(raw)
    assert reading.kind is Kind.UNREADABLE and [f.code for f in reading.broken] == ["characters"]


@pytest.mark.parametrize(
    "raw",
    ["1" * 1_000_000, b"\x00" * 1_000_000, "(01)" * 250_000, "+" * 5000, "\ud800" * 400_000, GS * 1_000_000],
)
def test_a_flood_is_refused_in_words_at_once(raw: bytes | str) -> None:
    begun = process_time()
    reading = answered(raw)
    assert process_time() - begun < 1, "the size of a flood may cost a copy and no more"
    assert [f.code for f in reading.broken] == ["length"]
    assert len(reading.sentence) < 200


# Texts of the greatest length that is looked at, each made for the dearest path through one of the readers.
DEAR = {
    "repeats": "]d2" + "91" * 2000,
    "digits": "1" * 4096,
    "noughts": "]d2" + "00" * 2000,
    "elements": "]d2" + ("10A" + GS) * 1000,
    "many of all": "]d2" + GS.join(EVERY)[:4000],
    "brackets": "(01)" * 1000,
    "escapes": "(10)" + "\\(" * 2000,
    "unknown": "]d2" + ("88" + GS) * 1300,
    "hibc": "+" + "/" * 4000,
    "hibc parts": "+A123B1" + "/S1" * 1300,
    "tissue": "=)" * 2000,
    "tissue signs": "=" * 4000,
    "path": "https://x.y" + "/01/1" * 800,
    "query": "https://x.y/01/09521234000013?" + "10=A&" * 800,
    "percent": "https://x.y/01/09521234000013/10/" + "%41" * 1300,
    "stand-ins": "]d2" + "01<GS>" * 650,
    "alt codes": "]d2" + "10029" * 60,
    "almost stand-ins": "]d2" + "<0x1" * 1000,
    "french": "à&" * 2000,
    "not ascii": "ß" * 4000,
    "envelope": "[)>" + "\x1e" * 4000,
}  # fmt: skip


@pytest.mark.parametrize("name", DEAR)
def test_the_dearest_texts_are_answered_soon(name: str) -> None:
    begun = process_time()
    reading = answered(DEAR[name])
    assert process_time() - begun < 2
    assert len(reading.sentence) < 3000


@pytest.mark.parametrize(
    "text", ["91" * 80, "10" * 80, "(91)" * 1000, "2110" * 40, ("21A10B240C" * 20)[:160], "2110240" * 42]
)
def test_the_worst_search_still_ends(text: str) -> None:
    answered("]d2" + text)


@settings(max_examples=400)
@given(st.one_of(st.binary(max_size=80), st.text(max_size=80)), st.booleans())
@example(b"\xff\xfe", False)
@example("]", False)
@example("*+", False)
@example("]d2(", False)
@example("+a", True)
@example("http://[", False)
def test_any_input_gets_an_answer(raw: bytes | str, proven: bool) -> None:
    answered(raw, separators=("", "#"), proven=proven)


@settings(max_examples=300)
@given(st.text(st.characters(), max_size=40), st.sampled_from(FRONTS))
def test_any_characters_behind_any_front_get_an_answer(text: str, front: str) -> None:
    answered(front + text)


@settings(max_examples=300)
@given(st.text(CSET_82 + GS, max_size=60), st.sampled_from(FRONTS))
def test_any_text_of_the_gs1_set_gets_an_answer(text: str, front: str) -> None:
    answered(front + text)


@settings(max_examples=300)
@given(
    st.sampled_from(EVERY), st.randoms(use_true_random=False), st.sampled_from(FRONTS),
    st.lists(st.tuples(st.floats(0, 1), st.characters()), max_size=3), st.booleans(),
)  # fmt: skip
def test_legal_codes_with_changed_lost_and_added_characters_get_an_answer(
    ai: str, rng: Random, front: str, changes: list[tuple[float, str]], lost: bool
) -> None:
    text = gs1.joined(legal.element(one, rng) for one in legal.beside(ai, rng))
    text = text.replace(GS, "") if lost else text
    for where, sign in changes:
        place = int(where * len(text))
        text = text[:place] + rng.choice(["", sign, text[place : place + 1] * 2]) + text[place + 1 :]
    answered(front + text, proven=rng.random() < 0.3)


@settings(max_examples=200)
@given(st.text(HIBC_SET, max_size=40), st.booleans())
def test_any_hibc_like_text_gets_an_answer(body: str, right: bool) -> None:
    answered("+" + body + (mod43("+" + body) if right else "Q"))


@settings(max_examples=200)
@given(st.sampled_from(["01", "8004", "x", "gtin"]), st.text(max_size=30), st.text(max_size=30))
def test_any_address_gets_an_answer(word: str, path: str, query: str) -> None:
    answered(f"https://x.example/{word}/{path}?{query}")


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(EVERY), st.randoms(use_true_random=False))
def test_without_separators_nothing_false_is_taken(ai: str, rng: Random) -> None:
    """What is taken without asking is what was meant, or says that it was assumed, or was stopped."""
    elements = [legal.element(one, rng) for one in legal.companions(ai)]
    wire = gs1.joined(elements)
    reading = answered("]d2" + wire.replace(GS, ""))
    meant = [(e.ai, e.value) for e in elements]
    if reading.usable and [(p.key, p.value) for p in reading.parts] != meant:
        assert [n.code for n in reading.assumed if n.code == "separator"]
    if reading.choices and len(reading.choices) < 12:
        assert meant in [[(p.key, p.value) for p in c] for c in reading.choices]
