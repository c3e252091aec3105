"""The reorder list on paper, A4: by supplier, with a box to tick once sent. No prices: orders have them."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.reorders.listing import ListLine, ListSupplier, ReorderList
from trays.symbols import datamatrix, lettering
from trays.symbols.a4 import RIGHT, Fact, Head, Sheet, draw_sheet
from trays.symbols.lettering import Face
from trays.symbols.pages import Band, Block, Row, Section, Table
from trays.symbols.paper import Align, Paper
from trays.symbols.parts import Column, column_heads, section_head, signed, together
from trays.symbols.stock import SHEET_LINE_DOTS
from trays.web.paper import printed, words

_NUMBER_RIGHT = 25.0
_CODE_X = 29.0
_WHAT_X = 43.0
_WHAT_WIDTH = 78.0
_KIND_X = 123.0
_KIND_WIDTH = 25.0
_SHELF_RIGHT = 156.0
_DUE_RIGHT = 165.0
_LEVEL_RIGHT = 174.0
_ORDER_RIGHT = 187.0
_ROW = 12.5
_TALL_ROW = 16.7


def reorder_list_pdf(found: ReorderList) -> bytes:
    """The PDF. Raises Refusal "not-printed" where a number or size would have to be cut."""
    return printed(lambda: draw_sheet(paper_sheet(found)))


def paper_sheet(found: ReorderList) -> Sheet:
    """The list laid out, not yet drawn."""
    body: list[Table | Block] = []
    if found.suppliers:
        body.append(Table(sections=tuple(map(_section, found.suppliers)), columns=_columns()))
    body.append(
        together(
            signed(_("Approved"), _("name"), _("signature"), _("time")),
            signed(_("Sent"), _("name"), _("signature"), _("time")),
            gap=3.0,
        )
    )
    return Sheet(
        head=Head(
            kind=_("Reorder list"),
            subject=found.site,
            number=found.number,
            code="",
            facts=(
                Fact(_("made"), found.made, exact=False),
                Fact(_("first to be ordered"), found.first, exact=False),
                Fact(_("lines"), str(found.lines)),
            ),
        ),
        body=tuple(body),
        caution=_(
            "Check item, size, side and quantity against the shelf before sending. “Bill only” buys nothing "
            "new: it pays for what was used."
        ),
        printed=found.made,
        words=words(),
        language=found.language,
    )


def _columns() -> Band:
    return column_heads(
        (
            Column(_NUMBER_RIGHT, _("no."), Align.RIGHT),
            Column(_CODE_X, _("GTIN")),
            Column(_WHAT_X, _("item, reason")),
            Column(_KIND_X, _("kind")),
            Column(_SHELF_RIGHT, _("shelf"), Align.RIGHT),
            Column(_DUE_RIGHT, _("due"), Align.RIGHT),
            Column(_LEVEL_RIGHT, _("level"), Align.RIGHT),
            Column(_ORDER_RIGHT, _("order"), Align.RIGHT),
            Column(RIGHT, _("sent"), Align.RIGHT),
        )
    )


def _section(supplier: ListSupplier) -> Section:
    count = len(supplier.lines)
    head = section_head(
        supplier.name,
        right=ngettext("{lines} line", "{lines} lines", count).format(lines=count),
        continued=_("(continued)"),
    )
    return Section(tuple(map(_row, supplier.lines)), head=head)


def _name(line: ListLine) -> tuple[str, ...]:
    """One line at 10 where all fits; else two, the size and side whole on the second."""
    size = _("size %(size)s") % {"size": line.size} if line.size else ""
    tail = ", ".join(part for part in (size, line.side) if part)
    whole = f"{line.name}, {tail}" if tail else line.name
    if lettering.width(whole, 10, Face.BOLD) <= _WHAT_WIDTH:
        return (whole,)
    if not tail:
        return tuple(lettering.fit(line.name, _WHAT_WIDTH, 10, least=8.5, lines=2, face=Face.BOLD).lines)
    first = lettering.cut_middle(f"{line.name},", _WHAT_WIDTH, 10, Face.BOLD)
    return (first, *lettering.exact(tail, _WHAT_WIDTH, 10, least=7, face=Face.BOLD).lines)


def _row(line: ListLine) -> Row:
    name = _name(line)
    height = _ROW if len(name) == 1 else _TALL_ROW
    symbol = datamatrix.modules(f"01{line.gtin}") if len(line.gtin) == 14 else None

    def draw(paper: Paper, top: float) -> None:
        paper.exact(_NUMBER_RIGHT, top + 7.0, str(line.number), 10, width=7, align=Align.RIGHT)
        if symbol is not None:
            paper.matrix(_CODE_X, top + 2.4, symbol, SHEET_LINE_DOTS)
        for number, part in enumerate(name):
            paper.text(_WHAT_X, top + 4.6 + number * 4.2, part, 10, Face.BOLD)
        y = top + 4.6 + 4.2 * (len(name) - 1)
        paper.fitted(_WHAT_X, y + 3.7, line.reason, 8.5, width=_WHAT_WIDTH, least=7)
        if line.gtin:
            paper.exact(_WHAT_X, y + 6.9, f"(01){line.gtin}", 7, width=_WHAT_WIDTH, face=Face.MONO)
        paper.fitted(_KIND_X, top + 7.0, line.kind, 9, width=_KIND_WIDTH, least=7)
        _figures(paper, top)
        paper.tick(RIGHT - 6.4, top + 2.8, 6.3)

    def _figures(paper: Paper, top: float) -> None:
        for right, value in (
            (_SHELF_RIGHT, line.shelf),
            (_DUE_RIGHT, line.due),
            (_LEVEL_RIGHT, line.level),
        ):
            words = "–" if value is None else str(value)
            paper.exact(right, top + 7.2, words, 10, width=8, least=7, align=Align.RIGHT)
        paper.exact(
            _ORDER_RIGHT, top + 7.6, str(line.order), 14, width=12, least=9, face=Face.BOLD, align=Align.RIGHT
        )
        if line.extra:
            paper.fitted(_KIND_X, top + 10.8, line.extra, 7.5, width=_KIND_WIDTH, least=6.5)

    return Row(height, draw, number=line.number)
