"""Count sheets on paper: one per pack from what is in it, one for soft goods, sharps and small items."""

from collections.abc import Sequence
from dataclasses import replace

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.counts.kinds import CountRow, CountSection, CountSheetView, SoftRow, SoftSection, StageHead
from cases.counts.sheet_signatures import signatures
from trays.identifiers import gs1
from trays.symbols import datamatrix, lettering
from trays.symbols.a4 import LEFT, RIGHT, Fact, Head, Sheet, Sticker, draw_sheets
from trays.symbols.lettering import Face
from trays.symbols.pages import Band, Block, Row, Section, Table
from trays.symbols.paper import ROW_RULE, Align, Paper, Stroke
from trays.symbols.parts import Column, column_heads, section_head
from trays.symbols.stock import A4, SHEET_LINE_DOTS, Area
from trays.web.paper import printed, words

_ROW = 8.0
_WRITTEN = 9.0
_EXPECTED = 15.0
_NAME_X = LEFT + 13.0
# Soft goods: item 50, in packs 11, first stage 13, six boxes of 8.2, total 13, later stages share the rest.
_ITEM, _PACKED, _FIRST, _ADDED, _BOXES, _TOTAL = 50.0, 11.0, 13.0, 8.2, 6, 13.0


def count_sheets_pdf(sheets: Sequence[CountSheetView]) -> bytes:
    """One PDF of all sheets of a case, each with its own pages, an empty page between odd ones.

    Refuses ("not-printed") as the pick list does: then nothing is printed.
    """
    return printed(lambda: draw_sheets([paper_sheet(sheet) for sheet in sheets], title=_("Count sheets")))


def paper_sheet(view: CountSheetView) -> Sheet:
    """One count sheet laid out, not yet drawn. A site that names no stage counts once."""
    if not view.stages:
        view = replace(view, stages=(StageHead("1", _("Count")),))
    soft = view.kind == "soft_goods"
    edges = _soft_edges(len(view.stages)) if soft else _stage_edges(len(view.stages))
    body = _soft_body(view, edges) if soft else _pack_body(view, edges)
    return Sheet(
        head=_head(view),
        body=(*body, *signatures(view.stages, soft=soft, filled=view.filled, notes=view.notes)),
        caution=view.caution,
        printed=view.printed,
        note=_("Way round: %(way)s") % {"way": view.direction} if view.direction else "",
        # What is filled from the record is signed in the record, not page by page.
        list_end=None if view.filled else _initials(edges),
        words=words(),
        language=view.language,
    )


def _head(view: CountSheetView) -> Head:
    common = (
        Fact(_("case"), view.reference),
        Fact(_("list"), view.day),
        Fact(_("theatre, position"), f"{view.theatre} · {view.position}", exact=False),
    )
    if view.kind == "soft_goods":
        rest = (
            Fact(_("operation"), view.operation, exact=False),
            Fact(_("side"), view.side or "–"),
            Fact(_("sheet of case"), view.sheet_of_case),
        )
    else:
        rest = (
            Fact(_("pack"), view.pack),
            Fact(_("contents list"), view.contents_list),
            Fact(_("sheet of case"), view.sheet_of_case),
        )
    kind = _("Count sheet, filled from the record") if view.filled else _("Count sheet")
    return Head(kind, view.subject, view.number, view.code, common + rest, right=Sticker())


def _asset(code: str) -> str:
    """The pack without its round: paper names the pack, only the label on the pack names its round too.

    So a scan of this sheet cannot pass for a scan of the pack.
    """
    parts = [(e.ai, e.value) for e in gs1.parse(code).elements if e.ai != "91"]
    return gs1.build(parts) if parts else ""


def _pack_band(view: CountSheetView) -> Block:
    """Above the list: the pack by number and code, and whether it is complete to its list."""
    asset = _asset(view.pack_code)
    symbol = datamatrix.modules(asset) if asset else None
    side = A4.grid.mm(symbol.size * SHEET_LINE_DOTS) if symbol else 0.0
    height = max(12.0, side + 4.2)
    x = LEFT + 1.0 + (side + 3.0 if symbol else 0.0)
    state = view.short or _("complete to the list")

    def draw(paper: Paper, top: float) -> None:
        if symbol:
            paper.matrix(LEFT + 1.0, top + 2.0, symbol, SHEET_LINE_DOTS)
        wide = paper.exact(x, top + 6.2, view.pack, 11, width=60, least=8, face=Face.BOLD)
        state_x = x + wide + 4
        paper.exact(state_x, top + 6.2, state, 10, width=RIGHT - state_x, least=7, face=Face.BOLD)
        if asset:
            text = paper.exact(x, top + 10.3, gs1.hri(asset), 7, width=62, face=Face.MONO)
            said = _("the pack, without its round: scan the label on the pack to show that it is here")
            paper.fitted(x + text + 4, top + 10.3, said, 7.5, width=RIGHT - x - text - 4, least=7)
        paper.rule(LEFT, RIGHT, top + height - ROW_RULE, ROW_RULE)

    return Block(height, draw)


