"""Count sheets on paper: pages, codes, and nothing cut that counts."""

from dataclasses import replace

import pytest

from cases.counts.kinds import CountRow, CountSection, CountSheetView, StageHead
from cases.counts.sheet import count_sheets_pdf, paper_sheet
from tests.cases.paper.samples import LONG, NO_CODES, PACK, SIX, SIX_STAGES, SMALL, SOFT
from tests.trays.symbols import rendering
from trays.identifiers import meaning, ours
from trays.symbols.a4 import page_plan
from trays.symbols.pages import Row

ASSET = ours.instrument("9521234", "0417A")


def unnumbered_rows(view: CountSheetView) -> int:
    parts = [placed.part for plan in page_plan(paper_sheet(view)) for placed in plan.placed]
    return sum(isinstance(part, Row) and part.number is None for part in parts)


def test_seventy_lines_in_six_sections_with_five_stages_take_four_pages_and_one_to_sign() -> None:
    plans = page_plan(paper_sheet(PACK))
    assert [plan.listed for plan in plans] == [True, True, True, True, False]
    assert [number for plan in plans for number in plan.numbers] == list(range(1, 71))


@pytest.mark.parametrize(
    "view", [PACK, SMALL, SIX_STAGES, SOFT], ids=["70 lines", "small", "six stages", "soft"]
)
def test_each_page_has_the_sheet_s_code_and_the_first_the_pack_s(view: CountSheetView) -> None:
    pages = [rendering.read(page) for page in rendering.pages(count_sheets_pdf([view]), 300)]
    expected = [[view.code] for _ in pages]
    if view.pack:
        expected[0].append(ASSET)
    assert [[one.text for one in page] for page in pages] == expected
    assert {one.identifier for page in pages for one in page} == {"]d2"}


def test_the_pack_s_code_on_paper_names_no_round_so_it_cannot_pass_for_the_label_on_the_pack() -> None:
    first = rendering.read(rendering.pages(count_sheets_pdf([PACK]), 300)[0])
    keys = [meaning.read(one.text, today=None, own_prefixes=("9521234",)).key for one in first]  # type: ignore[arg-type]
    assert ours.AssetKey("95212340417A", None) in keys
    assert all(PACK.pack_code != one.text for one in first)


def test_a_site_without_numbers_of_its_own_gets_its_sheets_without_symbols() -> None:
    pdf = count_sheets_pdf([NO_CODES])
    assert [rendering.read(page) for page in rendering.pages(pdf, 300)] == [[], []]
    text = rendering.texts(pdf)[0]
    assert "CS-48212" in text and "0417A-231" in text and "complete to the list" in text


def test_every_page_has_room_for_the_patient_s_sticker_and_the_case() -> None:
    for text in rendering.texts(count_sheets_pdf([PACK])):
        for words in ("patient’s sticker here", "LK-26-11873", "0417A-231", "3 of 6"):
            assert words in text


def test_what_the_pack_lacks_stands_above_the_list_and_on_its_line() -> None:
    text = rendering.texts(count_sheets_pdf([PACK]))[0]
    assert "short 1" in text and "list 3, short 1" in text


def test_numbers_of_three_digits_stand_whole() -> None:
    many = tuple(CountRow(n, f"Screw, {n} mm", "", 100 + n, False) for n in range(96, 106))
    view = replace(SMALL, sections=(CountSection("Rack stock, by size", many),))
    words = rendering.texts(count_sheets_pdf([view]))[0].split()
    assert all(str(row.number) in words and str(row.expected) in words for row in many)


def test_blank_rows_fill_the_last_list_page_and_are_never_fewer_than_the_site_asks() -> None:
    assert unnumbered_rows(SMALL) > SMALL.added_rows
    assert unnumbered_rows(replace(SMALL, added_rows=40)) >= 40
    written = sum(len(section.rows) for section in SOFT.soft)
    assert unnumbered_rows(SOFT) == written + SOFT.blank_kinds


@pytest.mark.parametrize("view", [SIX_STAGES, replace(SOFT, stages=SIX)], ids=["pack", "soft"])
def test_six_stages_are_signed_on_one_page_by_two_people_each(view: CountSheetView) -> None:
    last = rendering.texts(count_sheets_pdf([view]))[-1]
    assert last.count("not done: emergency") == 6
    assert last.count("signature") == 12
    assert all(stage.word in last for stage in SIX)


def test_no_stage_and_ten_stages_still_print() -> None:
    assert "Signatures" in rendering.texts(count_sheets_pdf([replace(SMALL, stages=())]))[-1]
    ten = tuple(StageHead(str(n), f"Stage {n}") for n in range(1, 11))
    text = " ".join(
        rendering.texts(count_sheets_pdf([replace(SMALL, stages=ten), replace(SOFT, stages=ten)]))
    )
    assert text.count("Stage 10") == 2


def test_a_long_name_with_a_note_keeps_its_note_and_its_end() -> None:
    rows = (CountRow(1, LONG, "list 3, short 1; 12 parts", 2, True),)
    text = rendering.texts(count_sheets_pdf([replace(SIX_STAGES, sections=(CountSection("Top", rows),))]))[0]
    assert "list 3, short 1; 12 parts" in text and "wersja wąska" in text


def test_letters_of_other_languages_print_and_a_lacking_one_is_a_box() -> None:
    rows = (
        CountRow(1, "Größe, łąkotka, élévateur, Øresund", "", 1, False),
        CountRow(2, "手術", "", 1, False),
    )
    text = rendering.texts(count_sheets_pdf([replace(SMALL, sections=(CountSection("Top", rows),))]))[0]
    assert "Größe, łąkotka, élévateur, Øresund" in text and "□□" in text


def test_the_sheets_of_a_case_are_one_file_and_no_leaf_carries_two_of_them() -> None:
    texts = rendering.texts(count_sheets_pdf([PACK, SOFT, SMALL]))
    starts = [number for number, text in enumerate(texts) if "1 of" in text and "page 1 of" in text]
    assert len(starts) == 3
    assert all(number % 2 == 0 for number in starts)
