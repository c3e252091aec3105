"""The pick list on paper: every line, every code, whatever the names."""

from dataclasses import replace

import pytest

from cases.picks.kinds import PickSheet
from cases.picks.sheet import paper_sheet, pick_list_pdf
from tests.cases.paper.samples import BOTH_SIDES, LONG, NASTY, PICK, row
from tests.trays.symbols import rendering
from trays.symbols.a4 import page_plan
from trays.web.errors import Refusal


def codes_of(sheet: PickSheet) -> list[str]:
    return [line.code for place in sheet.places for line in place.rows]


@pytest.mark.parametrize("sheet", [PICK, BOTH_SIDES, NASTY], ids=["typical", "both sides", "nasty"])
def test_every_code_is_read_back_from_the_page_and_is_exactly_the_line_s(sheet: PickSheet) -> None:
    seen, pages = [], rendering.pages(pick_list_pdf(sheet), 300)
    for page in pages:
        seen += rendering.read(page)
    assert {one.identifier for one in seen} == {"]d2"}
    assert sorted(one.text for one in seen) == sorted(codes_of(sheet) + [sheet.code] * len(pages))


def test_thirty_three_lines_take_three_pages_in_walking_order() -> None:
    plans = page_plan(paper_sheet(PICK))
    assert len(plans) == 3
    assert [number for plan in plans for number in plan.numbers] == list(range(1, 34))


def test_each_page_says_case_side_verdict_and_its_lines() -> None:
    for number, text in enumerate(rendering.texts(pick_list_pdf(PICK)), start=1):
        for words in ("Total knee, RIGHT", "LK-26-11873", "Thin", "98 in 100; wanted 99", f"{number} of 3"):
            assert words in text


def test_size_and_side_stand_whole_on_every_line_however_long_the_name() -> None:
    text = " ".join(rendering.texts(pick_list_pdf(NASTY)))
    assert text.count("size 6, RIGHT") == sum(line.size == "6" for line in NASTY.places[0].rows)
    assert "KK12-345" in text and "MF2629B" in text


def test_a_size_that_the_name_already_ends_with_is_not_said_twice() -> None:
    named = row(6, name="Femoral, cemented, size 7, right")
    sheet = replace(PICK, places=(replace(PICK.places[0], rows=(named,)),))
    text = rendering.texts(pick_list_pdf(sheet))[0]
    assert "Femoral, cemented, size 7, RIGHT" in text


def test_what_is_not_on_site_stands_at_the_end_with_its_reason_and_no_code() -> None:
    text = rendering.texts(pick_list_pdf(PICK))[-1]
    assert "Not on site" in text
    assert "Tibial tray, cemented, size 6" in text
    assert "kept for another case of the day" in text


def test_a_list_that_no_longer_holds_says_so_on_its_first_page_and_in_every_foot() -> None:
    first, *others = rendering.texts(pick_list_pdf(BOTH_SIDES))
    assert "Lines 5, 7, 12 are no longer kept" in " ".join(first.split())
    assert all("changed since it was made" in text for text in (first, *others))
    replaced = rendering.texts(pick_list_pdf(NASTY))
    assert "Do not pick by it." in replaced[0] and "replaced by a newer list" in replaced[-1]


def test_a_verdict_that_is_not_known_prints_with_its_word() -> None:
    assert "Not known" in rendering.texts(pick_list_pdf(BOTH_SIDES))[0]


def test_a_site_without_a_number_of_its_own_gets_the_list_without_symbols() -> None:
    bare = replace(
        PICK,
        code="",
        places=tuple(
            replace(place, rows=tuple(replace(line, code="") for line in place.rows)) for place in PICK.places
        ),
    )
    pdf = pick_list_pdf(bare)
    assert [rendering.read(page) for page in rendering.pages(pdf, 300)] == [[], [], []]
    assert "PL-48203" in rendering.texts(pdf)[0]


def test_an_empty_list_still_has_its_head_and_signatures() -> None:
    text = " ".join(rendering.texts(pick_list_pdf(replace(PICK, places=(), runs=(), not_on_site=(), key=()))))
    assert "Picked" in text and "Checked" in text and "Total knee, RIGHT" in text


@pytest.mark.parametrize(
    "bad",
    [
        replace(PICK, code="253nonsense"),
        replace(PICK, reference="Ż" * 200),
        replace(PICK, places=(replace(PICK.places[0], rows=(replace(row(1), bin=LONG),)),)),
    ],
    ids=["broken code", "endless reference", "endless bin"],
)
def test_what_cannot_be_printed_whole_is_refused_with_its_reason(bad: PickSheet) -> None:
    with pytest.raises(Refusal) as refused:
        pick_list_pdf(bad)
    assert refused.value.code == "not-printed"
    assert refused.value.next_step


def test_the_longest_permitted_reference_prints_whole() -> None:
    reference = "LK-26-" + "0123456789" * 3 + "WXYŻ"
    text = rendering.texts(pick_list_pdf(replace(PICK, reference=reference)))[0]
    assert reference in "".join(text.split())
