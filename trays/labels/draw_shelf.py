"""The shelf label: the place as large as it can be, what lives there, and two codes of the place."""

from django.utils.translation import gettext as _

from trays.labels.hri import draw_hri
from trays.labels.kinds import ShelfLabel
from trays.symbols import code128, datamatrix, lettering
from trays.symbols.lettering import Face
from trays.symbols.paper import Align, Paper
from trays.symbols.payload import PayloadRefused
from trays.symbols.stock import LINEAR_QUIET_MODULES, Area, widest_module

_INSET = 3.0
_BARS_HIGH = 10.0


def draw_shelf(paper: Paper, label: ShelfLabel, area: Area, dots: int) -> None:
    """Both codes, in 100 × 50 mm at least. Raises PayloadRefused where the bars would be too fine."""
    left, right = _INSET, area.width - _INSET
    symbol = datamatrix.modules(label.payload)
    bars = code128.bars(label.payload)
    grid = paper.grid
    module = widest_module(bars.size, area.width, grid)
    if not module:
        raise PayloadRefused(_("The place’s number is too long for a GS1-128 on this label. Use a sheet."))
    code = paper.matrix(right - grid.mm(symbol.size * dots), 3.4, symbol, dots)
    paper.exact(left, 14.2, label.place, 38, width=code.x - left - 4, least=14, face=Face.BOLD)
    paper.fitted(left, 20.2, label.room, 9, width=right - left, least=7.5)
    paper.rule(left, right, 22.0, 0.4)
    _lives(paper, label, left, right)
    wide = grid.mm(bars.size * module)
    quiet = grid.mm(LINEAR_QUIET_MODULES * module)
    x = max(quiet, (area.width - wide) / 2)
    paper.bars(x, 34.6, bars, module, _BARS_HIGH)
    draw_hri(paper, area.width / 2, 47.9, label.payload, width=right - left, size=7.5, align=Align.CENTRE)


def _lives(paper: Paper, label: ShelfLabel, left: float, right: float) -> None:
    wide = paper.exact(right, 30.8, label.size, 22, width=50, least=9, face=Face.BOLD, align=Align.RIGHT)
    room = right - left - (wide + 4 if label.size else 0)
    if lettering.width(label.what, 12, Face.BOLD) <= room:
        paper.text(left, 29.4, label.what, 12, Face.BOLD)
    else:
        paper.fitted(left, 27.4, label.what, 11, width=room, lines=2, pitch=4.5, face=Face.BOLD)


def draw_shelf_small(paper: Paper, label: ShelfLabel, area: Area, dots: int) -> None:
    """The same with the DataMatrix alone, in 63.5 × 33.9 mm at least."""
    left, right, top = 4.0, area.width - 3.0, 0.0
    code = paper.matrix(left, top + 4.4, datamatrix.modules(label.payload), dots)
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
