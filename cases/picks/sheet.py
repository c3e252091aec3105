"""The pick list on paper: size run, lines in walking order, signatures."""


from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.picks.kinds import NotOnSite, PickPlace, PickRow, PickSheet
from cases.picks.sheet_run import GROUP_MARKS, size_run
from trays.symbols import datamatrix, lettering, marks
from trays.symbols.a4 import LEFT, RIGHT, Fact, Head, Sheet, VerdictPanel, draw_sheet
from trays.symbols.lettering import Face
from trays.symbols.pages import Band, Block, Row, Section, Table
from trays.symbols.paper import Align, Paper, Stroke
from trays.symbols.parts import Column, column_heads, free_lines, section_head, signed, together
from trays.symbols.stock import SHEET_LINE_DOTS, Area
from trays.web.paper import printed, words

# Columns, mm from the page's left edge (paper rules: tick 9, no. 8, code 13, what 84, group 24, take 10,
# bin 14, picked by 16).
_NUMBER_RIGHT = 36.0
_CODE_X = 38.0
_WHAT_X = 50.5
_WHAT_WIDTH = 82.0
_GROUP_X = 134.0
_TAKE_RIGHT = 165.5
_BIN_X = 168.0
_PICKED_X = 182.0
_ROW = 11.5
_TALL_ROW = 15.5


def pick_list_pdf(sheet: PickSheet) -> bytes:
    """The PDF of one pick list, A4.

    Refuses ("not-printed") where a number, side, size, lot or date would have to be cut, or a code cannot be
    made: then nothing is printed.
    """
    return printed(lambda: draw_sheet(paper_sheet(sheet)))


def paper_sheet(sheet: PickSheet) -> Sheet:
    """The pick list laid out, not yet drawn."""
    sections = tuple(_section(place) for place in sheet.places)
    if sheet.not_on_site:
        sections += (_missing_section(sheet.not_on_site),)
    note = sheet.replaced or sheet.changed_since
    body: list[Table | Block] = [_notice(note)] if note else []
    body += size_run(sheet)
    if sections:
        body.append(Table(sections=sections, columns=_columns()))
    body.append(
        together(
            free_lines(_("Left off or changed"), _("line, what instead, who agreed"), 2),
            signed(_("Picked"), _("name"), _("signature"), _("time")),
            signed(_("Checked"), _("name"), _("signature"), _("time")),
            gap=3.0,
        )
    )
    return Sheet(
        head=_head(sheet),
        body=tuple(body),
        caution=sheet.caution,
        printed=sheet.printed,
        note=_foot_note(sheet),
        words=words(),
        language=sheet.language,
    )


def _foot_note(sheet: PickSheet) -> str:
    """The same in short for the foot of every page."""
    if sheet.replaced:
        return _("replaced by a newer list")
    return _("changed since it was made, see page 1") if sheet.changed_since else ""


def _notice(sentence: str) -> Block:
    """What has happened since, boxed above everything else: by such a list nobody picks unawares."""
    lines = lettering.wrap(sentence, RIGHT - LEFT - 6, 10, Face.BOLD)
    height = 4.0 + 4.6 * len(lines)

    def draw(paper: Paper, top: float) -> None:
        paper.box(Area(LEFT, top + 2, RIGHT - LEFT, height), Stroke(0.6))
        for number, line in enumerate(lines):
            paper.text(LEFT + 3, top + 7.2 + number * 4.6, line, 10, Face.BOLD)

    return Block(height + 3.0, draw)


def _head(sheet: PickSheet) -> Head:
    verdict = sheet.verdict
    levels = tuple(
        f"{level.label}: {level.word}" + (f", {level.figures}" if level.figures else "")
        for level in (verdict.in_room, verdict.on_site)
    )
    return Head(
        kind=_("Pick list"),
        subject=sheet.subject,
        side=sheet.side,
        number=sheet.number,
        code=sheet.code,
        facts=(
            Fact(_("case"), sheet.reference),
            Fact(_("list"), sheet.day),
            Fact(_("theatre, position"), f"{sheet.theatre} · {sheet.position}", exact=False),
            Fact(_("surgeon"), sheet.surgeon, exact=False),
            Fact(_("about"), sheet.starts),
            Fact(_("made"), sheet.made, exact=False),
        ),
        right=VerdictPanel(_verdict_mark(verdict.state), verdict.word, levels, " ".join(verdict.reasons)),
    )


def _verdict_mark(state: str) -> marks.Verdict:
    return marks.Verdict.NOT_KNOWN if state == "unknown" else marks.Verdict(state)


def _columns() -> Band:
    return column_heads(
        (
            Column(_NUMBER_RIGHT, _("no."), Align.RIGHT),
            Column(_CODE_X, _("line")),
            Column(_WHAT_X, _("what")),
            Column(_GROUP_X, _("group")),
            Column(_TAKE_RIGHT, _("take"), Align.RIGHT),
            Column(_BIN_X, _("bin")),
            Column(_PICKED_X + 1.0, _("picked by")),
        )
    )


def _count_word(lines: int) -> str:
    return ngettext("{lines} line", "{lines} lines", lines).format(lines=lines)


def _section(place: PickPlace) -> Section:
    head = section_head(
        place.name,
        number=str(place.number),
        hint=place.hint,
        right=_count_word(len(place.rows)),
        continued=_("(continued)"),
    )
    return Section(tuple(_row(row) for row in place.rows), head=head)


