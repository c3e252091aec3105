"""The sheet that all paper lists share: head, foot, pages. A4 portrait, punched at the left.

Every page stands alone: sheet code, subject, ``n of m``, which lines it holds. Lengths mm, type points.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from trays.symbols import datamatrix, lettering, marks
from trays.symbols.lettering import Face
from trays.symbols.marks import Verdict
from trays.symbols.pages import Band, Block, PagePlan, Row, SectionHead, Table, plan
from trays.symbols.paper import (
    FIFTH_RULE,
    FOOT_RULE,
    HEAD_RULE,
    ROW_RULE,
    SECTION_RULE,
    Align,
    Paper,
    Stroke,
)
from trays.symbols.stock import A4, SHEET_HEAD_DOTS, Area

LEFT, RIGHT, TOP = 20.0, 198.0, 12.0
WIDTH = RIGHT - LEFT
HEAD_RULE_Y = 53.0
BODY_TOP = 53.8
BODY_BOTTOM = 279.0
FOOT_Y = 280.0
# Where the body may be drawn right of the head's facts: the sticker box or the verdict.
SIDE_X = 128.0
STICKER = Area(SIDE_X, TOP, 70.0, 38.0)
_SUBJECT_RIGHT = 124.0
_FACT_X = 37.5


@dataclass(frozen=True)
class Words:
    """The sheet's own words, so that a caller can hand over translated ones. Braces are filled in here."""

    page_of: str = "page {page} of {pages}"
    of: str = "{page} of {pages}"
    lines: str = "lines {first} to {last} of {total}"
    one_line: str = "line {first} of {total}"
    all_lines: str = "{total} lines"
    sheet: str = "Sheet {number} · printed {printed}"
    sticker: str = "patient’s sticker here"


@dataclass(frozen=True)
class Fact:
    """One field of the head: its label, and a value that may not be cut unless ``exact`` is false."""

    label: str
    value: str
    exact: bool = True


@dataclass(frozen=True)
class Sticker:
    """An empty box for the patient's sticker, right of the head, on every page."""


@dataclass(frozen=True)
class VerdictPanel:
    """The verdict right of the head: mark and word, the levels with what was wanted, the reason."""

    verdict: Verdict
    word: str
    levels: tuple[str, ...]
    reason: str


@dataclass(frozen=True)
class Head:
    """The head of every page.

    ``subject`` with its ``side`` ("RIGHT") is the biggest thing; ``code`` is the element string of the
    sheet ("" draws no symbol), ``number`` what people call it; ``facts`` are up to six, two rows of three.
    """

    kind: str
    subject: str
    number: str
    code: str
    facts: tuple[Fact, ...] = ()
    side: str = ""
    right: Sticker | VerdictPanel | None = None


@dataclass(frozen=True)
class Sheet:
    """One sheet of any number of pages. ``printed`` is the time in the site's zone, as text."""

    head: Head
    body: tuple[Table | Block, ...]
    caution: str
    printed: str
    note: str = ""
    # Ends every page that holds rows, e.g. "both initial this page".
    list_end: Band | None = None
    words: Words = Words()
    language: str = "en"


def draw_sheet(sheet: Sheet) -> bytes:
    """The PDF of one sheet. Raises DoesNotFit, PayloadRefused or TooTall: then nothing is printed."""
    return draw_sheets([sheet], title=f"{sheet.head.kind} {sheet.head.number}")


def draw_sheets(sheets: Sequence[Sheet], *, title: str, two_sided: bool = True) -> bytes:
    """Several sheets in one PDF, each with its own page numbers.

    ``two_sided`` adds an empty page after a sheet of odd pages that is not the last, so that no leaf
    carries two sheets. Raises as ``draw_sheet``.
    """
    paper = Paper(A4, title=title, language=sheets[0].language if sheets else "en")
    for index, sheet in enumerate(sheets):
        pages = page_plan(sheet)
        for number, page in enumerate(pages, start=1):
            _draw_page(paper, sheet, pages, page, number)
            paper.next_page()
        if two_sided and len(pages) % 2 and index + 1 < len(sheets):
            paper.next_page()
    return paper.pdf()


def page_plan(sheet: Sheet) -> list[PagePlan]:
    """Which part stands where, page by page, without drawing."""
    end = sheet.list_end.height if sheet.list_end else 0.0
    return plan(sheet.body, top=BODY_TOP, bottom=BODY_BOTTOM, list_end=end)


