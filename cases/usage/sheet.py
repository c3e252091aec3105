"""The implant record on paper: a form to write on, or filled from the record; one sheet for each construct.

What the program fills in is in the typewriter's face, so that it never passes for something written by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.usage.record_view import Block as Piece
from cases.usage.record_view import RecordView, SignView, StopView, record_views
from trays.symbols import datamatrix, lettering
from trays.symbols.a4 import LEFT, RIGHT, WIDTH, Fact, Head, Sheet, Sticker, draw_sheets
from trays.symbols.lettering import Face
from trays.symbols.pages import Block, Row, Section, Table
from trays.symbols.paper import HEAD_RULE, ROW_RULE, SECTION_RULE, Align, Paper, Stroke
from trays.symbols.parts import free_lines, together
from trays.symbols.payload import PayloadRefused
from trays.symbols.stock import A4, SHEET_LINE_DOTS, Area
from trays.web.paper import printed, words

_BLOCK, _STOP = 55.5, 40.4
_TICK = 6.4
_TEXT_X = LEFT + 9.2
_BOX = Area(63.2, 2.6, 72.0, 49.5)
_FIELD_X, _HALF_X, _HALF = 139.4, 170.6, 28.0
_FIRST, _PITCH = 3.0, 10.4
_SIGN = 16.0


def implant_record_pdf(case: Case, *, at: datetime, blank: bool = False) -> bytes:
    """The PDF of a case: a sheet for each construct; blank to write on, or filled from the record.

    Refuses ("not-printed") as the pick list does: then nothing is printed.
    """
    views = record_views(case, at=at, blank=blank)
    title = _("Implant record %(reference)s") % {"reference": case.reference}
    return printed(lambda: draw_sheets([paper_sheet(view) for view in views], title=title))


def paper_sheet(view: RecordView) -> Sheet:
    """One sheet laid out, not yet drawn."""
    draw = _filled if view.filled else _form
    rows = tuple(Row(_BLOCK, draw(one), number=number) for number, one in enumerate(view.blocks, start=1))
    body: list[Table | Block] = [_stop_block(view)]
    if rows:
        body.append(Table(sections=(Section(rows),)))
    body += _filled_end(view) if view.filled else _blank_end(view)
    return Sheet(
        head=_head(view),
        body=tuple(body),
        caution=view.caution,
        printed=view.printed,
        words=replace(
            words(),
            lines=_("implants {first} to {last} of {total}"),
            one_line=_("implant {first} of {total}"),
            all_lines=_("{total} implants"),
        ),
        language=view.language,
    )


def _head(view: RecordView) -> Head:
    facts = (
        Fact(_("case"), view.reference),
        Fact(_("list"), view.day),
        Fact(_("theatre, position"), f"{view.theatre} · {view.position}", exact=False),
        Fact(_("surgeon"), view.surgeon, exact=False),
        Fact(_("planned"), view.planned, exact=False),
        Fact(_("construct"), view.construct),
    )
    kind = _("Implant record, filled from the record") if view.filled else _("Implant record")
    return Head(kind, view.subject, view.number, view.code, facts, side=view.side, right=Sticker())


# The stop before implanting


def _stop_block(view: RecordView) -> Block:
    stop = view.stop

    def draw(paper: Paper, top: float) -> None:
        wide = paper.text(LEFT, top + 5.4, _("Stop before implanting"), 12, Face.BOLD)
        paper.text(LEFT + wide + 2.5, top + 5.4, _("said aloud, boxes in view"), 8.5)
        paper.rule(LEFT, RIGHT, top + 8.0, SECTION_RULE)
        for number, (word, said) in enumerate(stop.said):
            x = LEFT + 1.0 + 91.2 * (number % 2)
            y = top + 10.1 + 10.65 * (number // 2)
            _said(paper, x, y, word, said if view.filled else None)
        _stop_time(paper, top, stop, filled=view.filled)
        paper.rule(LEFT, RIGHT, top + _STOP - HEAD_RULE, HEAD_RULE)

    return Block(_STOP, draw)


def _said(paper: Paper, x: float, y: float, word: str, said: bool | None) -> None:
    room = 82.0
    if said is None:
        paper.tick(x, y, _TICK)
        paper.fitted(x + 8.3, y + 4.4, word, 9.5, width=room - 3, least=8)
        return
    state = _("said") if said else _("not said")
    wide = paper.text(x, y + 4.4, state, 9, Face.MONO)
    paper.fitted(x + max(17.0, wide + 2), y + 4.4, word, 9.5, width=room - 13, least=7.5)


def _stop_time(paper: Paper, top: float, stop: StopView, *, filled: bool) -> None:
    x, y = LEFT + 92.2, top + 35.6
    paper.text(x, y, _("time"), 9.5)
    if filled:
        told = f"{stop.time}  {stop.by}".strip() or _("no stop on record")
        paper.fitted(x + 10.2, y, told, 9, width=RIGHT - x - 11, least=7, face=Face.MONO)
    else:
        paper.rule(x + 10.2, x + 39.4, top + 37.8, ROW_RULE)


# One implant, to write on


def _form(piece: Piece) -> Callable[[Paper, float], None]:
    fates = (_("implanted"), _("implanted, then out"), _("wasted"), _("returned sealed"))

    def draw(paper: Paper, top: float) -> None:
        _number(paper, top, piece)
        if not piece.slot:
            paper.text(_TEXT_X, top + 2.7, _("what"), 7)
            paper.rule(_TEXT_X, 58.2, top + 8.8, ROW_RULE)
        for number, word in enumerate(fates):
            y = top + 13.3 + number * 9.5
            paper.tick(LEFT + 1, y, _TICK)
            paper.fitted(_TEXT_X, y + 4.4, word, 9.5, width=_BOX.x - _TEXT_X - 1.5, least=8)
        area = Area(_BOX.x, top + _BOX.y, _BOX.width, _BOX.height)
        paper.box(area, Stroke(0.3, dashed=True), corner=1.5)
        word = _("maker’s peel-off label here")
        paper.text(area.x + area.width / 2, area.bottom - 2.2, word, 7, align=Align.CENTRE)
        _lines(paper, top)
        for x, said in (
            (_FIELD_X, (_("scanned before"), _("opening"))),
            (172.5, (_("card given"), _("or exempt"))),
        ):
            paper.tick(x, top + 44.4, _TICK)
            for line, half in enumerate(said):
                paper.fitted(x + 8.3, top + 46.9 + line * 3.6, half, 8.5, width=RIGHT - x - 8.3, least=7)

    return draw


def _number(paper: Paper, top: float, piece: Piece) -> None:
    wide = paper.exact(LEFT + 1, top + 8.1, str(piece.number), 18, width=14, least=10, face=Face.BOLD)
    x = max(_TEXT_X, LEFT + 1 + wide + 2)
    if piece.slot:
        paper.fitted(x, top + 8.1, piece.slot, 12, width=_BOX.x - x - 1.5, least=9, face=Face.BOLD)


def _lines(paper: Paper, top: float) -> None:
    rows: tuple[tuple[tuple[str, float, float], ...], ...] = (
        ((_("size, side"), _FIELD_X, _HALF), (_("time"), _HALF_X, RIGHT - _HALF_X)),
        ((_("lot"), _FIELD_X, _HALF), (_("use by"), _HALF_X, RIGHT - _HALF_X)),
        ((_("serial, or code if there is no label"), _FIELD_X, RIGHT - _FIELD_X),),
        ((_("why, if wasted or taken out"), _FIELD_X, RIGHT - _FIELD_X),),
    )
    for number, row in enumerate(rows):
        for word, x, width in row:
            paper.fitted(x, top + _FIRST + number * _PITCH, word, 7, width=width)
            paper.rule(x, x + width, top + _FIRST + 7.2 + number * _PITCH, ROW_RULE)


# One implant, from the record


def _filled(piece: Piece) -> Callable[[Paper, float], None]:
    def draw(paper: Paper, top: float) -> None:
        _number(paper, top, piece)
        width = _BOX.x - LEFT - 2.5
        y = top + 13.0
        for word, value in ((_("fate"), piece.fate), (_("why"), piece.why), (_("scanned"), piece.scanned)):
            if value:
                paper.text(LEFT + 1, y, word, 7)
                shown = paper.paragraph(
                    LEFT + 1, y + 3.6, value, 8.5, width=width, lines=3, pitch=3.5, face=Face.MONO
                )
                y += 5.2 + 3.5 * shown
        for note in piece.notes:
            y += 3.0 * paper.paragraph(LEFT + 1, y, note, 7, width=width, lines=4, pitch=3.0)
        _label(paper, piece, Area(_BOX.x, top + _BOX.y, _BOX.width, _BOX.height))
        _values(paper, piece, top)

    return draw


def _values(paper: Paper, piece: Piece, top: float) -> None:
    whole = RIGHT - _FIELD_X
    rows: tuple[tuple[tuple[str, str, float, float], ...], ...] = (
        ((_("size, side"), piece.size, _FIELD_X, _HALF), (_("time"), piece.time, _HALF_X, RIGHT - _HALF_X)),
        ((_("lot"), piece.lot, _FIELD_X, whole),),
        ((_("serial"), piece.serial, _FIELD_X, whole),),
        ((_("use by"), piece.use_by, _FIELD_X, _HALF), (_("card"), piece.card, _HALF_X, RIGHT - _HALF_X)),
    )
    for number, row in enumerate(rows):
        for word, value, x, width in row:
            y = top + _FIRST + number * _PITCH
            paper.text(x, y, word, 7)
            if word == _("card"):
                paper.fitted(x, y + 4.6, value, 8, width=width, least=7, lines=2, pitch=3.0, face=Face.MONO)
            else:
                paper.exact(x, y + 5.2, value, 10, width=width, least=7, face=Face.MONO)
            paper.rule(x, x + width, y + 7.2, ROW_RULE)


def _label(paper: Paper, piece: Piece, area: Area) -> None:
    """What stands on the maker's label, as it was read: name, maker, the UDI as symbol and as text."""
    paper.box(area, Stroke(0.3))
    x, width = area.x + 2.5, area.width - 5.0
    made = lettering.fit(piece.name, width, 10, least=8, lines=2, face=Face.BOLD)
    paper.lines(x, area.y + 5.4, made, pitch=4.2, face=Face.BOLD)
    y = area.y + 5.4 + 4.2 * len(made.lines)
    if piece.maker:
        paper.fitted(x, y, piece.maker, 8.5, width=width, least=7)
    y += 3.0
    symbol = _symbol(piece)
    text_x = x
    if symbol is not None:
        side = A4.grid.mm(symbol.size * SHEET_LINE_DOTS)
        paper.matrix(x + 0.9, y + 0.9, symbol, SHEET_LINE_DOTS)
        text_x = x + side + 3.6
    _udi(paper, piece.udi, text_x, y + 3.4, area)