def _stage_width(stages: int) -> float:
    if stages > 6:
        return 84.0 / stages
    return {1: 20.0, 2: 20.0, 3: 20.0, 4: 17.0}.get(stages, 14.0)


def _stage_edges(stages: int) -> list[tuple[float, float]]:
    width = _stage_width(stages)
    first = RIGHT - width * stages
    return [(first + n * width, first + (n + 1) * width) for n in range(stages)]


def _soft_edges(stages: int) -> list[tuple[float, float]]:
    first = LEFT + _ITEM + _PACKED
    later_x = first + _FIRST + _BOXES * _ADDED + _TOTAL
    width = (RIGHT - later_x) / max(1, stages - 1)
    later = [(later_x + n * width, later_x + (n + 1) * width) for n in range(stages - 1)]
    return [(first, first + _FIRST), *later]


def _stage_columns(stages: Sequence[StageHead], edges: Sequence[tuple[float, float]]) -> list[Column]:
    return [
        Column((left + right) / 2, stage.word, Align.CENTRE, over=stage.mark, width=right - left - 0.6)
        for stage, (left, right) in zip(stages, edges, strict=True)
    ]


def _uprights(paper: Paper, top: float, height: float, xs: Sequence[float]) -> None:
    for x in xs:
        paper.upright(x, top, top + height)


def _pack_body(view: CountSheetView, edges: Sequence[tuple[float, float]]) -> tuple[Block | Table, ...]:
    expected_left = edges[0][0] - _EXPECTED
    xs = [expected_left, *(left for left, _right in edges), RIGHT - ROW_RULE]
    columns = column_heads(
        (
            Column(LEFT + 7, _("no."), Align.RIGHT),
            Column(_NAME_X, _("instrument, ◆ critical")),
            Column(edges[0][0] - _EXPECTED / 2, _("expected"), Align.CENTRE),
            *_stage_columns(view.stages, edges),
        ),
        10.0,
    )
    sections = tuple(_pack_section(section, xs, expected_left) for section in view.sections)
    if view.filled:
        return (_pack_band(view), Table(sections=sections, columns=columns))
    added = Section(
        tuple(_blank_row(xs) for _n in range(view.added_rows)),
        head=section_head(
            _("Added after the first count"),
            hint=_("write what came onto the field, and the number"),
            continued=_("(continued)"),
        ),
        fill=lambda _n: _blank_row(xs),
    )
    return (_pack_band(view), Table(sections=(*sections, added), columns=columns))


def _pack_section(section: CountSection, xs: Sequence[float], expected_left: float) -> Section:
    lines = len(section.rows)
    head = section_head(
        section.title,
        right=ngettext("{lines} line", "{lines} lines", lines).format(lines=lines),
        continued=_("(continued)"),
    )
    return Section(tuple(_pack_row(row, xs, expected_left) for row in section.rows), head=head)


def _pack_row(row: CountRow, xs: Sequence[float], expected_left: float) -> Row:
    room = expected_left - _NAME_X - 1.5
    note = lettering.fit(row.note, room, 8, least=7.5, face=Face.OBLIQUE)
    note_wide = lettering.width(note.lines[0], note.size, Face.OBLIQUE)
    beside = lettering.width(row.name, 10) + note_wide + 2.5 <= room
    name = lettering.fit(row.name, room, 10, least=9 if row.note else 8, lines=2)
    below = bool(row.note) and not beside
    lines = len(name.lines) + below
    height = _ROW if lines <= 2 else _ROW + 3.4
    first = 5.3 if lines == 1 else 3.5

    def draw(paper: Paper, top: float) -> None:
        paper.exact(LEFT + 7, top + 5.3, str(row.number), 9, width=7, align=Align.RIGHT)
        if row.critical:
            _critical(paper, LEFT + 9.9, top + 4.1)
        paper.lines(_NAME_X, top + first, name, pitch=3.5)
        if below:
            paper.lines(_NAME_X, top + height - 1.2, note, pitch=0, face=Face.OBLIQUE)
        elif row.note:
            paper.lines(expected_left - 1.5, top + 5.3, note, pitch=0, face=Face.OBLIQUE, align=Align.RIGHT)
        paper.exact(
            expected_left + _EXPECTED / 2,
            top + 5.9,
            str(row.expected),
            14,
            width=_EXPECTED - 2,
            face=Face.BOLD,
            align=Align.CENTRE,
        )
        _figures(paper, top + 5.9, row.figures, xs[1:])
        _uprights(paper, top, height, xs)

    return Row(height, draw, number=row.number)


