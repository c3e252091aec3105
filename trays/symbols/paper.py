"""A page that is drawn on the dots of its printer.

Lengths are mm from the top left corner, y downward; type sizes are points; text stands on its
baseline. Rules and symbols are whole dots on whole dots, so that every renderer paints the same ones.
"""

from dataclasses import dataclass
from enum import Enum
from io import BytesIO

from reportlab.pdfgen.canvas import Canvas

from trays.symbols import lettering
from trays.symbols.code128 import Bars
from trays.symbols.datamatrix import Modules
from trays.symbols.lettering import Face, Fitted
from trays.symbols.stock import POINTS_PER_INCH, Area, Page

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
# Filled rectangles are this much smaller on every side, so that no neighbouring dot is touched.
_SHRINK = 0.02


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

    def __init__(self, page: Page, *, title: str, language: str = "en") -> None:
        """``title`` and ``language`` go into the PDF's own data. The same drawing gives the same bytes."""
        self.page = page
        self.grid = page.grid
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
        self._started = False

    # Pages

    def _on(self) -> Canvas:
        if not self._started:
            self._canvas.translate(0, -_PAGE_LESS)
            self._canvas.scale(1 / self._per_point, 1 / self._per_point)
            self._started = True
        return self._canvas

    def next_page(self) -> None:
        """End this page, also when it is empty; the next drawing starts a new one."""
        self._on()
        self._canvas.showPage()
        self._started = False

    def pdf(self) -> bytes:
        """The finished file. A page begun is ended; nothing can be drawn after this."""
        if self._started:
            self._canvas.showPage()
        self._canvas.save()
        return self._buffer.getvalue()

    def _x(self, mm: float) -> float:
        return mm * self.grid.dots_per_mm

    def _y(self, mm: float) -> float:
        return self._down - mm * self.grid.dots_per_mm

    # Text

    def text(
        self, x: float, y: float, text: str, size: float, face: Face = Face.REGULAR, align: Align = Align.LEFT
    ) -> float:
        """Draw a text as it is, unfitted, and return its width in mm."""
        shown = lettering.clean(text, face)
        wide = lettering.width(shown, size, face)
        canvas = self._on()
        canvas.setFont(lettering.font_name(face), size * self._per_point)
        canvas.drawString(self._x(x - wide * align.value), self._y(y), shown)
        return wide

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

    def _fill_dots(self, left: float, top: float, across: float, down: float) -> None:
        """Fill a rectangle of whole dots, ``top`` counted from the top of the page."""
        self._on().rect(
            left + _SHRINK,
            self._down - top - down + _SHRINK,
            across - 2 * _SHRINK,
            down - 2 * _SHRINK,
            stroke=0,
            fill=1,
        )

    def fill(self, x: float, y: float, width: float, height: float) -> None:
        """A black rectangle, its edges on the nearest whole dots."""
        left, top = self.grid.dots(x), self.grid.dots(y)
        self._fill_dots(
            left, top, max(1, self.grid.dots(x + width) - left), max(1, self.grid.dots(y + height) - top)
        )

    def rule(self, left: float, right: float, y: float, weight: float = ROW_RULE) -> None:
        """A level line whose upper edge is at ``y``."""
        start = self.grid.dots(left)
        self._fill_dots(
            start, self.grid.dots(y), self.grid.dots(right) - start, max(1, self.grid.dots(weight))
        )

    def upright(self, x: float, top: float, bottom: float, weight: float = ROW_RULE) -> None:
        """An upright line whose left edge is at ``x``."""
        start = self.grid.dots(top)
        self._fill_dots(
            self.grid.dots(x), start, max(1, self.grid.dots(weight)), self.grid.dots(bottom) - start
        )

    def _set(self, stroke: Stroke) -> None:
        canvas = self._on()
        canvas.setLineWidth(max(1, self.grid.dots(stroke.weight)))
        canvas.setStrokeGray(1 if stroke.white else 0)
        canvas.setDash(*([self._x(DASH), self._x(DASH)],) if stroke.dashed else ())

    def box(self, area: Area, stroke: Stroke = Stroke(), corner: float = 0.0) -> None:  # noqa: B008
        """An outline closed on all sides, its line inside the area."""
        self._set(stroke)
        self._on().setLineJoin(0)
        half = stroke.weight / 2
        x, y = self._x(area.x + half), self._y(area.bottom - half)
        wide, high = self._x(area.width - stroke.weight), self._x(area.height - stroke.weight)
        if corner:
            self._on().roundRect(x, y, wide, high, self._x(corner), stroke=1, fill=0)
        else:
            self._on().rect(x, y, wide, high, stroke=1, fill=0)

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
        self._set(stroke or Stroke())
        # Round joins: sharp corners would stick out of their box.
        self._on().setLineJoin(1)
        path = self._on().beginPath()
        path.moveTo(self._x(points[0][0]), self._y(points[0][1]))
        for x, y in points[1:]:
            path.lineTo(self._x(x), self._y(y))
        if closed:
            path.close()
        self._on().drawPath(path, stroke=int(stroke is not None), fill=int(stroke is None))

    def oval(self, area: Area, stroke: Stroke | None = None) -> None:
        """An ellipse in the area, filled when no stroke is given."""
        self._set(stroke or Stroke())
        inset = stroke.weight / 2 if stroke else 0.0
        self._on().ellipse(
            self._x(area.x + inset),
            self._y(area.bottom - inset),
            self._x(area.right - inset),
            self._y(area.y + inset),
            stroke=int(stroke is not None),
            fill=int(stroke is None),
        )

    # Symbols

    def matrix(self, x: float, y: float, symbol: Modules, dots: int) -> Area:
        """Draw a DataMatrix with its top left corner on the dot nearest (x, y); returns what it covers.

        ``dots`` per module. The quiet zone (2 modules on every side) is the caller's to keep free.
        """
        left, top = self.grid.dots(x), self.grid.dots(y)
        for row, column, length in symbol.runs():
            self._fill_dots(left + column * dots, top + row * dots, length * dots, dots)
        side = self.grid.mm(symbol.size * dots)
        return Area(self.grid.mm(left), self.grid.mm(top), side, side)

    def bars(self, x: float, y: float, symbol: Bars, dots: int, height: float) -> Area:
        """Draw GS1-128 bars ``height`` mm high; returns what they cover without quiet zones (10 modules)."""
        left, top = self.grid.dots(x), self.grid.dots(y)
        tall = self.grid.dots(height)
        for start, length in symbol.runs():
            self._fill_dots(left + start * dots, top, length * dots, tall)
        return Area(
            self.grid.mm(left), self.grid.mm(top), self.grid.mm(symbol.size * dots), self.grid.mm(tall)
        )
