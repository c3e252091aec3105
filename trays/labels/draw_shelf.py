"""The shelf label: the place as large as it can be, what lives there, and two codes of the place."""

from trays.labels.hri import draw_hri
from trays.labels.kinds import ShelfLabel
from trays.symbols import code128, datamatrix, lettering
from trays.symbols.lettering import Face
from trays.symbols.paper import Align, Paper
from trays.symbols.payload import PayloadRefused
from trays.symbols.stock import A4_LABEL_DOTS, LINEAR_QUIET_MODULES, ROLL_DOTS, Area, Roll, widest_module

_INSET = 3.0
_BARS_HIGH = 10.0


def draw_shelf(paper: Paper, label: ShelfLabel, roll: Roll) -> None:
    """One label of the roll. Raises PayloadRefused where the GS1-128 cannot be as wide as it must."""
    left, right = roll.main.x + _INSET, roll.main.right - _INSET
    symbol = datamatrix.modules(label.payload)
    bars = code128.bars(label.payload)
    grid = roll.page.grid
    module = widest_module(bars.size, roll.main.width, grid)
    if not module:
        raise PayloadRefused("The place’s number is too long for a GS1-128 on this roll. Use the A4 sheet.")
    dots = ROLL_DOTS[grid.dpi].main
    code = paper.matrix(right - grid.mm(symbol.size * dots), 3.4, symbol, dots)
    paper.exact(left, 14.2, label.place, 38, width=code.x - left - 4, least=14, face=Face.BOLD)
    paper.fitted(left, 20.2, label.room, 9, width=right - left, least=7.5)
    paper.rule(left, right, 22.0, 0.4)
    _lives(paper, label, left, right)
    wide = grid.mm(bars.size * module)
    quiet = grid.mm(LINEAR_QUIET_MODULES * module)
    x = max(roll.main.x + quiet, roll.main.x + (roll.main.width - wide) / 2)
    paper.bars(x, 34.6, bars, module, _BARS_HIGH)
    middle = roll.main.x + roll.main.width / 2
    draw_hri(paper, middle, 47.9, label.payload, width=right - left, size=7.5, align=Align.CENTRE)


def _lives(paper: Paper, label: ShelfLabel, left: float, right: float) -> None:
    wide = paper.exact(right, 30.8, label.size, 22, width=50, least=9, face=Face.BOLD, align=Align.RIGHT)
    room = right - left - (wide + 4 if label.size else 0)
    if lettering.width(label.what, 12, Face.BOLD) <= room:
        paper.text(left, 29.4, label.what, 12, Face.BOLD)
    else:
        paper.fitted(left, 27.4, label.what, 11, width=room, lines=2, pitch=4.5, face=Face.BOLD)


def draw_shelf_small(paper: Paper, label: ShelfLabel, area: Area) -> None:
    """The same on one label of the A4 sheet, with the DataMatrix alone."""
    left, right, top = area.x + 4.0, area.right - 3.0, area.y
    code = paper.matrix(left, top + 4.4, datamatrix.modules(label.payload), A4_LABEL_DOTS)
    x = code.right + 3.2
    # Beside the place where both have room, else on the room's line.
    size = lettering.width(label.size, 11, Face.BOLD) + 2 if label.size else 0.0
    beside = lettering.width(label.place, 12, Face.BOLD) + size <= right - x
    room = right - x - (size if beside else 0.0)
    paper.exact(x, top + 11.0, label.place, 19, width=room, least=7, face=Face.BOLD)
    size_y = top + (11.2 if beside else 15.6)
    wide = paper.exact(
        right, size_y, label.size, 11, width=right - x, least=7, face=Face.BOLD, align=Align.RIGHT
    )
    room = right - x - (0.0 if beside else wide + 2)
    paper.fitted(x, top + 15.2, label.room, 7.5, width=room, least=7)
    paper.fitted(left, top + 20.6, label.what, 9, width=right - left, lines=2, pitch=3.9, face=Face.BOLD)
    draw_hri(paper, left, top + 29.0, label.payload, width=right - left)
