"""The size run on the pick list's paper: one row of cells per slot, and the key of the groups."""

from django.utils.translation import gettext as _

from cases.picks.kinds import PickSheet, RunCell, SizeRun
from trays.symbols import lettering, marks
from trays.symbols.a4 import LEFT, RIGHT
from trays.symbols.lettering import Face
from trays.symbols.pages import Block
from trays.symbols.paper import SECTION_RULE, Align, Paper, Stroke
from trays.symbols.parts import together
from trays.symbols.stock import Area

_CELL = 11.0
_PITCH = 11.7
_CELLS_X = 51.5
_LABEL_WIDTH = 30.0
# Long sizes widen the cells rather than shrink below this.
_SIZE_LEAST = 8.5
_SIDES = 1.8
# Where the words stand when the cells leave them their room; more cells push them to a line below.
_NOTE_X = _CELLS_X + 9 * _CELL + 2.5
_NOTE_LEAST = 24.0
_NOTE_LINE = 4.2

GROUP_MARKS = {
    "likely": marks.Group.LIKELY,
    "keep_sealed": marks.Group.KEEP_SEALED,
    "contingency": marks.Group.CONTINGENCY,
    "consumable": marks.Group.CONSUMABLE,
}
_FRAMES = {
    "likely": Stroke(0.75),
    "keep_sealed": Stroke(0.2),
    "contingency": Stroke(0.25, dashed=True),
}


def size_run(sheet: PickSheet) -> list[Block]:
    """One block per slot and the key; the first never stands alone at the foot of a page."""
    blocks = [_slot(run) for run in sheet.runs]
    return [*blocks[:-1], together(*blocks[-1:], _key(sheet))]


def _slot(run: SizeRun) -> Block:
    wide = _cell_width(run)
    most = int((RIGHT - _CELLS_X) / wide)
    rows = [run.cells[n : n + most] for n in range(0, len(run.cells), most)] or [()]
    note_x = max(_NOTE_X, _CELLS_X + max(len(row) for row in rows) * wide + 2.5)
    beside = RIGHT - note_x >= _NOTE_LEAST
    height = _PITCH * len(rows) + (0.0 if beside or not run.note else _NOTE_LINE)

    def draw(paper: Paper, top: float) -> None:
        _label(paper, top + 1.5, run)
        for number, row in enumerate(rows):
            for column, cell in enumerate(row):
                _cell(paper, _CELLS_X + column * wide, top + 1.5 + number * _PITCH, cell, wide)
        if beside:
            made = lettering.fit(run.note, RIGHT - note_x, 8, least=7, lines=3)
            y = top + 9.2 - 1.8 * len(made.lines)
            paper.lines(note_x, y, made, pitch=3.4)
        else:
            y = top + 1.5 + _PITCH * len(rows) + 2.0
            paper.fitted(_CELLS_X, y, run.note, 8, width=RIGHT - _CELLS_X, least=7)

    return Block(height, draw)


def _label(paper: Paper, y: float, run: SizeRun) -> None:
    """The slot's name gives way; side and unit stand whole, on a line of their own when they must."""
    tail = ", ".join(word for word in (run.side, run.unit) if word)
    whole = f"{run.label}, {tail}" if tail else run.label
    if lettering.width(whole, 10, Face.BOLD) <= _LABEL_WIDTH:
        paper.text(LEFT, y + 6.6, whole, 10, Face.BOLD)
    elif not tail:
        made = lettering.fit(whole, _LABEL_WIDTH, 10, least=8, lines=2, face=Face.BOLD)
        first = 6.6 if len(made.lines) == 1 else 4.8
        paper.lines(LEFT, y + first, made, pitch=4.2, face=Face.BOLD)
    else:
        made = lettering.fit(f"{run.label},", _LABEL_WIDTH, 10, least=8, lines=2, face=Face.BOLD)
        first, pitch = (4.8, 4.2) if len(made.lines) == 1 else (3.2, 3.4)
        paper.lines(LEFT, y + first, made, pitch=pitch, face=Face.BOLD)
        under = y + first + pitch * len(made.lines)
        paper.exact(LEFT, under, tail, 10, width=_LABEL_WIDTH, least=7.5, face=Face.BOLD)


def _cell_width(run: SizeRun) -> float:
    longest = max((lettering.width(cell.size, _SIZE_LEAST, Face.BOLD) for cell in run.cells), default=0.0)
    return max(_CELL, longest + _SIDES)


def _cell(paper: Paper, x: float, y: float, cell: RunCell, wide: float) -> None:
    middle = x + (wide - 0.35) / 2
    room = wide - _SIDES + 0.01
    if not cell.group:
        paper.exact(middle, y + 6.6, cell.size, 8.5, width=room, least=7, align=Align.CENTRE)
        return
    paper.box(Area(x, y, wide - 0.35, _CELL - 0.35), _FRAMES[cell.group])
    paper.exact(
        middle, y + 5.6, cell.size, 12, width=room, least=_SIZE_LEAST, face=Face.BOLD, align=Align.CENTRE
    )
    low = _("none") if cell.missing else cell.likely
    if cell.minimum and not cell.missing:
        low = f"{low} {_('min')}".strip()
    paper.fitted(middle, y + 9.2, low, 7, width=room, align=Align.CENTRE)


def _key(sheet: PickSheet) -> Block:
    """The groups with their numbers of lines, and in words what the site's minimum adds."""
    height = 8.5 + _NOTE_LINE

    def draw(paper: Paper, top: float) -> None:
        y = top + 4.8
        wide = paper.text(RIGHT, y, _("under a size: how likely, in 100"), 7.5, align=Align.RIGHT)
        paper.fitted(LEFT, y, sheet.minimum_added, 8.5, width=RIGHT - LEFT - wide - 3, least=7)
        y += _NOTE_LINE
        x = LEFT
        for entry in sheet.key:
            mark = GROUP_MARKS.get(entry.mark)
            if mark is not None:
                marks.draw_group(paper, mark, x, y - 2.5)
                x += 4.0
            x += paper.text(x, y, f"{entry.word} {entry.lines}", 8.5) + 6.0
        if sheet.minimum_lines:
            added = _("min: added by the site’s minimum %(lines)s") % {"lines": sheet.minimum_lines}
            paper.fitted(x, y, added, 8.5, width=RIGHT - x, least=7)
        paper.rule(LEFT, RIGHT, top + height - SECTION_RULE, SECTION_RULE)

    return Block(height, draw)
