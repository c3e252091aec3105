"""A page that is drawn on the dots of its printer.

Lengths are mm from the top left corner, y downward; type sizes are points; text stands on its
baseline. Rules and symbols are whole dots on whole dots, so that every renderer paints the same ones.
A label is drawn within its own area (``within``): whole or, when anything would stick out of it, not at all.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum
from io import BytesIO

from reportlab import rl_config
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from trays.symbols import lettering
from trays.symbols.code128 import Bars
from trays.symbols.datamatrix import Modules
from trays.symbols.lettering import DoesNotFit, Face, Fitted
from trays.symbols.payload import SymbolTooLarge
from trays.symbols.stock import (
    LINEAR_QUIET_MODULES,
    MATRIX_QUIET_MODULES,
    POINTS_PER_INCH,
    Area,
    Page,
)
from trays.symbols.strokes import Placed, box_literal, ellipse_literal, inside, matrix_literal

# Streams as they are: a file of bytes needs no letters for them, and is a fifth smaller and made sooner.
rl_config.useA85 = 0

# Rules, in mm: under the head, under column heads, under a section, between rows, under each fifth row.
HEAD_RULE = 0.8
COLUMN_RULE = 0.5
SECTION_RULE = 0.35
ROW_RULE = 0.15
FIFTH_RULE = 0.45
FOOT_RULE = 0.2

BOX_LINE = 0.3
DASH = 1.2
# The page is this much less than its whole dots, else some renderers add a pixel and all moves.
_PAGE_LESS = 0.001
# How far letters stand above and below their baseline, in mm per point.
_ABOVE, _BELOW = 0.25, 0.07
_SPELLINGS_KEPT = 4096


class Align(Enum):
    """Where x lies on the text."""

    LEFT = 0.0
    CENTRE = 0.5
    RIGHT = 1.0


@dataclass(frozen=True)
class Stroke:
    """A line: weight in mm, dashed or not; white only to part two black lines that cross."""

    weight: float = BOX_LINE
    dashed: bool = False
    white: bool = False


class Paper:
    """Pages of one size, drawn one after the other, and the PDF made of them."""

    def __init__(
        self, page: Page, *, title: str, language: str = "en", shift: tuple[float, float] = (0.0, 0.0)
    ) -> None:
        """``title`` and ``language`` go into the PDF's own data. The same drawing gives the same bytes.

        ``shift`` in mm moves all to the right and down: the offset of the printer, to the nearest dot.
        """
        self.page = page
        self.grid = page.grid
        self.symbols: list[Placed] = []
        self._shift = self.grid.dots(shift[0]), self.grid.dots(shift[1])
        self._origin = (0, 0)
        self._window: Area | None = None
        self._strokes: list[Callable[[Canvas], object]] = []
        # Font, its size and the baseline's start in dots, and the letters.
        self._texts: list[tuple[str, float, float, float, str]] = []
        self._spellings: dict[tuple[str, str], tuple[tuple[str, str], ...]] = {}
        self._across, self._down = page.dots
        self._per_point = page.grid.dpi / POINTS_PER_INCH
        size = (self._across / self._per_point - _PAGE_LESS, self._down / self._per_point - _PAGE_LESS)
        self._buffer = BytesIO()
        # The first font is named too: else an unembedded standard font is listed in the file.
        self._canvas = Canvas(
            self._buffer,
            pagesize=size,
            invariant=1,
            pageCompression=1,
            lang=language,
            initialFontName=lettering.font_name(Face.REGULAR),
        )
        self._canvas.setTitle(title)
        self._canvas.setCreator("Trayspan")
        self._begun = False

    # Pages

    def next_page(self) -> None:
        """End this page, also when it is empty; the next drawing starts a new one."""
        across, down = self._shift
        self._canvas.translate(across / self._per_point, -down / self._per_point - _PAGE_LESS)
        self._canvas.scale(1 / self._per_point, 1 / self._per_point)
        for stroke in self._strokes:
            stroke(self._canvas)
        self._write()
        self._canvas.showPage()
        self._strokes.clear()
        self._texts.clear()
        self._begun = False

    def _write(self) -> None:
        """All texts of the page at once, over what is drawn."""
        words, font = ["BT"], ("", 0.0)
        for name, dots, x, y, shown in self._texts:
            words.append(f"1 0 0 1 {x:.3f} {y:.3f} Tm")
            for subset, letters in self._spelled(name, shown):
                if (subset, dots) != font:
                    font = subset, dots
                    words.append(f"{subset} {dots:.3f} Tf")
                words.append(f"<{letters}> Tj")
        self._canvas.addLiteral(" ".join([*words, "ET"]))

    def _spelled(self, name: str, shown: str) -> tuple[tuple[str, str], ...]:
        """A text in the codes of the font's subsets in this file: name of the subset, codes in hex.

        What every label says is spelled once for each file; reportlab's text object would do it each time.
        """
        known = self._spellings.get((name, shown))
        if known is None:
            if len(self._spellings) >= _SPELLINGS_KEPT:
                self._spellings.clear()
            font, document = pdfmetrics.getFont(name), self._canvas._doc
            known = self._spellings[name, shown] = tuple(
                (font.getSubsetInternalName(subset, document), codes.hex())
                for subset, codes in font.splitString(shown, document)
            )
        return known

    def pdf(self) -> bytes:
        """The finished file. A page begun is ended; nothing can be drawn after this."""
        if self._begun:
            self.next_page()
        self._canvas.save()
        return self._buffer.getvalue()

    @property
    def whole(self) -> Area:
        """What is drawn within: the label, or the page."""
        return self._window or Area(0, 0, self.page.width, self.page.height)

    @contextmanager
    def within(self, area: Area, *, keep: bool = True) -> Iterator[Area]:
        """Draw a label: lengths count from the corner of ``area``, at the nearest dot; yields it so moved.

        Raises DoesNotFit or SymbolTooLarge, and then nothing of it is drawn; nor is it without ``keep``,
        which only tries whether it fits.
        """
        before = self._origin, self._window
        drawn, written, placed = len(self._strokes), len(self._texts), len(self.symbols)
        begun = self._begun
        self._origin = self._left(area.x), self._top(area.y)
        self._window = Area(0, 0, area.width, area.height)
        whole = False
        try:
            yield self._window
            whole = keep
        finally:
            self._origin, self._window = before
            if not whole:
                del self._strokes[drawn:], self._texts[written:], self.symbols[placed:]
                self._begun = begun

    def _put(self, stroke: Callable[[Canvas], object]) -> None:
        self._begun = True
        self._strokes.append(stroke)

    def _x(self, mm: float) -> float:
        return self._origin[0] + mm * self.grid.dots_per_mm

    def _y(self, mm: float) -> float:
        return self._down - self._origin[1] - mm * self.grid.dots_per_mm

    def _left(self, mm: float) -> int:
        return self._origin[0] + self.grid.dots(mm)

    def _top(self, mm: float) -> int:
        return self._origin[1] + self.grid.dots(mm)

    # Text

    def text(
        self, x: float, y: float, text: str, size: float, face: Face = Face.REGULAR, align: Align = Align.LEFT
    ) -> float:
        """Draw a text as it is, unfitted, and return its width in mm."""
        shown = lettering.clean(text, face)
        wide = lettering.width(shown, size, face)
        left = x - wide * align.value
        self._hold_text(shown, Area(left, y - _ABOVE * size, wide, (_ABOVE + _BELOW) * size))
        if shown:
            font = lettering.font_name(face), size * self._per_point
            self._texts.append((*font, self._x(left), self._y(y), shown))
            self._begun = True
        return wide

    def _hold_text(self, text: str, covers: Area) -> None:
        if self._window is not None and text.strip() and not inside(covers, self._window):
            raise DoesNotFit(text, max(0.0, self._window.right - max(covers.x, 0.0)))

    def exact(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        width: float,
        least: float | None = None,
        face: Face = Face.REGULAR,
        align: Align = Align.LEFT,
    ) -> float:
        """Draw what may never be cut (number, side, size, lot, date, place); returns its width.

        It may shrink to ``least`` points. Raises ``lettering.DoesNotFit``.
        """
        made = lettering.exact(text, width, size, least=least, face=face)
        return self.text(x, y, made.lines[0], made.size, face, align)

    def fitted(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        width: float,
        least: float | None = None,
        lines: int = 1,
        pitch: float = 0.0,
        face: Face = Face.REGULAR,
        align: Align = Align.LEFT,
    ) -> Fitted:
        """Draw a name by the escapes of ``lettering.fit``; ``pitch`` is mm from baseline to baseline."""
        made = lettering.fit(text, width, size, least=least, lines=lines, face=face)
        self.lines(x, y, made, pitch=pitch, face=face, align=align)
        return made

    def words(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        width: float,
        lines: int = 1,
        pitch: float = 0.0,
        face: Face = Face.REGULAR,
    ) -> Fitted:
        """Draw words that may shrink to 7 points or take more lines but are never cut. Raises DoesNotFit."""
        made = lettering.fit(text, width, size, least=lettering.LEAST_SIZE, lines=lines, face=face)
        if made.cut:
            raise DoesNotFit(text, width)
        self.lines(x, y, made, pitch=pitch, face=face)
        return made

    def lines(
        self,
        x: float,
        y: float,
        made: Fitted,
        *,
        pitch: float,
        face: Face = Face.REGULAR,
        align: Align = Align.LEFT,
    ) -> None:
        """Draw lines that were fitted before."""
        for number, line in enumerate(made.lines):
            self.text(x, y + number * pitch, line, made.size, face, align)

    def paragraph(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        width: float,
        lines: int,
        pitch: float,
        face: Face = Face.REGULAR,
    ) -> int:
        """Draw sentences on at most ``lines`` lines, the last one cut at its end; returns the lines drawn."""
        all_lines = lettering.wrap(text, width, size, face)
        shown = all_lines[:lines]
        if len(all_lines) > lines:
            shown[-1] = lettering.cut_end(" ".join(all_lines[lines - 1 :]), width, size, face)
        for number, line in enumerate(shown):
            self.text(x, y + number * pitch, line, size, face)
        return len(shown)

    # Rules, boxes, shapes

    def _fill_dots(self, areas: Iterable[tuple[int, int, int, int]]) -> None:
        """Fill rectangles of whole dots: left, top, across, down, counted from the top of the page."""
        self._say(
            " ".join(
                box_literal(left, self._down - top - down, across, down) for left, top, across, down in areas
            )
        )

    def fill(self, x: float, y: float, width: float, height: float) -> None:
        """A black rectangle, its edges on the nearest whole dots."""
        left, top = self._left(x), self._top(y)
        across, down = self._left(x + width) - left, self._top(y + height) - top
        self._fill_dots([(left, top, max(1, across), max(1, down))])

    def rule(self, left: float, right: float, y: float, weight: float = ROW_RULE) -> None:
        """A level line whose upper edge is at ``y``."""
        start = self._left(left)
        self._fill_dots([(start, self._top(y), self._left(right) - start, max(1, self.grid.dots(weight)))])

    def upright(self, x: float, top: float, bottom: float, weight: float = ROW_RULE) -> None:
        """An upright line whose left edge is at ``x``."""
        start = self._top(top)
        self._fill_dots([(self._left(x), start, max(1, self.grid.dots(weight)), self._top(bottom) - start)])

    def _say(self, literal: str) -> None:
        """Put words of a PDF on the page as they are: quicker by far than reportlab's own calls."""
        self._put(lambda canvas: canvas.addLiteral(literal))

    def _pen(self, stroke: Stroke, join: int) -> str:
        """Width, grey, join of corners (0 sharp, 1 round) and dashes of a line."""
        dash = f"{DASH * self.grid.dots_per_mm:.2f}"
        dashes = f"{dash} {dash}" if stroke.dashed else ""
        return f"{max(1, self.grid.dots(stroke.weight))} w {int(stroke.white)} G {join} j [{dashes}] 0 d"

    def box(self, area: Area, stroke: Stroke = Stroke(), corner: float = 0.0) -> None:  # noqa: B008
        """An outline closed on all sides, its line inside the area."""
        half = stroke.weight / 2
        x, y = self._x(area.x + half), self._y(area.bottom - half)
        wide = (area.width - stroke.weight) * self.grid.dots_per_mm
        high = (area.height - stroke.weight) * self.grid.dots_per_mm
        radius = corner * self.grid.dots_per_mm
        if radius:
            self._say(self._pen(stroke, 0))
            self._put(lambda canvas: canvas.roundRect(x, y, wide, high, radius, stroke=1, fill=0))
        else:
            self._say(f"{self._pen(stroke, 0)} {x:.3f} {y:.3f} {wide:.3f} {high:.3f} re S")

    def tick(self, x: float, y: float, side: float) -> None:
        """An empty tick box. Sides are 4.8 to 6.4 mm; nothing is ever printed inside it."""
        self.box(Area(x, y, side, side))

    def polygon(self, points: list[tuple[float, float]], stroke: Stroke | None = None) -> None:
        """A closed shape, filled when no stroke is given."""
        self._path(points, closed=True, stroke=stroke)

    def line(self, points: list[tuple[float, float]], stroke: Stroke) -> None:
        """An open line through the points."""
        self._path(points, closed=False, stroke=stroke)

    def _path(self, points: list[tuple[float, float]], *, closed: bool, stroke: Stroke | None) -> None:
        first, *rest = [f"{self._x(x):.3f} {self._y(y):.3f}" for x, y in points]
        # Round joins: sharp corners would stick out of their box.
        words = [self._pen(stroke or Stroke(), 1), f"{first} m", *(f"{point} l" for point in rest)]
        words += ["h"] if closed else []
        self._say(" ".join([*words, "f" if stroke is None else "S"]))

    def oval(self, area: Area, stroke: Stroke | None = None) -> None:
        """An ellipse in the area, filled when no stroke is given."""
        inset = stroke.weight / 2 if stroke else 0.0
        low = self._x(area.x + inset), self._y(area.bottom - inset)
        high = self._x(area.right - inset), self._y(area.y + inset)
        paint = "f" if stroke is None else "S"
        self._say(f"{self._pen(stroke or Stroke(), 1)} {ellipse_literal(low, high)} {paint}")

    # Symbols

    def matrix(self, x: float, y: float, symbol: Modules, dots: int) -> Area:
        """Draw a DataMatrix with its top left corner on the dot nearest (x, y); returns what it covers.

        ``dots`` per module. The quiet zone (2 modules on every side) is the caller's to keep
        free; it must lie within the label. Raises SymbolTooLarge.
        """
        left, top = self._left(x), self._top(y)
        covers = self._symbol_area(left, top, symbol.size * dots, symbol.size * dots)
        quiet = self.grid.mm(MATRIX_QUIET_MODULES * dots)
        self._hold_symbol(Placed(False, self.grid.mm(dots), quiet, covers), above=quiet)
        down = self._down - top
        self._say(f"q 1 0 0 1 {left} {down} cm {matrix_literal(symbol, dots)} Q")
        return covers

    def bars(self, x: float, y: float, symbol: Bars, dots: int, height: float) -> Area:
        """Draw GS1-128 bars ``height`` mm high; returns what they cover without quiet zones (10 modules).

        Raises SymbolTooLarge when bars and quiet zones do not lie within the label.
        """
        left, top = self._left(x), self._top(y)
        tall = self.grid.dots(height)
        covers = self._symbol_area(left, top, symbol.size * dots, tall)
        quiet = self.grid.mm(LINEAR_QUIET_MODULES * dots)
        self._hold_symbol(Placed(True, self.grid.mm(dots), quiet, covers), above=0.0)
        self._fill_dots((left + start * dots, top, length * dots, tall) for start, length in symbol.runs())
        return covers

    def _symbol_area(self, left: int, top: int, across: int, down: int) -> Area:
        """In mm from the label's corner."""
        grid = self.grid
        return Area(
            grid.mm(left - self._origin[0]), grid.mm(top - self._origin[1]), grid.mm(across), grid.mm(down)
        )

    def _hold_symbol(self, placed: Placed, *, above: float) -> None:
        area, quiet = placed.area, placed.quiet_mm
        needs = Area(area.x - quiet, area.y - above, area.width + 2 * quiet, area.height + 2 * above)
        if self._window is not None and not inside(needs, self._window):
            raise SymbolTooLarge(
                f"The symbol is {area.width:.1f} mm long and needs {quiet:.1f} mm of white on each side: "
                f"too large for this label of {self._window.width:g} × {self._window.height:g} mm."
            )
        self.symbols.append(placed)