def _draw_page(paper: Paper, sheet: Sheet, pages: list[PagePlan], page: PagePlan, number: int) -> None:
    at = {"page": number, "pages": len(pages)}
    _draw_head(paper, sheet, sheet.words.of.format(**at))
    _draw_body(paper, page)
    if sheet.list_end is not None and page.listed:
        sheet.list_end.draw(paper, BODY_BOTTOM - sheet.list_end.height)
    total = sum(len(p.numbers) for p in pages)
    _draw_foot(paper, sheet, sheet.words.page_of.format(**at), _lines_here(sheet.words, page, total))
    # Where to hold the punch.
    paper.rule(6, 10, A4.height / 2, ROW_RULE)


def _lines_here(words: Words, page: PagePlan, total: int) -> str:
    numbers = page.numbers
    if not total:
        return ""
    if not numbers:
        return words.all_lines.format(total=total)
    form = words.one_line if len(numbers) == 1 else words.lines
    return form.format(first=numbers[0], last=numbers[-1], total=total)


def _draw_body(paper: Paper, page: PagePlan) -> None:
    for placed in page.placed:
        part, top = placed.part, placed.top
        if isinstance(part, SectionHead):
            part.draw(paper, top, placed.continued)
            paper.rule(LEFT, RIGHT, top + part.height - SECTION_RULE, SECTION_RULE)
            continue
        part.draw(paper, top)
        if isinstance(part, Row):
            fifth = part.number is not None and part.number % 5 == 0
            weight = FIFTH_RULE if fifth else ROW_RULE
            paper.rule(LEFT, RIGHT, top + part.height - weight, weight)


def _draw_head(paper: Paper, sheet: Sheet, page_word: str) -> None:
    head = sheet.head
    right = RIGHT if head.right is None else _SUBJECT_RIGHT
    page_wide = paper.text(right, 15.6, page_word, 12, Face.BOLD, Align.RIGHT)
    paper.fitted(LEFT, 15.6, head.kind, 11, width=right - LEFT - page_wide - 4, least=8)
    _draw_subject(paper, head, right)
    bottom = 0.0
    if head.code:
        bottom = paper.matrix(LEFT, 31.5, datamatrix.modules(head.code), SHEET_HEAD_DOTS).bottom
    paper.exact(
        LEFT,
        max(45.7, bottom + 3.5),
        head.number,
        8,
        width=_FACT_X - LEFT - 0.5,
        least=7,
        face=Face.MONO,
    )
    _draw_facts(paper, head, right)
    if isinstance(head.right, Sticker):
        paper.box(STICKER, Stroke(0.3, dashed=True), corner=1.5)
        paper.text(STICKER.x + STICKER.width / 2, 47.6, sheet.words.sticker, 7, align=Align.CENTRE)
    elif isinstance(head.right, VerdictPanel):
        _draw_verdict(paper, head.right)
    paper.rule(LEFT, RIGHT, HEAD_RULE_Y - HEAD_RULE / 2, HEAD_RULE)


def _draw_subject(paper: Paper, head: Head, right: float) -> None:
    """The name gives way, the side never does."""
    side = f", {head.side}" if head.side else ""
    room = right - LEFT
    if lettering.width(head.subject + side, 16, Face.BOLD) <= room:
        paper.text(LEFT, 23.8, head.subject + side, 16, Face.BOLD)
        return
    lines = lettering.wrap(head.subject + side, room, 12.5, Face.BOLD)
    if len(lines) <= 2 and lines[-1].endswith(side.strip(", ")):
        shown = lines
    else:
        made = lettering.fit(
            head.subject, room - lettering.width(side, 12.5, Face.BOLD), 12.5, lines=2, face=Face.BOLD
        )
        shown = [*made.lines[:-1], made.lines[-1] + side]
    for number, line in enumerate(shown):
        paper.text(LEFT, 22.0 + number * 5.4, line, 12.5, Face.BOLD)


def _draw_facts(paper: Paper, head: Head, right: float) -> None:
    facts = head.facts[:6]
    for column, (x, room) in enumerate(_fact_columns(facts, right)):
        for row, fact in enumerate(facts[column::3]):
            y = 33.5 + row * 8.2
            paper.fitted(x, y, fact.label, 7, width=room)
            if fact.exact:
                _draw_exact_fact(paper, x, y, fact.value, room)
            else:
                paper.fitted(x, y + 4.1, fact.value, 10, width=room, least=7.5, face=Face.BOLD)


