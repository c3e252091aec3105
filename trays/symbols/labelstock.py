"""Label stock as data: what the labels are printed on, in mm, and where each label lies on it.

A roll is one label after the other, each a page of its own; a sheet is a page of equal labels. Die cuts
may part two peel-off copies from the right edge of each label, one above the other.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count

from trays.symbols.stock import GRID_300, Area, Grid, Page

# A sheet goes through an office printer: 300 dots are whole on heads of 300, 600 and 1200 dpi.
SHEET_GRID = GRID_300
COPIES = 2
# What a sheet feeder or a label printer takes.
PAGE_LIMIT_MM = 500.0
SHIFT_LIMIT_MM = 10.0


@dataclass(frozen=True)
class LabelStock:
    """One kind of roll or sheet; lengths in mm.

    ``shift_x`` and ``shift_y`` are the printer's offset: all that is printed moves right and down by them.
    ``copy_width`` and ``copy_height`` are 0 without peel-off copies.
    """

    code: str
    name: str
    label_width: float
    label_height: float
    sheet: bool = False
    page_width: float = 0.0
    page_height: float = 0.0
    columns: int = 1
    rows: int = 1
    left: float = 0.0
    top: float = 0.0
    gap_x: float = 0.0
    gap_y: float = 0.0
    copy_width: float = 0.0
    copy_height: float = 0.0
    shift_x: float = 0.0
    shift_y: float = 0.0

    def page(self, grid: Grid) -> Page:
        """The page that the printer is given; a sheet keeps to its own grid."""
        if self.sheet:
            return Page(self.page_width, self.page_height, SHEET_GRID)
        return Page(self.label_width, self.label_height, grid)

    @property
    def per_page(self) -> int:
        return self.columns * self.rows if self.sheet else 1

    @property
    def copies(self) -> int:
        """Peel-off copies of each label."""
        return COPIES if self.copy_width and self.copy_height else 0

    def area(self, position: int) -> Area:
        """Where label ``position`` (1 to ``per_page``, along the row first) lies on its page.

        Raises ValueError for a position that is not on the sheet.
        """
        if not 1 <= position <= self.per_page:
            raise ValueError(f"Position {position} is not on a sheet of {self.per_page} labels.")
        if not self.sheet:
            return Area(0, 0, self.label_width, self.label_height)
        row, column = divmod(position - 1, self.columns)
        return Area(
            self.left + column * (self.label_width + self.gap_x),
            self.top + row * (self.label_height + self.gap_y),
            self.label_width,
            self.label_height,
        )

    def main(self, position: int) -> Area:
        """The label without its copies."""
        area = self.area(position)
        return Area(area.x, area.y, area.width - self.copy_width, area.height)

    def copy_areas(self, position: int) -> tuple[Area, ...]:
        """The peel-off copies, from the top."""
        area = self.area(position)
        return tuple(
            Area(
                area.right - self.copy_width,
                area.y + n * self.copy_height,
                self.copy_width,
                self.copy_height,
            )
            for n in range(self.copies)
        )

    def places(self, start: int = 1) -> Iterator[tuple[int, int]]:
        """Page number (from 0) and position of label after label, without end, from position ``start``.

        Raises ValueError at the first label if ``start`` is not on the sheet.
        """
        self.area(start)
        for index in count(start - 1):
            page, place = divmod(index, self.per_page)
            yield page, place + 1


def _a4(code: str, columns: int, rows: int, label: tuple[float, float], gap_x: float) -> LabelStock:
    """A sheet whose labels stand in its middle."""
    wide, high = label
    return LabelStock(
        code=code,
        name=f"A4, {columns} × {rows} of {wide:g} × {high:g} mm",
        label_width=wide,
        label_height=high,
        sheet=True,
        page_width=210.0,
        page_height=297.0,
        columns=columns,
        rows=rows,
        left=(210.0 - columns * wide - (columns - 1) * gap_x) / 2,
        top=(297.0 - rows * high) / 2,
        gap_x=gap_x,
    )


def _roll(code: str, wide: float, high: float, *, cut: tuple[float, float] = (0.0, 0.0)) -> LabelStock:
    name = f"{wide:g} × {high:g} mm"
    if cut[0]:
        name += f", {COPIES} peel-off copies of {cut[0]:g} × {cut[1]:g}"
    return LabelStock(code, name, wide, high, copy_width=cut[0], copy_height=cut[1])


# Sizes that are commonly sold; a site adds its own beside them.
COMMON = {
    stock.code: stock
    for stock in (
        _roll("pack-roll", 100, 50, cut=(30, 25)),
        _roll("roll", 100, 50),
        _roll("roll-76x51", 76, 51),
        _roll("roll-57x32", 57, 32),
        _roll("roll-50x25", 50, 25),
        _a4("a4", 3, 8, (63.5, 33.9), 2.5),
        _a4("a4-8", 2, 4, (99.1, 67.7), 2.5),
        _a4("a4-14", 2, 7, (99.1, 38.1), 2.5),
        _a4("a4-21", 3, 7, (63.5, 38.1), 2.5),
    )
}
