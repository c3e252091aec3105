"""The common sheet: every page stands alone, codes are read back from the page."""

import numpy
import pypdfium2
import pytest

from tests.trays.symbols import rendering
from trays.identifiers import ours
from trays.symbols import datamatrix
from trays.symbols.a4 import Fact, Head, Sheet, Sticker, VerdictPanel, draw_sheet, draw_sheets, page_plan
from trays.symbols.lettering import DoesNotFit, Face
from trays.symbols.marks import Verdict
from trays.symbols.pages import Band, Row, Section, Table
from trays.symbols.paper import Align, Paper
from trays.symbols.parts import Column, column_heads, free_lines, section_head, signed, together
from trays.symbols.payload import PayloadRefused
from trays.symbols.stock import A4, SHEET_HEAD_DOTS, SHEET_LINE_DOTS, Area

STICKER = Sticker()
DOCUMENT = ours.document_number("9521234", "101")
LONG = "Przeszczep łąkotki z przedłużoną rękojeścią, dźwignia kostna Größe XXL für Übergrößen, wersja wąska"
VERDICT = VerdictPanel(
    Verdict.SHORT,
    "Short",
    ("in the room 95 in 100; wanted 95", "on site 91 in 100; wanted 99"),
    "Insert 4–5, 14 mm: one unit on site, also wanted by case 4 of this list. " * 6,
)
FACTS = (
    Fact("case", "LK-26-11873"),
    Fact("list", "1 Dec 2026"),
    Fact("theatre, position", "3 · 2 of 4"),
    Fact("surgeon", "A. Wren"),
    Fact("trolley", "T-07"),
    Fact("at theatre by", "30 Nov 18:00"),
)


def line(number: int, name: str = "Femur, size 5") -> Row:
    symbol = datamatrix.modules(ours.sheet_line(DOCUMENT, "48203", number))

    def draw(paper: Paper, top: float) -> None:
        paper.tick(20.6, top + 2.6, 6.3)
        paper.text(35, top + 7, str(number), 9, align=Align.RIGHT)
        paper.matrix(37.4, top + 1.9, symbol, SHEET_LINE_DOTS)
        paper.fitted(50, top + 5, name, 10, width=84, least=8.5, lines=2, pitch=4.2, face=Face.BOLD)

    return Row(11.5, draw, number=number)


def initials(paper: Paper, top: float) -> None:
    paper.text(100, top + 7, "both initial this page", 8.5, Face.BOLD)


def sheet(
    lines: int = 30,
    right: Sticker | VerdictPanel | None = STICKER,
    subject: str = "Total knee",
    side: str = "RIGHT",
    facts: tuple[Fact, ...] = FACTS,
    number: str = "PL-48203",
) -> Sheet:
    head = Head("Pick list", subject, number, ours.sheet(DOCUMENT, "48203"), facts, side, right)
    rows = tuple(line(n) for n in range(1, lines + 1))
    columns = column_heads(
        (
            Column(35, "no.", Align.RIGHT),
            Column(50, "what"),
            Column(150, "Start", Align.CENTRE, over="1", width=17),
        ),
        10,
    )
    section = Section(
        rows, section_head("Sterile store · bay A", number="1", hint="sets", right=f"{lines} lines")
    )
    end = together(free_lines("Left off", "line, what instead", 2), signed("Picked"), signed("Checked"))
    return Sheet(
        head,
        (Table((section,), columns), end),
        "Before use check pack and date with your own eyes.",
        "30 Nov 2026 16:05",
        "invented data",
        list_end=Band(11, initials),
    )


def test_every_page_carries_code_subject_side_numbers_and_lines() -> None:
    made = sheet(30)
    texts = rendering.texts(draw_sheet(made))
    plans = page_plan(made)
    assert len(texts) == len(plans) > 1
    for number, (text, page) in enumerate(zip(texts, plans, strict=True), start=1):
        assert "Total knee, RIGHT" in text and "PL-48203" in text and "LK-26-11873" in text
        assert f"page {number} of {len(texts)}" in text
        assert "patient’s sticker here" in text and "with your own eyes" in text
        if page.numbers:
            assert f"lines {page.numbers[0]} to {page.numbers[-1]} of 30" in text
            assert ("(continued)" in text) == (number > 1)
        assert ("both initial this page" in text) == page.listed


def test_codes_of_sheet_and_lines_are_read_back_from_the_whole_page() -> None:
    made = sheet(12)
    (page,) = rendering.pages(draw_sheet(made), 300)[:1]
    seen = rendering.read(page)
    assert {s.identifier for s in seen} == {"]d2"}
    wanted = [ours.sheet(DOCUMENT, "48203"), *(ours.sheet_line(DOCUMENT, "48203", n) for n in range(1, 13))]
    assert [s.text for s in seen] == wanted