def _name_of(row: PickRow | NotOnSite) -> tuple[str, str]:
    """The name that may give way, and the tail (size and side) that never does."""
    unit = (
        row.thing == "unit"
        if isinstance(row, PickRow)
        else row.mark in ("likely", "keep_sealed", "contingency")
    )
    size = _("size %(size)s") % {"size": row.size} if unit and row.size else row.size
    bare = lettering.bare_name(row.name, row.size, size, row.side)
    return bare, ", ".join(word for word in (size, row.side) if word)


def _name_lines(name: str, tail: str) -> tuple[tuple[str, ...], float]:
    """Lines and size of a line's name: one if all fits at 10, else two, the tail always whole."""
    whole = f"{name}, {tail}" if tail else name
    if lettering.width(whole, 10, Face.BOLD) <= _WHAT_WIDTH:
        return (whole,), 10.0
    for size in (10.0, 9.5, 9.0, 8.5):
        lines = lettering.wrap(name, _WHAT_WIDTH, size, Face.BOLD)
        last = f"{lines[-1]}, {tail}" if tail else lines[-1]
        if len(lines) <= 2 and lettering.width(last, size, Face.BOLD) <= _WHAT_WIDTH:
            return (*lines[:-1], last), size
        if len(lines) == 1 and tail:
            tail_line = lettering.exact(tail, _WHAT_WIDTH, size, least=7, face=Face.BOLD)
            return (f"{name},", *tail_line.lines), size
    tail = f", {tail}" if tail else ""
    room = _WHAT_WIDTH - lettering.width(tail, 8.5, Face.BOLD)
    first = lettering.wrap(name, _WHAT_WIDTH, 8.5, Face.BOLD)[0]
    rest = lettering.cut_middle(name[len(first) :].strip(), room, 8.5, Face.BOLD)
    return (first, rest + tail), 8.5


def _draw_what(
    paper: Paper, top: float, made: tuple[tuple[str, ...], float], detail: str, *, wraps: bool = False
) -> None:
    lines, size = made
    for number, line in enumerate(lines):
        paper.text(_WHAT_X, top + 4.9 + number * 4.2, line, size, Face.BOLD)
    y = top + 5.0 + 4.2 * len(lines)
    paper.fitted(_WHAT_X, y, detail, 8.5, width=_WHAT_WIDTH, least=7, lines=2 if wraps else 1, pitch=3.4)


def _row(row: PickRow) -> Row:
    made = _name_lines(*_name_of(row))
    height = _ROW if len(made[0]) == 1 else _TALL_ROW
    symbol = datamatrix.modules(row.code) if row.code else None

    def draw(paper: Paper, top: float) -> None:
        paper.tick(LEFT + 0.6, top + 2.6, 6.3)
        paper.exact(_NUMBER_RIGHT, top + 6.9, str(row.number), 9, width=8, align=Align.RIGHT)
        if symbol is not None:
            paper.matrix(_CODE_X, top + 1.9, symbol, SHEET_LINE_DOTS)
        _draw_what(paper, top, made, row.detail)
        _draw_group(paper, top, row)
        paper.exact(_TAKE_RIGHT, top + 7.4, str(row.take), 13, width=9, face=Face.BOLD, align=Align.RIGHT)
        paper.exact(_BIN_X, top + 7.0, row.bin, 10, width=13.5, least=7, face=Face.BOLD)
        paper.upright(_PICKED_X, top, top + height)

    return Row(height, draw, number=row.number)


def _draw_group(paper: Paper, top: float, row: PickRow | NotOnSite) -> None:
    mark = GROUP_MARKS.get(row.mark)
    y = top + (5.2 if row.site_minimum else 6.9)
    if mark is not None:
        marks.draw_group(paper, mark, _GROUP_X, y - 2.5)
    paper.fitted(_GROUP_X + 4.2, y, row.group_word, 8.5, width=18, least=7)
    if row.site_minimum:
        paper.fitted(_GROUP_X + 4.2, y + 4.0, _("site minimum"), 8.5, width=18, least=7)


def _missing_section(missing: tuple[NotOnSite, ...]) -> Section:
    """What the list wants and the site has not: words, no box to tick, no code."""
    head = section_head(
        _("Not on site"),
        hint=_("wanted, and not found on any shelf"),
        right=_count_word(len(missing)),
        continued=_("(continued)"),
    )
    return Section(tuple(_missing_row(row) for row in missing), head=head)


def _missing_row(row: NotOnSite) -> Row:
    made = _name_lines(*_name_of(row))
    long = lettering.width(row.why, 8.5) > _WHAT_WIDTH
    height = _ROW + 4.0 * (len(made[0]) - 1) + (3.4 if long else 0.0)

    def draw(paper: Paper, top: float) -> None:
        paper.fitted(LEFT + 0.6, top + 6.9, _("not on site"), 8.5, width=28, least=7, face=Face.OBLIQUE)
        _draw_what(paper, top, made, row.why, wraps=long)
        _draw_group(paper, top, row)
        paper.exact(_TAKE_RIGHT, top + 7.4, str(row.take), 13, width=9, face=Face.BOLD, align=Align.RIGHT)

    return Row(height, draw)
