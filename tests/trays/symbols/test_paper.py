"""The canvas: dots, fonts, bytes that repeat, marks and symbols that differ."""

from collections.abc import Callable

import numpy
import pypdfium2
import pytest
from numpy.typing import NDArray

from tests.trays.symbols import rendering
from trays.symbols import iso, marks
from trays.symbols.lettering import DoesNotFit, Face
from trays.symbols.marks import Group, Verdict
from trays.symbols.paper import FIFTH_RULE, HEAD_RULE, ROW_RULE, Align, Paper, Stroke
from trays.symbols.stock import GRID_203, GRID_300, Area, Grid, Page


def paper(grid: Grid = GRID_300) -> Paper:
    return Paper(Page(60, 30, grid), title="Zażółć")


def ink(made: Paper, dpi: int = 300) -> rendering.Dots:
    (page,) = rendering.pages(made.pdf(), dpi)
    return page


@pytest.mark.parametrize("grid", [GRID_203, GRID_300])
@pytest.mark.parametrize("weight", [HEAD_RULE, FIFTH_RULE, ROW_RULE])
def test_rules_are_whole_dots_and_pure_black(grid: Grid, weight: float) -> None:
    made = paper(grid)
    made.rule(5, 55, 10.13, weight)
    made.upright(20.07, 12, 28, weight)
    page = ink(made, grid.dpi)
    assert set(numpy.unique(page)) == {0, 255}
    assert (page[:, grid.dots(8)] == 0).sum() == max(1, grid.dots(weight))
    assert (page[grid.dots(20), :] == 0).sum() == max(1, grid.dots(weight))


def test_a_box_closes_on_all_sides_and_is_empty() -> None:
    made = paper()
    made.tick(10, 10, 6.3)
    page = ink(made)
    inside = rendering.cut_out(page, Area(10.5, 10.5, 5.3, 5.3), GRID_300.dots_per_mm)
    assert (inside == 255).all()
    for area in (
        Area(10, 10, 6.3, 0.3),
        Area(10, 16, 6.3, 0.3),
        Area(10, 10, 0.3, 6.3),
        Area(16, 10, 0.3, 6.3),
    ):
        edge = rendering.cut_out(page, area, GRID_300.dots_per_mm)
        assert (edge < 128).mean() > 0.6


def test_every_font_is_embedded_and_no_other_is_named() -> None:
    made = paper()
    for row, face in enumerate(Face):
        made.text(2, 5 + row * 5, "Größe 5", 9, face)
    pdf = made.pdf()
    assert b"Helvetica" not in pdf and b"Times" not in pdf
    assert pdf.count(b"/FontFile2") == len(Face)


def test_the_text_can_be_found_in_the_file() -> None:
    made = paper()
    made.text(2, 5, "Zażółć gęślą jaźń", 9)
    made.text(58, 12, "rechts außen", 9, align=Align.RIGHT)
    assert "Zażółć gęślą jaźń" in rendering.texts(made.pdf())[0]


def test_the_same_drawing_gives_the_same_bytes() -> None:
    def draw() -> bytes:
        made = paper()
        made.text(2, 5, "K1-5", 9)
        return made.pdf()

    assert draw() == draw()
    assert pypdfium2.PdfDocument(draw()).get_metadata_dict()["Title"] == "Zażółć"


def test_pages_follow_each_other() -> None:
    made = paper()
    made.text(2, 5, "one", 9)
    made.next_page()
    made.next_page()
    made.text(2, 5, "three", 9)
    assert [t.strip() for t in rendering.texts(made.pdf())] == ["one", "", "three"]


def test_what_may_not_be_cut_is_refused_instead() -> None:
    with pytest.raises(DoesNotFit):
        paper().exact(2, 5, "0417A-231", 15, width=10, least=12)
    assert paper().exact(2, 5, "0417A-231", 15, width=40) < 40


def test_text_stands_where_it_is_aligned() -> None:
    made = paper()
    made.text(30, 8, "WW", 9, align=Align.RIGHT)
    made.text(30, 16, "WW", 9, align=Align.CENTRE)
    made.text(30, 24, "WW", 9)
    page = ink(made)
    rows = [page[GRID_300.dots(y - 3) : GRID_300.dots(y + 0.5)] for y in (8, 16, 24)]
    middles = [numpy.nonzero((row < 128).any(axis=0))[0].mean() / GRID_300.dots_per_mm for row in rows]
    assert middles[0] < 30 < middles[2] and middles[1] == pytest.approx(30, abs=0.2)


def test_a_paragraph_ends_on_its_last_line_with_a_mark_that_more_was_said() -> None:
    made = paper()
    assert (
        made.paragraph(
            2, 5, "one two three four five six seven eight nine ten", 9, width=20, lines=2, pitch=4
        )
        == 2
    )
    text = rendering.texts(made.pdf())[0]
    assert "one two" in text and "…" in text and "ten" not in text


def test_dashed_lines_have_gaps() -> None:
    made = paper()
    made.box(Area(5, 5, 50, 20), Stroke(0.3, dashed=True), corner=1.5)
    row = ink(made)[GRID_300.dots(5.15), GRID_300.dots(8) : GRID_300.dots(50)]
    assert (row < 128).any() and (row > 128).any()


# Marks


def drawn(draw: Callable[[Paper], object], dpi: int = 300) -> NDArray[numpy.bool_]:
    made = paper(GRID_300 if dpi == 300 else GRID_203)
    draw(made)
    return ink(made, dpi) < 128


@pytest.mark.parametrize("height", [8.0, 3.0])
@pytest.mark.parametrize("dpi", [203, 300])
def test_no_two_verdicts_look_alike(height: float, dpi: int) -> None:
    pictures = [drawn(lambda p, v=v: marks.draw_verdict(p, v, 5, 5, height), dpi) for v in Verdict]
    least = pictures[0].sum() * 0.05
    for n, one in enumerate(pictures):
        for other in pictures[n + 1 :]:
            assert (one ^ other).sum() > least


