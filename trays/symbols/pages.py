"""Breaking a sheet's body into pages. Pure: heights in, places out; drawing is elsewhere.

A row never splits; the head of a section keeps two rows with it; a section that goes on repeats its
head; the heads of columns stand on every page that has rows.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from trays.symbols.paper import Paper

# Draws something whose top is at the given y in mm.
Draw = Callable[[Paper, float], None]
# The same for the head of a section; the last argument is true when the section goes on from the page before.
DrawHead = Callable[[Paper, float, bool], None]


class TooTall(ValueError):
    """One part is taller than a page: the layout is wrong."""


@dataclass(frozen=True)
class Band:
    """A strip of fixed height: heads of columns, the initials that end a list page."""

    height: float
    draw: Draw


@dataclass(frozen=True)
class SectionHead:
    """Head of a section, drawn again with ``True`` on each page that it goes on to."""

    height: float
    draw: DrawHead


@dataclass(frozen=True)
class Row:
    """One row. ``number`` makes it a line of the sheet; rows to be written on have none."""

    height: float
    draw: Draw
    number: int | None = None


@dataclass(frozen=True)
class Section:
    """Rows under one head. ``fill`` makes blank row n (from 0) for as long as the last page has room."""

    rows: tuple[Row, ...]
    head: SectionHead | None = None
    fill: Callable[[int], Row] | None = None
    fill_most: int = 100


@dataclass(frozen=True)
class Table:
    """Sections under the same heads of columns."""

    sections: tuple[Section, ...]
    columns: Band | None = None


@dataclass(frozen=True)
class Block:
    """A part that stands by itself and never splits: size run, signatures, lines for free text."""

    height: float
    draw: Draw
    new_page: bool = False
    # Space left above unless the block starts a page.
    gap: float = 0.0


@dataclass(frozen=True)
class Placed:
    """A part at its place: ``top`` is y in mm."""

    top: float
    part: Band | SectionHead | Row | Block
    continued: bool = False


@dataclass
class PagePlan:
    """What stands on one page, from the top. ``listed``: it holds rows, so it ends with the list's band."""

    placed: list[Placed] = field(default_factory=list)
    listed: bool = False

    @property
    def numbers(self) -> list[int]:
        """Numbers of the lines on the page."""
        return [p.part.number for p in self.placed if isinstance(p.part, Row) and p.part.number is not None]


class _Breaker:
    def __init__(self, top: float, bottom: float, list_end: float) -> None:
        self.top, self.bottom, self.list_end = top, bottom, list_end
        self.pages = [PagePlan()]
        self.y = top
        self.columns: Band | None = None

    @property
    def page(self) -> PagePlan:
        return self.pages[-1]

    def room(self, *, listed: bool) -> float:
        end = self.list_end if listed or self.page.listed else 0.0
        return self.bottom - end - self.y

    def start_page(self) -> None:
        if self.page.placed:
            self.pages.append(PagePlan())
            self.y = self.top
            self.columns = None

    def put(self, part: Band | SectionHead | Row | Block, *, continued: bool = False) -> None:
        self.page.placed.append(Placed(self.y, part, continued))
        self.y += part.height

    def block(self, block: Block) -> None:
        gap = block.gap if self.page.placed else 0.0
        if block.new_page or block.height + gap > self.room(listed=False) + 1e-6:
            self.start_page()
            gap = 0.0
        if block.height > self.room(listed=False) + 1e-6:
            raise TooTall(f"A part {block.height:.1f} mm high does not fit on a page.")
        self.y += gap
        self.put(block)
        self.columns = None

    def heads(self, table: Table, section: Section, *, continued: bool) -> None:
        self.page.listed = True
        if table.columns is not None and self.columns is not table.columns:
            self.put(table.columns)
            self.columns = table.columns
        if section.head is not None:
            self.put(section.head, continued=continued)

    def heads_height(self, table: Table, section: Section) -> float:
        columns = table.columns
        high = columns.height if columns is not None and self.columns is not columns else 0.0
        return high + (section.head.height if section.head else 0.0)

    def section(self, table: Table, section: Section) -> None:
        kept = sum(row.height for row in section.rows[:2])
        if self.heads_height(table, section) + kept > self.room(listed=True) + 1e-6:
            self.start_page()
        self.heads(table, section, continued=False)
        for row in section.rows:
            self.row(table, section, row)
        if section.fill is not None:
            for index in range(section.fill_most):
                row = section.fill(index)
                if row.height > self.room(listed=True) + 1e-6:
                    break
                self.put(row)

    def row(self, table: Table, section: Section, row: Row) -> None:
        if row.height > self.room(listed=True) + 1e-6:
            self.start_page()
            self.heads(table, section, continued=True)
            if row.height > self.room(listed=True) + 1e-6:
                raise TooTall(f"A row {row.height:.1f} mm high does not fit on a page.")
        self.put(row)


def plan(
    body: tuple[Table | Block, ...], *, top: float, bottom: float, list_end: float = 0.0
) -> list[PagePlan]:
    """Places of all parts between ``top`` and ``bottom`` (mm), page by page; at least one page.

    ``list_end`` mm are kept free at the bottom of every page that holds rows. Raises TooTall.
    """
    breaker = _Breaker(top, bottom, list_end)
    for part in body:
        if isinstance(part, Block):
            breaker.block(part)
            continue
        for section in part.sections:
            breaker.section(part, section)
    return breaker.pages