def _symbol(piece: Piece) -> datamatrix.Modules | None:
    """The symbol where the UDI is GS1's; one that cannot be drawn leaves its text."""
    try:
        return datamatrix.modules(piece.payload) if piece.payload else None
    except PayloadRefused:
        return None


def _udi(paper: Paper, lines: Sequence[str], x: float, y: float, area: Area) -> None:
    room = area.right - x - 2.0
    each = max(1, int(room / lettering.width("0", 7.5, Face.MONO)))
    pieces = [line[at : at + each] for line in lines for at in range(0, len(line), each)]
    for number, piece in enumerate(pieces):
        if y + number * 3.2 > area.bottom - 1.0:
            break
        paper.text(x, y + number * 3.2, piece, 7.5, Face.MONO)


# The end


def _blank_end(view: RecordView) -> list[Table | Block]:
    blocks = [
        free_lines(_("Used against a caution"), _("which pair, the surgeon’s reason"), 2),
        free_lines(_("Anything else"), _("taken out, left in, changed, asked of the supplier"), 2),
        _gap(4.0),
        *(_sign_form(one) for one in view.signs),
    ]
    return [together(*blocks, gap=3.0)]


def _filled_end(view: RecordView) -> list[Table | Block]:
    parts: list[Table | Block] = []
    for title, sentences in (
        (_("Used against the rules"), view.decisions), (_("Taken out"), view.explants)
    ):  # fmt: skip
        if sentences:
            parts += [_told(title, sentence, first=n == 0) for n, sentence in enumerate(sentences)]
    parts.append(together(_gap(4.0), *(_sign_filled(one) for one in view.signs), gap=3.0))
    return parts


