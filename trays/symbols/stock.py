"""Paper and label stock as data: sizes in mm, dots of the printer, X-dimensions.

A printer prints whole dots, so every symbol is made of whole dots per module and stands on a whole
dot; the true X-dimension follows from the dots and is reported, never wished for.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count

MM_PER_INCH = 25.4
POINTS_PER_INCH = 72.0

# The highest X-dimension kept to for GS1-128 on a shelf label, in mm.
LINEAR_X_LIMIT_MM = 0.495
# Modules left white on each side of a symbol.
MATRIX_QUIET_MODULES = 2
LINEAR_QUIET_MODULES = 10


@dataclass(frozen=True)
class Grid:
    """The dots of one printer. ``dpi`` is dots per inch; lengths are mm."""

    dpi: int

    @property
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


@dataclass(frozen=True)
class Roll:
    """A label roll: the label, and the parts that its die cuts make of it."""

    name: str
    page: Page
    main: Area
    copies: tuple[Area, ...] = ()

    @property
    def die_cuts(self) -> tuple[float, ...]:
        """Every x and y of a cut, as the left and top edges of the copies."""
        return tuple(sorted({c.x for c in self.copies} | {c.y for c in self.copies if c.y > 0}))


@dataclass(frozen=True)
class LabelSheet:
    """A sheet of equal labels; positions count from 1, along the row first."""

    name: str
    page: Page
    columns: int
    rows: int
    label_width: float
    label_height: float
    left: float
    top: float
    gap_x: float = 0.0
    gap_y: float = 0.0

    @property
    def per_page(self) -> int:
        return self.columns * self.rows

    def area(self, position: int) -> Area:
        """Where label ``position`` (1 to ``per_page``) lies.

        Raises ValueError for a position that is not on the sheet.
        """
        if not 1 <= position <= self.per_page:
            raise ValueError(f"Position {position} is not on a sheet of {self.per_page} labels.")
        row, column = divmod(position - 1, self.columns)
        return Area(
            self.left + column * (self.label_width + self.gap_x),
            self.top + row * (self.label_height + self.gap_y),
            self.label_width,
            self.label_height,
        )

    def places(self, start: int = 1) -> Iterator[tuple[int, Area]]:
        """Page number (from 0) and area of label after label, without end, from position ``start``.

        Raises ValueError at the first label if ``start`` is not on the sheet.
        """
        self.area(start)
        for index in count(start - 1):
            page, place = divmod(index, self.per_page)
            yield page, self.area(place + 1)


def _roll(name: str, grid: Grid, *, cut: bool) -> Roll:
    page = Page(100.0, 50.0, grid)
    if not cut:
        return Roll(name, page, Area(0, 0, 100, 50))
    return Roll(name, page, Area(0, 0, 70, 50), (Area(70, 0, 30, 25), Area(70, 25, 30, 25)))


PACK_ROLL_203 = _roll("pack label, 203 dpi", GRID_203, cut=True)
PACK_ROLL_300 = _roll("pack label, 300 dpi", GRID_300, cut=True)
SHELF_ROLL_203 = _roll("shelf label, 203 dpi", GRID_203, cut=False)
SHELF_ROLL_300 = _roll("shelf label, 300 dpi", GRID_300, cut=False)

A4 = Page(210.0, 297.0, GRID_300)
A4_LABELS_24 = LabelSheet("A4, 3 × 8 of 63.5 × 33.9", A4, 3, 8, 63.5, 33.9, 7.25, 12.9, 2.5, 0.0)


@dataclass(frozen=True)
class SymbolDots:
    """Dots per module for one printer: the sheet or label symbol, its copies and lines, GS1-128."""

    main: int
    copy: int
    linear: int


ROLL_DOTS = {203: SymbolDots(main=3, copy=3, linear=3), 300: SymbolDots(main=5, copy=4, linear=5)}
# On A4 (300 dot grid): the code of the sheet, and the code of a line or of an A4 label.
SHEET_HEAD_DOTS = 7
SHEET_LINE_DOTS = 5
A4_LABEL_DOTS = 5


def widest_module(
    modules: int,
    width_mm: float,
    grid: Grid,
    *,
    limit_mm: float = LINEAR_X_LIMIT_MM,
    quiet: int = LINEAR_QUIET_MODULES,
) -> int:
    """Most whole dots per module that fit ``width_mm`` with quiet zones, X not above ``limit_mm``.

    Returns 0 when not even two dots per module fit: such a symbol must not be printed there.
    """
    if modules <= 0:
        raise ValueError("A symbol has at least one module.")
    by_width = int(width_mm * grid.dots_per_mm) // (modules + 2 * quiet)
    by_limit = int(limit_mm * grid.dots_per_mm + 1e-9)
    dots = min(by_width, by_limit)
    return dots if dots >= 2 else 0
