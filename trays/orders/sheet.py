"""The order on paper: to whom, where to, what, at what price; it leaves the house."""

from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.orders.kinds import DocLine, OrderDoc
from trays.orders.money import plain
from trays.symbols import lettering
from trays.symbols.a4 import LEFT, RIGHT, Fact, Head, Sheet, draw_sheet
from trays.symbols.lettering import Face
from trays.symbols.pages import Band, Block, Row, Section, Table
from trays.symbols.paper import COLUMN_RULE, Align, Paper
from trays.symbols.parts import Column, column_heads, together
from trays.web.paper import printed, words

_NUMBER_RIGHT = 28.0
_WHAT_X = 31.0
_WHAT_WIDTH = 82.0
_QUANTITY_RIGHT = 132.0
_PRICE_RIGHT = 161.0
_TOTAL_RIGHT = RIGHT
_ROW = 12.5


def order_pdf(doc: OrderDoc) -> bytes:
    """The PDF of one order, A4. Raises Refusal "not-printed" where a number or name would have to be cut."""
    return printed(lambda: draw_sheet(_paper(doc)))


def _paper(doc: OrderDoc) -> Sheet:
    rows = tuple(_row(line) for line in doc.lines)
    return Sheet(
        head=_head(doc),
        body=(
            _sentences([doc.kind_words, doc.note]),
            Table(sections=(Section(rows),), columns=_columns(doc.currency)),
            together(_total(doc), _parties(doc), gap=2.0),
        ),
        caution=_("Prices as agreed, without tax. Please quote the order's number on note and invoice."),
        printed=doc.printed,
        words=words(sheet=_("Order {number} · approved {printed}")),
        language=doc.language,
    )


def _head(doc: OrderDoc) -> Head:
    needed = date_words(doc.needed_by, "j M Y") if doc.needed_by else _("by your lead time")
    return Head(
        kind=_("Order · %(kind)s") % {"kind": doc.kind_name.lower()},
        subject=doc.supplier.name,
        number=doc.number,
        code=doc.code,
        facts=(
            Fact(_("order"), doc.number),
            Fact(_("issued"), date_words(doc.issued_on, "j M Y")),
            Fact(_("deliver to"), doc.deliver_to.name if doc.brings else _("nothing to send"), exact=False),
            Fact(_("needed by"), needed if doc.brings else "–"),
            Fact(_("approved by"), doc.approved_by, exact=False),
            Fact(_("total"), f"{plain(doc.total)} {doc.currency}"),
        ),
    )


def _columns(currency: str) -> Band:
    return column_heads(
        (
            Column(_NUMBER_RIGHT, _("no."), Align.RIGHT),
            Column(_WHAT_X, _("what")),
            Column(_QUANTITY_RIGHT, _("order"), Align.RIGHT),
            Column(_PRICE_RIGHT, _("each, %(currency)s") % {"currency": currency}, Align.RIGHT),
            Column(_TOTAL_RIGHT, _("total, %(currency)s") % {"currency": currency}, Align.RIGHT),
        )
    )


def _sentences(sentences: list[str]) -> Block:
    """What the supplier is to do, and what we add to it."""
    lines = [
        line for sentence in sentences if sentence for line in lettering.wrap(sentence, RIGHT - LEFT, 10)
    ]

    def draw(paper: Paper, top: float) -> None:
        for number, line in enumerate(lines):
            paper.text(LEFT, top + 5.6 + number * 4.8, line, 10)

    return Block(4.0 + 4.8 * len(lines), draw)