def _gap(height: float) -> Block:
    return Block(height, lambda paper, top: None)


def _told(title: str, sentence: str, *, first: bool) -> Block:
    lines = lettering.wrap(sentence, WIDTH, 8.5, Face.MONO)
    head = 7.0 if first else 1.5

    def draw(paper: Paper, top: float) -> None:
        if first:
            paper.text(LEFT, top + 5.0, title, 10, Face.BOLD)
        for number, line in enumerate(lines):
            paper.text(LEFT, top + head + 2.8 + number * 3.6, line, 8.5, Face.MONO)

    return Block(head + 3.6 * len(lines) + 1.0, draw, gap=2.0 if first else 0.0)


_SIGN_COLUMNS = ((56.0, 104.0), (108.0, 164.0), (168.0, RIGHT))


def _sign_form(one: SignView) -> Block:
    labels = (_("name"), _("signature"), _("time"))

    def draw(paper: Paper, top: float) -> None:
        paper.fitted(LEFT, top + 7.6, one.role, 10, width=34, least=8, face=Face.BOLD)
        for label, (left, right) in zip(labels, _SIGN_COLUMNS, strict=True):
            paper.text(left, top + 3.4, label, 7)
            paper.rule(left, right, top + 13.6, ROW_RULE)

    return Block(_SIGN, draw)


def _sign_filled(one: SignView) -> Block:
    labels = (_("name"), _("meaning, and how it stands at printing"), _("time"))
    stands = "; ".join(word for word in (one.meaning, one.state) if word) or _("not signed")

    def draw(paper: Paper, top: float) -> None:
        paper.fitted(LEFT, top + 7.6, one.role, 10, width=34, least=8, face=Face.BOLD)
        for label, value, (left, right) in zip(
            labels, (one.name, stands, one.time), _SIGN_COLUMNS, strict=True
        ):
            paper.fitted(left, top + 3.4, label, 7, width=right - left)
            paper.fitted(
                left, top + 7.6, value, 9, width=right - left, least=7, lines=2, pitch=3.6, face=Face.MONO
            )
            paper.rule(left, right, top + 13.6, ROW_RULE)

    return Block(_SIGN, draw)