def test_the_sheets_code_is_painted_on_whole_dots_with_its_quiet_zone() -> None:
    page = rendering.pages(draw_sheet(sheet(3)), 300)[0]
    assert page.shape == (3508, 2480)
    symbol = datamatrix.modules(ours.sheet(DOCUMENT, "48203"))
    side = A4.grid.mm(symbol.size * SHEET_HEAD_DOTS)
    shown = rendering.cut_out(
        page, Area(20, 31.5, side, side), A4.grid.dots_per_mm, border=2 * SHEET_HEAD_DOTS
    )
    picture = numpy.where(numpy.array(symbol.rows), 0, 255).astype(numpy.uint8)
    block = numpy.kron(picture, numpy.ones((SHEET_HEAD_DOTS, SHEET_HEAD_DOTS), numpy.uint8))
    assert numpy.array_equal(shown, numpy.pad(block, 2 * SHEET_HEAD_DOTS, constant_values=255))


def test_only_black_and_white_is_printed() -> None:
    page = rendering.pages(draw_sheet(sheet(8, VERDICT)), 300)[0]
    grey = ((page > 40) & (page < 215)).mean()
    assert grey < 0.01, "no tints: grey is only the edge of a letter"


@pytest.mark.parametrize("right", [Sticker(), VERDICT, None])
@pytest.mark.parametrize("subject", ["Knee", LONG, LONG + " " + LONG, "W" * 200])
def test_the_side_is_whole_however_long_the_name(right: Sticker | VerdictPanel | None, subject: str) -> None:
    pdf = draw_sheet(sheet(1, right, subject))
    assert "RIGHT" in rendering.texts(pdf)[0]
    page = rendering.pages(pdf, 150)[0]
    gutter = page[
        int(16.5 * 150 / 25.4) : int(29 * 150 / 25.4), int(124.6 * 150 / 25.4) : int(127.4 * 150 / 25.4)
    ]
    assert right is None or (gutter == 255).all(), "the subject ends before the sticker box"


def test_facts_move_apart_when_one_needs_more_room() -> None:
    facts = (Fact("case", "LK-26-1187300042"), *FACTS[1:])
    text = rendering.texts(draw_sheet(sheet(1, Sticker(), facts=facts)))[0]
    assert "LK-26-1187300042" in text and "30 Nov 18:00" in text


def test_a_fact_that_may_not_be_cut_stops_the_print_and_a_name_gives_way() -> None:
    with pytest.raises(DoesNotFit):
        draw_sheet(sheet(1, facts=(Fact("case", "LK-26-11873-" * 9), *FACTS[1:])))
    text = rendering.texts(draw_sheet(sheet(1, facts=(Fact("surgeon", LONG, exact=False), *FACTS[1:]))))[0]
    assert "Przeszczep" in text and "…" in text


def test_a_sheet_without_a_right_code_is_not_printed() -> None:
    made = sheet(1)
    head = Head("Pick list", "Knee", "PL-1", "253" + "9521234001017" + "48203")
    with pytest.raises(PayloadRefused):
        draw_sheet(Sheet(head, made.body, made.caution, made.printed))


def test_the_verdict_is_a_word_beside_its_mark_and_its_reason_stays_in_its_place() -> None:
    pdf = draw_sheet(sheet(1, VERDICT))
    text = rendering.texts(pdf)[0]
    assert "Short" in text and "wanted 99" in text and "…" in text
    page = rendering.pages(pdf, 150)[0]
    assert (page[int(51 * 150 / 25.4), int(130 * 150 / 25.4) :] == 255).all(), (
        "nothing runs into the head's rule"
    )


def test_sheets_of_a_case_print_on_leaves_of_their_own() -> None:
    pdf = draw_sheets([sheet(2), sheet(2, number="PL-48204"), sheet(2)], title="Case LK-26-11873")
    texts = rendering.texts(pdf)
    assert [bool(t.strip()) for t in texts] == [True, False, True, False, True]
    assert all("page 1 of 1" in t for t in texts[::2])
    assert len(pypdfium2.PdfDocument(draw_sheets([sheet(2), sheet(2)], title="x", two_sided=False))) == 2


def test_one_line_and_a_page_without_lines_say_so() -> None:
    assert "line 1 of 1" in rendering.texts(draw_sheet(sheet(1)))[0]
    number = next(n for n in range(2, 40) if not page_plan(sheet(n))[-1].numbers)
    assert f"{number} lines" in rendering.texts(draw_sheet(sheet(number)))[-1], (
        "signatures alone on their page"
    )


def test_the_section_head_gives_way_to_its_count() -> None:
    made = sheet(2)
    head = section_head(LONG, number="12", hint=LONG, right="127 lines")
    table = Table((Section((line(1), line(2)), head),))
    text = rendering.texts(draw_sheet(Sheet(made.head, (table,), made.caution, made.printed)))[0]
    assert "127 lines" in text and "12" in text


def test_every_fifth_numbered_row_has_a_heavier_rule() -> None:
    made = sheet(11)
    (placed,) = [p for p in page_plan(made)[0].placed if isinstance(p.part, Row) and p.part.number == 5]
    page = rendering.pages(draw_sheet(made), 300)[0]
    x = A4.grid.dots(170)

    def thick(bottom: float) -> int:
        return int((page[A4.grid.dots(bottom - 2) : A4.grid.dots(bottom + 0.5), x] < 128).sum())

    fifth = placed.top + placed.part.height
    assert thick(fifth) > 2 * thick(fifth - 11.5) >= 2