def _row(line: DocLine) -> Row:
    name = lettering.wrap(_name(line), _WHAT_WIDTH, 10, Face.BOLD)
    if len(name) > 2:
        name = list(lettering.fit(_name(line), _WHAT_WIDTH, 10, least=8.5, lines=2, face=Face.BOLD).lines)
    codes = _code_lines(line)
    height = _ROW + 4.2 * (len(name) - 1) + 3.2 * (len(codes) - 1)

    def draw(paper: Paper, top: float) -> None:
        paper.exact(_NUMBER_RIGHT, top + 5.6, str(line.number), 10, width=8, align=Align.RIGHT)
        for number, part in enumerate(name):
            paper.text(_WHAT_X, top + 5.2 + number * 4.2, part, 10, Face.BOLD)
        y = top + 5.4 + 4.2 * len(name)
        for number, part in enumerate(codes):
            paper.exact(_WHAT_X, y + number * 3.2, part, 7, width=_WHAT_WIDTH, face=Face.MONO)
        _draw_figures(paper, top, line)

    return Row(height, draw, number=line.number)


def _draw_figures(paper: Paper, top: float, line: DocLine) -> None:
    paper.exact(
        _QUANTITY_RIGHT,
        top + 6.4,
        str(line.quantity),
        14,
        width=20,
        least=10,
        face=Face.BOLD,
        align=Align.RIGHT,
    )
    if line.boxes:
        paper.text(_QUANTITY_RIGHT, top + 10.6, _boxes(line), 7.5, align=Align.RIGHT)
    paper.exact(_PRICE_RIGHT, top + 5.8, plain(line.unit_price), 10, width=28, least=7, align=Align.RIGHT)
    paper.exact(_TOTAL_RIGHT, top + 5.8, plain(line.total), 10, width=34, least=7, align=Align.RIGHT)


def _name(line: DocLine) -> str:
    size = _("size %(size)s") % {"size": line.size} if line.size else ""
    bare = lettering.bare_name(line.name, line.size, size, line.side)
    return ", ".join(word for word in (bare, size, line.side) if word)


def _code_lines(line: DocLine) -> list[str]:
    """The codes of a line, as many side by side as there is room for: none is ever cut."""
    parts = [f"(01){line.gtin}"] if line.gtin else []
    parts.append(line.code)
    if line.lot:
        parts.append(_("used: lot %(lot)s") % {"lot": line.lot})
    if line.serial:
        parts.append(_("used: serial %(serial)s") % {"serial": line.serial})
    lines = parts[:1]
    for part in parts[1:]:
        longer = f"{lines[-1]} · {part}"
        if lettering.width(longer, 7, Face.MONO) <= _WHAT_WIDTH:
            lines[-1] = longer
        else:
            lines.append(part)
    return lines


def _boxes(line: DocLine) -> str:
    words = ngettext("%(boxes)s box of %(box)s", "%(boxes)s boxes of %(box)s", line.boxes)
    return words % {"boxes": line.boxes, "box": line.box}


def _total(doc: OrderDoc) -> Block:
    def draw(paper: Paper, top: float) -> None:
        paper.rule(_QUANTITY_RIGHT, RIGHT, top + 1.0, COLUMN_RULE)
        paper.text(_PRICE_RIGHT, top + 8.0, _("Total, %(currency)s") % {"currency": doc.currency}, 10,
                   Face.BOLD, Align.RIGHT)  # fmt: skip
        paper.exact(
            _TOTAL_RIGHT, top + 8.0, plain(doc.total), 13, width=36, least=8, face=Face.BOLD,
            align=Align.RIGHT,
        )  # fmt: skip

    return Block(12.0, draw)


def _parties(doc: OrderDoc) -> Block:
    """Who orders, from whom, and where to, each with its location number for machines."""
    columns = [
        (_("buyer"), doc.buyer),
        (_("supplier"), doc.supplier),
        *([(_("deliver to"), doc.deliver_to)] if doc.brings else []),
    ]

    def draw(paper: Paper, top: float) -> None:
        for turn, (label, party) in enumerate(columns):
            x = LEFT + turn * 60.0
            paper.text(x, top + 4.0, label, 7)
            paper.fitted(x, top + 8.4, party.name, 10, width=57, least=7.5, face=Face.BOLD)
            if party.gln:
                paper.text(x, top + 12.4, f"(414){party.gln}", 7, Face.MONO)

    return Block(16.0, draw)