@pytest.mark.parametrize("verdict", list(Verdict))
def test_verdicts_stand_on_two_posts_and_span_what_they_say(verdict: Verdict) -> None:
    mark = marks.VERDICT_MARKS[verdict]
    unit = 8 / mark.height
    page = drawn(lambda p: marks.draw_verdict(p, verdict, 5, 5))

    def black(x: float, y: float) -> bool:
        return bool(page[GRID_300.dots(5 + y * unit), GRID_300.dots(5 + x * unit)])

    assert black(3, 1) and black(31, 1), "posts"
    assert black(1, 15) and black(33, 15), "feet"
    row = [black(x / 4, 7) for x in range(18, 118)]
    assert all(row) == (verdict in (Verdict.COVERED, Verdict.THIN))
    assert black(6, 4.5) == (verdict in (Verdict.COVERED, Verdict.SHORT)), "a thick beam starts here"


def test_the_screen_draws_the_same_shapes() -> None:
    path = marks.svg_path(marks.VERDICT_MARKS[Verdict.SHORT])
    assert path.startswith("M2 0h2v16h-2z") and path.count("M") == len(
        marks.VERDICT_MARKS[Verdict.SHORT].shapes
    )
    assert (
        len({marks.svg_path(m) for m in marks.VERDICT_MARKS.values()} | {marks.svg_path(marks.TRAYSPAN)}) == 5
    )


def test_groups_differ_and_the_consumable_is_no_box_to_tick() -> None:
    pictures = [drawn(lambda p, g=g: marks.draw_group(p, g, 5, 5, 2.8)) for g in Group]
    for n, one in enumerate(pictures):
        assert one.any()
        for other in pictures[n + 1 :]:
            assert (one ^ other).sum() > 50
    consumable = pictures[list(Group).index(Group.CONSUMABLE)]
    left = consumable[GRID_300.dots(5.2) : GRID_300.dots(7.6), GRID_300.dots(5) + 1]
    assert not left.all(), "its left side is open"


def test_the_programs_mark_is_no_verdict() -> None:
    width = marks.draw_name(paper(), 5, 10, "Trayspan", 8)
    assert width > 10
    shapes = {marks.svg_path(m) for m in marks.VERDICT_MARKS.values()}
    assert marks.svg_path(marks.TRAYSPAN) not in shapes


SYMBOLS = (iso.use_by, iso.sterile_steam, iso.package_damaged, iso.single_barrier, iso.double_barrier)


@pytest.mark.parametrize("symbol", SYMBOLS)
@pytest.mark.parametrize("dpi", [203, 300])
@pytest.mark.parametrize("height", [4.0, 5.0, 8.0])
def test_iso_symbols_stay_in_their_box(
    symbol: Callable[[Paper, float, float, float], float], dpi: int, height: float
) -> None:
    made = paper(GRID_300 if dpi == 300 else GRID_203)
    wide = symbol(made, 10, 10, height)
    page = ink(made, dpi) < 128
    rows, columns = numpy.nonzero(page)
    per_mm = made.grid.dots_per_mm
    assert columns.min() >= 10 * per_mm - 1.5 and columns.max() <= (10 + wide) * per_mm + 1.5
    assert rows.min() >= 10 * per_mm - 1.5 and rows.max() <= (10 + height) * per_mm + 1.5


def test_one_barrier_is_one_line_and_two_are_two() -> None:
    def crossings(symbol: Callable[[Paper, float, float, float], float]) -> int:
        made = paper()
        symbol(made, 10, 10, 8)
        row = ink(made)[GRID_300.dots(14)] < 128
        return int((numpy.diff(row.astype(int)) == 1).sum())

    assert crossings(iso.single_barrier) == 2
    assert crossings(iso.double_barrier) == 4


@pytest.mark.parametrize(("x", "y"), [(19, 5), (-1, 5), (2, 0.5), (2, 11)])
def test_text_that_would_stick_out_of_its_label_is_refused_and_nothing_of_the_label_is_drawn(
    x: float, y: float
) -> None:
    made = paper()
    made.text(40, 25, "before", 9)
    with pytest.raises(DoesNotFit), made.within(Area(5, 5, 20, 10)):
        made.box(Area(0, 0, 20, 10))
        made.text(2, 5, "inside", 9)
        made.text(x, y, "0417A", 9)
    made.text(40, 29, "after", 9)
    assert rendering.texts_at(made.pdf()) == "before after"


def test_a_label_that_is_only_tried_leaves_no_trace_not_even_a_page() -> None:
    made = paper()
    with made.within(Area(5, 5, 20, 10), keep=False) as area:
        assert (area.x, area.y, area.width, area.height) == (0, 0, 20, 10)
        made.text(2, 5, "tried", 9)
    made.next_page()
    made.text(2, 5, "second", 9)
    assert rendering.texts(made.pdf()) == ["", "second"]


@pytest.mark.parametrize("grid", [GRID_203, GRID_300])
def test_lengths_of_a_label_count_from_its_corner_and_of_one_within_it_from_there(grid: Grid) -> None:
    made = paper(grid)
    with made.within(Area(10.07, 5.03, 40, 20)), made.within(Area(4.04, 3.02, 20, 10)):
        made.fill(0, 0, 1, 1)
    dark = numpy.argwhere(ink(made, grid.dpi) == 0)
    assert tuple(dark.min(axis=0)) == (
        grid.dots(5.03) + grid.dots(3.02),
        grid.dots(10.07) + grid.dots(4.04),
    )