def _draw_exact_fact(paper: Paper, x: float, y: float, value: str, room: float) -> None:
    """Whole: on one line, or on two of 7 points when it is longer than any number should be."""
    halves = lettering.wrap(value, room, 7, Face.BOLD)
    if len(halves) == 2:
        for number, half in enumerate(halves):
            paper.text(x, y + 2.9 + number * 2.6, half, 7, Face.BOLD)
    else:
        paper.exact(x, y + 4.1, value, 10, width=room, least=7, face=Face.BOLD)


_FACT_GAP = 2.5


def _fact_columns(facts: tuple[Fact, ...], right: float) -> list[tuple[float, float]]:
    """Left edge and width of the three columns: even places if all fits, else by what each needs.

    What may not be cut gets its room first; names share the rest.
    """
    even = (29.1, 26.1, right - _FACT_X - 55.2) if right < RIGHT else (38.1, 44.1, right - _FACT_X - 82.2)
    whole = [_fact_need(facts[c::3]) for c in range(3)]
    wide = list(even)
    if any(need > have for need, have in zip(whole, even, strict=True)):
        room = right - _FACT_X + _FACT_GAP
        for size in (10.0, 9.0, 8.0, 7.0):
            least = [_fact_need(facts[c::3], exact=True, size=size) for c in range(3)]
            if sum(least) <= room:
                break
        wide = _share(room, least, whole)
    starts = [_FACT_X, _FACT_X + wide[0], _FACT_X + wide[0] + wide[1]]
    return [(x, w - _FACT_GAP + 0.01) for x, w in zip(starts, wide, strict=True)]


# So much of a name stays however long the numbers beside it are.
_FACT_NAME_LEAST = 20.0


def _fact_need(facts: tuple[Fact, ...], *, exact: bool = False, size: float = 10.0) -> float:
    """Width of a column with its gap at a size of type; with ``exact`` names count only for their least."""
    values = [lettering.width(f.value, size, Face.BOLD) for f in facts if f.exact or not exact]
    if exact:
        names = [lettering.width(f.value, 10, Face.BOLD) for f in facts if not f.exact]
        values += [min(name, _FACT_NAME_LEAST) for name in names]
    return max([*values, *(lettering.width(f.label, 7) for f in facts)], default=0.0) + _FACT_GAP


def _share(room: float, least: list[float], wanted: list[float]) -> list[float]:
    """Share ``room``: the least of each, then the rest by what is still wanted; all alike when too little."""
    if sum(least) > room:
        return [need * room / sum(least) for need in least]
    spare = room - sum(least)
    open_wishes = sum(wanted) - sum(least)
    if open_wishes <= spare:
        return [want + (spare - open_wishes) / len(wanted) for want in wanted]
    return [need + (want - need) * spare / open_wishes for need, want in zip(least, wanted, strict=True)]


def _draw_verdict(paper: Paper, panel: VerdictPanel) -> None:
    paper.upright(SIDE_X, TOP, STICKER.bottom, FOOT_RULE)
    x, room = SIDE_X + 4, RIGHT - SIDE_X - 4
    marks.draw_verdict(paper, panel.verdict, x, 12.6)
    paper.exact(x + 21, 19.4, panel.word, 20, width=room - 21, least=12, face=Face.BOLD)
    y = 25.2
    for level in panel.levels:
        paper.fitted(x, y, level, 9, width=room, least=7.5)
        y += 4.3
    paper.paragraph(
        x, y, panel.reason, 9, width=room, lines=max(1, int((STICKER.bottom - y) / 4.2) + 1), pitch=4.2
    )


def _draw_foot(paper: Paper, sheet: Sheet, page_word: str, lines_word: str) -> None:
    paper.rule(LEFT, RIGHT, FOOT_Y, FOOT_RULE)
    paper.paragraph(LEFT, 283.5, sheet.caution, 7.5, width=128, lines=2, pitch=3.1)
    paper.text(RIGHT, 285.9, page_word, 12, Face.BOLD, Align.RIGHT)
    x = LEFT + marks.draw_name(paper, LEFT, 291.4, "Trayspan", 8) + 6
    words = sheet.words.sheet.format(number=sheet.head.number, printed=sheet.printed)
    wide = paper.text(RIGHT, 291.4, lines_word, 8, align=Align.RIGHT)
    line = " · ".join(w for w in (words, sheet.note) if w)
    paper.fitted(x, 291.4, line, 7.5, width=RIGHT - wide - 4 - x, least=7)
