"""The test symbols as pictures: SVG for the screen, and a sheet of paper."""

from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from trays.identifiers import gs1
from trays.scanners.probe import TEST_PAYLOAD
from trays.symbols import code128, datamatrix
from trays.symbols.lettering import Face
from trays.symbols.paper import Paper
from trays.symbols.stock import A4, LINEAR_QUIET_MODULES, MATRIX_QUIET_MODULES, widest_module

# CSS pixels for one module on the screen: whole ones, so that no edge is blurred.
_MATRIX_PIXELS = 6
_LINEAR_PIXELS = 2
_LINEAR_HEIGHT = 90
# On paper: dots of the 300 dpi grid for one module, and mm.
_MATRIX_DOTS = 7
_LINEAR_HEIGHT_MM = 15.0
_LEFT, _TOP = 20.0, 24.0
_WIDTH = 170.0


@dataclass(frozen=True, slots=True)
class Symbol:
    """One test symbol: what it is called, its picture, its text for people."""

    name: str
    svg: SafeString
    text: str


def symbols_drawn() -> tuple[Symbol, ...]:
    """The test code as both kinds of symbol, as SVG of whole pixels."""
    text = gs1.hri(TEST_PAYLOAD)
    return (
        Symbol("GS1 DataMatrix", _matrix_svg(_("Test symbol, GS1 DataMatrix")), text),
        Symbol("GS1-128", _bars_svg(_("Test symbol, GS1-128")), text),
    )


def _matrix_svg(title: str) -> SafeString:
    symbol = datamatrix.modules(TEST_PAYLOAD)
    quiet = MATRIX_QUIET_MODULES
    runs = [(column + quiet, row + quiet, length, 1) for row, column, length in symbol.runs()]
    side = symbol.size + 2 * quiet
    return _svg(title, "symbol", runs, (side, side), (side * _MATRIX_PIXELS, side * _MATRIX_PIXELS))


def _bars_svg(title: str) -> SafeString:
    symbol = code128.bars(TEST_PAYLOAD)
    quiet = LINEAR_QUIET_MODULES
    runs = [(start + quiet, 0, length, 1) for start, length in symbol.runs()]
    wide = symbol.size + 2 * quiet
    return _svg(title, "symbol linear", runs, (wide, 1), (wide * _LINEAR_PIXELS, _LINEAR_HEIGHT))


def _svg(
    title: str,
    css: str,
    runs: list[tuple[int, int, int, int]],
    modules: tuple[int, int],
    pixels: tuple[int, int],
) -> SafeString:
    """Dark runs (left, top, length, height in modules) on white; sizes are across and down."""
    rects = format_html_join("", '<rect x="{}" y="{}" width="{}" height="{}"/>', runs)
    return format_html(
        '<svg class="{}" role="img" aria-label="{}" viewBox="0 0 {} {}" width="{}" height="{}" '
        'preserveAspectRatio="none" shape-rendering="crispEdges">'
        '<g class="ground"><rect width="{}" height="{}"/></g><g class="dark">{}</g></svg>',
        css,
        title,
        *modules,
        *pixels,
        *modules,
        rects,
    )


def symbols_sheet() -> bytes:
    """The same two symbols on A4, in whole dots of 300 dpi."""
    paper = Paper(A4, title=_("Scanner test"))
    paper.text(_LEFT, _TOP, _("Scanner test"), 20, Face.BOLD)
    words = _(
        "Open the page “Test the scanner” on the computer that the scanner belongs to, and scan each symbol "
        "once. The page says what the scanner did to it and which setting to change. Print at 100\u00a0%."
    )
    lines = paper.paragraph(_LEFT, _TOP + 10, words, 11, width=_WIDTH, lines=4, pitch=5.2)
    y = _TOP + 10 + lines * 5.2
    text = gs1.hri(TEST_PAYLOAD)
    paper.text(_LEFT, y + 8, "GS1 DataMatrix", 12, Face.BOLD)
    bottom = paper.matrix(_LEFT + 4, y + 14, datamatrix.modules(TEST_PAYLOAD), _MATRIX_DOTS).bottom
    paper.text(_LEFT, bottom + 8, text, 10, Face.MONO)
    paper.text(_LEFT, bottom + 24, "GS1-128", 12, Face.BOLD)
    bars = code128.bars(TEST_PAYLOAD)
    dots = widest_module(bars.size, _WIDTH, A4.grid)
    quiet = A4.grid.mm(LINEAR_QUIET_MODULES * dots)
    bottom = paper.bars(_LEFT + quiet, bottom + 30, bars, dots, _LINEAR_HEIGHT_MM).bottom
    paper.text(_LEFT, bottom + 8, text, 10, Face.MONO)
    paper.next_page()
    return paper.pdf()