def _figures(paper: Paper, y: float, figures: Sequence[str], xs: Sequence[float]) -> None:
    """What was counted, one figure in each column between two uprights."""
    for figure, left, right in zip(figures, xs, xs[1:], strict=False):
        paper.exact((left + right) / 2, y, figure, 12, width=right - left - 1, least=7, align=Align.CENTRE)


def _critical(paper: Paper, x: float, y: float) -> None:
    """The filled lozenge that marks a critical line."""
    half = 1.3
    paper.polygon([(x, y - half), (x + half, y), (x, y + half), (x - half, y)])


def _blank_row(xs: Sequence[float]) -> Row:
    return Row(_WRITTEN, lambda paper, top: _uprights(paper, top, _WRITTEN, xs))


def _soft_body(view: CountSheetView, edges: Sequence[tuple[float, float]]) -> tuple[Table, ...]:
    boxes = [edges[0][1] + n * _ADDED for n in range(_BOXES + 1)]
    total = (boxes[-1], boxes[-1] + _TOTAL)
    packed = LEFT + _ITEM
    xs = [packed, edges[0][0], *boxes, total[1], *(left for left, _r in edges[2:]), RIGHT - ROW_RULE]
    columns = column_heads(
        (
            Column(LEFT + 1, _("item")),
            Column(packed + _PACKED / 2, _("in packs"), Align.CENTRE, width=_PACKED),
            Column((boxes[0] + boxes[-1]) / 2, _("added, as they come on"), Align.CENTRE),
            Column(sum(total) / 2, _("total"), Align.CENTRE),
            *_stage_columns(view.stages, edges),
        ),
        10.0,
    )
    sections = tuple(_soft_section(section, xs, packed) for section in view.soft)
    if view.filled:
        return (Table(sections=sections, columns=columns),)
    blank = Section(
        tuple(_blank_row(xs) for _n in range(view.blank_kinds)),
        head=section_head(
            _("Added kinds"), hint=_("write the item and how it is packed"), continued=_("(continued)")
        ),
    )
    return (Table(sections=(*sections, blank), columns=columns),)


def _soft_section(section: SoftSection, xs: Sequence[float], packed: float) -> Section:
    rows = tuple(_soft_row(row, xs, packed) for row in section.rows)
    return Section(rows, head=section_head(section.title, continued=_("(continued)")))


def _soft_row(row: SoftRow, xs: Sequence[float], packed: float) -> Row:
    name = lettering.fit(row.name, _ITEM - 2, 10, least=8, lines=2)
    first = 5.8 if len(name.lines) == 1 else 4.0

    def draw(paper: Paper, top: float) -> None:
        paper.lines(LEFT + 1, top + first, name, pitch=3.6)
        paper.exact(
            packed + _PACKED / 2,
            top + 6.0,
            row.in_packs,
            11,
            width=_PACKED - 1,
            face=Face.BOLD,
            align=Align.CENTRE,
        )
        _figures(paper, top + 6.0, _soft_figures(row), xs[1:])
        _uprights(paper, top, _WRITTEN, xs)

    return Row(_WRITTEN, draw)


def _soft_figures(row: SoftRow) -> tuple[str, ...]:
    """First count, the six boxes of what came on since, the sum, later counts. What has no box of its own is
    summed in the last one.
    """
    boxes = list(row.added[: _BOXES - 1])
    rest = row.added[_BOXES - 1 :]
    if rest:
        boxes.append(rest[0] if len(rest) == 1 else f"{sum(map(int, rest)):+d}")
    boxes += [""] * (_BOXES - len(boxes))
    return (row.first, *boxes, row.total, *row.figures)


def _initials(edges: Sequence[tuple[float, float]]) -> Band:
    """Ends every list page: one split box per stage for the two people's initials."""
    words_ = _("both initial this page")

    def draw(paper: Paper, top: float) -> None:
        paper.text(edges[0][0] - 4, top + 7.4, words_, 9, Face.BOLD, Align.RIGHT)
        for left, right in edges:
            paper.box(Area(left, top + 2, right - left, 10), Stroke(0.3))
            paper.line([(left + 1.2, top + 10.8), (right - 1.2, top + 3.2)], Stroke(0.2))

    return Band(13.0, draw)
