"""Text that is too long, or strange."""

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trays.symbols import lettering
from trays.symbols.lettering import (
    FONT_FOLDER,
    MISSING,
    DoesNotFit,
    Face,
    clean,
    cut_end,
    cut_middle,
    doubtful_letters,
    exact,
    fit,
    name_list,
    width,
    wrap,
)

NAMES = st.text(st.characters(codec="latin-1", exclude_categories=["Cc", "Cf"]), min_size=1, max_size=90)
LONG = (
    "Stiel, zementfrei, hochpoliert, lateralisiert, mit Zentrierhülse für den engen Markraum, Größe 7 links"
)


@pytest.mark.parametrize("face", list(Face))
@pytest.mark.parametrize("text", ["Zażółć gęślą jaźń", "Größe Übergröße ß", "Élévateur œuf", "≥ ≤ ✓ × Ø □ …"])
def test_letters_of_our_neighbours_are_in_every_face(face: Face, text: str) -> None:
    assert clean(text, face) == text
    assert doubtful_letters(text, face) == ()


def test_parted_accents_are_joined() -> None:
    assert clean(unicodedata.normalize("NFD", "gęślą Größe")) == "gęślą Größe"


def test_a_letter_that_is_missing_prints_as_a_box_and_is_named() -> None:
    assert clean("size 漢 5") == f"size {MISSING} 5"
    assert doubtful_letters("漢 5 漢 🦴") == ("漢", "🦴")
    assert clean("a\0b\tc\nd\u202e") == f"a{MISSING}b c d{MISSING}"


def test_scripts_that_run_right_to_left_are_named() -> None:
    assert doubtful_letters("מגש 3") == ("מ", "ג", "ש")


def test_what_fits_is_left_alone() -> None:
    assert fit("Femur", 40, 10).lines == ("Femur",)
    assert not fit("Femur", 40, 10).cut


def test_the_order_of_escape_is_smaller_then_second_line_then_cut() -> None:
    whole = width(LONG, 10)
    smaller = fit(LONG, whole * 0.93, 10, least=9)
    assert (smaller.lines, smaller.size) == ((LONG,), 9)
    two = fit(LONG, whole * 0.6, 10, least=9, lines=2)
    assert len(two.lines) == 2 and not two.cut and " ".join(two.lines) == LONG
    cut = fit(LONG, whole * 0.3, 10, least=9, lines=2)
    assert cut.cut and cut.size == 9
    assert cut.lines[1].endswith("Größe 7 links"), "size and side stand at the end"
    assert "…" in cut.lines[1]


@settings(max_examples=200, deadline=None)
@given(NAMES, st.floats(6, 90), st.integers(1, 3), st.sampled_from(list(Face)))
def test_whatever_the_name_no_line_is_wider_than_its_room(
    name: str, room: float, lines: int, face: Face
) -> None:
    made = fit(name, room, 11, least=8, lines=lines, face=face)
    assert 1 <= len(made.lines) <= lines and 8 <= made.size <= 11
    assert all(width(line, made.size, face) <= room + 1e-6 for line in made.lines)
    if not made.cut:
        shown = "".join(made.lines).replace(" ", "")
        assert shown == clean(name, face).replace(" ", "")


@settings(max_examples=100, deadline=None)
@given(NAMES, st.floats(8, 60))
def test_a_cut_keeps_start_and_end_of_the_name(name: str, room: float) -> None:
    shown = clean(name).strip()
    made = cut_middle(shown, room, 9)
    assert width(made, 9) <= room
    if made != shown:
        start, _, end = made.partition("…")
        assert shown.startswith(start) and shown.endswith(end)


def test_fourteen_letters_of_the_end_are_kept() -> None:
    made = cut_middle(LONG, 60, 9)
    assert made.partition("…")[2] == LONG[-14:].lstrip()


def test_sentences_are_cut_at_their_end() -> None:
    made = cut_end(LONG, 50, 9)
    assert made.endswith("…") and LONG.startswith(made[:-1]) and width(made, 9) <= 50
    assert cut_end("short", 50, 9) == "short"


def test_wrapping_loses_no_word_and_breaks_a_word_that_is_wider_than_the_line() -> None:
    assert " ".join(wrap(LONG, 40, 9)) == LONG
    assert "".join(wrap("Donaudampfschifffahrtsgesellschaft", 15, 9)) == "Donaudampfschifffahrtsgesellschaft"
    assert wrap("", 40, 9) == [""]


def test_numbers_lots_and_dates_are_never_cut() -> None:
    room = width("LK-26-11873", 10) * 0.85
    made = exact("LK-26-11873", room, 10, least=8)
    assert (made.lines, made.size) == (("LK-26-11873",), 8.5)
    with pytest.raises(DoesNotFit, match="LK-26-11873"):
        exact("LK-26-11873", 10, 10, least=8)


def more(left: int) -> str:
    return f"+{left} more"


def test_the_short_list_shows_whole_names_then_how_many_more() -> None:
    names = ["Retractor, bent, narrow 15 mm", "Bone hook, single", "Elevator, straight"]
    assert name_list(names, 200, 9, more) == "; ".join(names)
    shorter = name_list(names, width("; ".join(names), 9) - 1, 9, more)
    assert shorter == "; ".join(names[:2]) + " +1 more"
    tight = name_list(names, 30, 9, more)
    assert tight.endswith("+2 more") and width(tight, 9) <= 30
    assert name_list([], 30, 9, more) == ""
    assert "…" in name_list([LONG], 30, 9, more)


def test_the_fonts_come_with_their_licence() -> None:
    assert {p.stem for p in FONT_FOLDER.glob("*.ttf")} == {face.value for face in Face}
    assert "Bitstream" in (FONT_FOLDER / "LICENSE.txt").read_text(encoding="utf-8")
    assert all(lettering.font_name(face) == face.value for face in Face)


def test_a_name_loses_the_size_and_side_that_stand_beside_it_and_nothing_else() -> None:
    assert lettering.bare_name("Femoral size 4 LEFT", "4", "size 4", "LEFT") == "Femoral"
    assert lettering.bare_name("Stem, short, size 4, left", "4", "size 4", "LEFT") == "Stem, short"
    assert lettering.bare_name("Blade 14", "4", "size 4") == "Blade 14"
    assert lettering.bare_name("4", "4") == "4"
