"""Page breaks: nothing lost, nothing split, heads kept with their rows."""

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trays.symbols.pages import Band, Block, PagePlan, Row, Section, SectionHead, Table, TooTall, plan
from trays.symbols.paper import Paper

TOP, BOTTOM = 53.8, 279.0


def nothing(paper: Paper, top: float) -> None: ...


def head_of(height: float) -> SectionHead:
    return SectionHead(height, lambda paper, top, goes_on: None)


def band(height: float) -> Band:
    return Band(height, nothing)


def numbered(heights: list[float], first: int = 1) -> tuple[Row, ...]:
    return tuple(Row(h, nothing, number=first + n) for n, h in enumerate(heights))


@st.composite
def bodies(draw: st.DrawFn) -> tuple[Table | Block, ...]:
    parts: list[Table | Block] = []
    number = 1
    for _ in range(draw(st.integers(1, 4))):
        if draw(st.booleans()):
            height, gap = draw(st.sampled_from([5.0, 40.0, 120.0])), draw(st.sampled_from([0.0, 4.0]))
            parts.append(Block(height, nothing, new_page=draw(st.booleans()), gap=gap))
            continue
        sections = []
        for _ in range(draw(st.integers(1, 3))):
            rows = numbered(
                draw(st.lists(st.sampled_from([8.0, 11.5, 15.5]), min_size=1, max_size=30)), number
            )
            number += len(rows)
            sections.append(Section(rows, head_of(9.0)))
        parts.append(Table(tuple(sections), band(10.0)))
    return tuple(parts)


@settings(max_examples=150, deadline=None)
@given(bodies(), st.sampled_from([0.0, 11.0]))
def test_whatever_the_body_pages_hold_all_of_it_in_order(body: tuple[Table | Block, ...], end: float) -> None:
    pages = plan(body, top=TOP, bottom=BOTTOM, list_end=end)
    rows = [p.part for page in pages for p in page.placed if isinstance(p.part, Row | Block)]
    wanted = [
        r
        for part in body
        for r in ([part] if isinstance(part, Block) else [r for s in part.sections for r in s.rows])
    ]
    assert rows == wanted
    lengths = {id(s.head): len(s.rows) for part in body if isinstance(part, Table) for s in part.sections}
    for page in pages:
        assert page.placed, "no page is empty"
        check_page(page, end, lengths)


def check_page(page: PagePlan, end: float, lengths: dict[int, int]) -> None:
    y = TOP
    for placed in page.placed:
        assert placed.top >= y - 1e-6, "nothing lies on anything else"
        y = placed.top + placed.part.height
    assert y <= BOTTOM - (end if page.listed else 0.0) + 1e-6
    kinds = [type(p.part) for p in page.placed]
    for n, kind in enumerate(kinds):
        if kind is Row:
            assert n > 0 and kinds[n - 1] in (Row, SectionHead), "each run of rows has its head on the page"
        if kind is SectionHead:
            kept = 1 if page.placed[n].continued else min(2, lengths[id(page.placed[n].part)])
            assert kinds[n + 1 : n + 1 + kept] == [Row] * kept, "a head keeps two rows with it"
            assert any(k is Band for k in kinds[:n]), "column heads stand on every page with rows"


def test_seventy_lines_in_six_sections_take_four_pages() -> None:
    sections = tuple(Section(numbered([8.0] * n, 1), head_of(9.0)) for n in (10, 11, 12, 13, 12, 12))
    pages = plan((Table(sections, band(10.0)),), top=TOP, bottom=BOTTOM, list_end=12.0)
    assert len(pages) == 4


def test_a_head_at_the_foot_takes_two_rows_with_it_or_goes_over() -> None:
    filler = Block(BOTTOM - TOP - 10 - 9 - 8 - 4, nothing)
    table = Table((Section(numbered([8.0] * 3), head_of(9.0)),), band(10.0))
    first, second = plan((filler, table), top=TOP, bottom=BOTTOM)
    assert [type(p.part) for p in first.placed] == [Block]
    assert second.numbers == [1, 2, 3]


def test_a_section_that_goes_on_repeats_its_head_and_says_so() -> None:
    pages = plan((Table((Section(numbered([8.0] * 60), head_of(9.0)),), band(10.0)),), top=TOP, bottom=BOTTOM)
    marks = [p.continued for page in pages for p in page.placed if isinstance(p.part, SectionHead)]
    assert marks == [False] + [True] * (len(pages) - 1)
    assert [n for page in pages for n in page.numbers] == list(range(1, 61))


def test_blank_rows_fill_the_page_and_no_more() -> None:
    def blank(index: int) -> Row:
        return Row(9.0, nothing)

    (page,) = plan(
        (Table((Section(numbered([8.0] * 3), head_of(9.0), fill=blank),)),), top=TOP, bottom=BOTTOM
    )
    last = page.placed[-1]
    room = BOTTOM - last.top - last.part.height
    assert 0 <= room < 9.0 and page.numbers == [1, 2, 3]
    (page,) = plan((Table((Section((), fill=blank, fill_most=4),)),), top=TOP, bottom=BOTTOM)
    assert len(page.placed) == 4


@pytest.mark.parametrize(
    "body",
    [
        (Block(300.0, nothing),),
        (Table((Section((Row(8, nothing), Row(8, nothing), Row(300.0, nothing))),)),),
    ],
)
def test_what_is_taller_than_a_page_is_refused(body: tuple[Table | Block, ...]) -> None:
    with pytest.raises(TooTall):
        plan(body, top=TOP, bottom=BOTTOM)


def test_an_empty_body_is_one_page() -> None:
    made: Callable[[], list[PagePlan]] = lambda: plan((), top=TOP, bottom=BOTTOM)  # noqa: E731
    assert len(made()) == 1
