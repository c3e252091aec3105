"""Sentences: English by themselves, translatable by whoever has a translator."""

import re
from datetime import date
from pathlib import Path

import trays.identifiers
from trays.identifiers.meaning import read
from trays.identifiers.told import shortened, words

TODAY = date(2026, 11, 24)
ROOM = Path(trays.identifiers.__file__).parent


def test_gaps_are_filled_also_by_other_words() -> None:
    said = words("%(what)s of %(count)s", what=words("lot"), count=3)
    assert said.say() == str(said) == "lot of 3"
    assert (
        said.say({"%(what)s of %(count)s": "%(count)s × %(what)s", "lot": "Charge"}.__getitem__)
        == "3 × Charge"
    )


def test_a_message_without_gaps_may_hold_a_percent_sign() -> None:
    assert words("100 % sure").say() == "100 % sure"


def test_what_cannot_be_printed_is_shown_as_a_box_and_long_text_is_cut() -> None:
    assert shortened("a\x1db\ud800") == "a□b□"
    assert shortened("x" * 41) == "x" * 39 + "…"


def test_an_answer_can_be_said_in_another_language_down_to_its_words() -> None:
    german = {
        "Read as %(kind)s: %(parts)s.": "Gelesen als %(kind)s: %(parts)s.",
        "trade item": "Artikel",
        "use by %(day)s": "verwendbar bis %(day)s",
    }
    reading = read("]d2010952123400001317271130", today=TODAY)
    assert reading.say(lambda text: german.get(text, text)) == (
        "Gelesen als Artikel: GTIN 09521234000013, verwendbar bis 2027-11-30."
    )
    assert reading.sentence.startswith("Read as trade item")


def test_every_sentence_of_the_room_is_marked_for_the_translators() -> None:
    """A message handed to words() stands in gettext_noop(), or only joins other words."""
    bare = re.compile(r'words\(\s*"((?:[^"\\]|\\.)*)"')
    for file in sorted(ROOM.glob("*.py")):
        for message in bare.findall(file.read_text(encoding="utf-8")):
            left = re.sub(r"%\(\w+\)s", "", message)
            assert not re.search(r"[a-z]{2}", left) or message == "CapsLock", f"{file.name}: {message}"
