"""Lengths on paper: areas in mm, dots of the printer, X-dimensions.

A printer prints whole dots, so every symbol is made of whole dots per module and stands on a whole
dot; the true X-dimension follows from the dots and is reported, never wished for.
"""

from dataclasses import dataclass
from functools import cached_property

MM_PER_INCH = 25.4
POINTS_PER_INCH = 72.0

# X-dimensions kept to for GS1-128, in mm: the highest, and the finest, which is two dots of a 203 dpi head.
LINEAR_X_LIMIT_MM = 0.495
LINEAR_X_LEAST_MM = 0.25
# Modules left white on each side of a symbol.
MATRIX_QUIET_MODULES = 2
LINEAR_QUIET_MODULES = 10


@dataclass(frozen=True)
class Grid:
    """The dots of one printer. ``dpi`` is dots per inch; lengths are mm."""

    dpi: int

    @cached_property
    def dots_per_mm(self) -> float:
        return self.dpi / MM_PER_INCH

    def dots(self, mm: float) -> int:
        """Nearest whole dot to a length in mm."""
        return round(mm * self.dots_per_mm)

    def mm(self, dots: float) -> float:
        """Length in mm of a number of dots: also the true X-dimension of a module of that many dots."""
        return dots / self.dots_per_mm


GRID_203 = Grid(203)
GRID_300 = Grid(300)
GRID_600 = Grid(600)
# The heads that labels are drawn for.
GRIDS = {grid.dpi: grid for grid in (GRID_203, GRID_300, GRID_600)}


@dataclass(frozen=True)
class Area:
    """A rectangle in mm, measured from the top left corner of the page."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height


@dataclass(frozen=True)
class Page:
    """A page in mm on a printer's grid."""

    width: float
    height: float
    grid: Grid

    @property
    def dots(self) -> tuple[int, int]:
        """Width and height in whole dots."""
        return self.grid.dots(self.width), self.grid.dots(self.height)


A4 = Page(210.0, 297.0, GRID_300)


@dataclass(frozen=True)
class SymbolDots:
    """Dots per module of the DataMatrix for one printer: on the label, and on its peel-off copies."""

    main: int
    copy: int


LABEL_DOTS = {
    203: SymbolDots(main=3, copy=3),
    300: SymbolDots(main=5, copy=4),
    600: SymbolDots(main=10, copy=8),
}
# On A4 (300 dot grid): the code of the sheet, and the code of one of its lines.
SHEET_HEAD_DOTS = 7
SHEET_LINE_DOTS = 5


def widest_module(
    modules: int,
    width_mm: float,
    grid: Grid,
    *,
    limit_mm: float = LINEAR_X_LIMIT_MM,
    quiet: int = LINEAR_QUIET_MODULES,
) -> int:
    """Most whole dots per module that fit ``width_mm`` with quiet zones, X not above ``limit_mm``.

    Returns 0 when X would be finer than scanners take: such a symbol must not be printed there.
    """
    if modules <= 0:
        raise ValueError("A symbol has at least one module.")
    by_width = int(width_mm * grid.dots_per_mm) // (modules + 2 * quiet)
    by_limit = int(limit_mm * grid.dots_per_mm + 1e-9)
    dots = min(by_width, by_limit)
    return dots if grid.mm(dots) >= LINEAR_X_LEAST_MM else 0
