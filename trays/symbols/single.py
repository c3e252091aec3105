"""One symbol by itself, for a page (SVG) and for a printer (PDF): to try a scanner on, for example."""

from collections.abc import Iterator

from trays.identifiers import gs1
from trays.symbols import code128, datamatrix
from trays.symbols.lettering import Face, wrap
from trays.symbols.paper import Align, Paper
from trays.symbols.payload import Carrier, PayloadRefused
from trays.symbols.stock import (
    GRIDS,
    LABEL_DOTS,
    LINEAR_QUIET_MODULES,
    LINEAR_X_LIMIT_MM,
    MATRIX_QUIET_MODULES,
    Area,
    Page,
    widest_module,
)

_BARS_HIGH_MM = 12.0
# Bars on a screen: as high as so many modules.
_BARS_HIGH_MODULES = 40
_LINE_MM = 3.2
_MARGIN_MM = 2.0
# A label printer's usual width: bars that would be longer are drawn finer.
_WIDEST_MM = 100.0
_TEXT_MM = 60.0


def symbol_svg(payload: str, *, carrier: Carrier = Carrier.MATRIX, title: str = "") -> str:
    """The symbol as an SVG document that scales: one unit is one module, black on white, quiet zone included.

    Parameters
    ----------
    payload
        Element string as ``gs1.build`` makes it: no brackets, ASCII 29 where a separator is needed.
    carrier
        GS1 DataMatrix, or GS1-128 for at most 48 characters.
    title
        What a screen reader says; the bracketed text when left out.

    Raises
    ------
    PayloadRefused
        The payload breaks a rule of the standard, or does not fit the carrier.
    """
    across, down, boxes = _modules(payload, carrier)
    path = "".join(f"M{x} {y}h{wide}v{high}h{-wide}z" for x, y, wide, high in boxes)
    words = _escaped(title or gs1.hri(payload))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {across} {down}" role="img" '
        f'shape-rendering="crispEdges"><title>{words}</title>'
        f'<path fill="#fff" d="M0 0h{across}v{down}h{-across}z"/><path fill="#000" d="{path}"/></svg>'
    )


def symbol_pdf(payload: str, *, carrier: Carrier = Carrier.MATRIX, dpi: int = 300, title: str = "") -> bytes:
    """The symbol on a page of its own size in whole dots, ``title`` above and the bracketed text below it.

    Parameters as ``symbol_svg``; ``dpi`` is 203, 300 or 600. The DataMatrix has the X-dimension of a
    label's. Raises PayloadRefused likewise, and KeyError for another ``dpi``.
    """
    grid = GRIDS[dpi]
    above = wrap(title, _TEXT_MM, 8, Face.BOLD) if title else []
    below = wrap(gs1.hri(payload), _TEXT_MM, 7, Face.MONO)
    if carrier is Carrier.LINEAR:
        bars = code128.bars(payload)
        dots = widest_module(bars.size, _WIDEST_MM, grid, limit_mm=LINEAR_X_LIMIT_MM)
        if not dots:
            raise PayloadRefused("The identifier is too long for a GS1-128 of this size. Print a DataMatrix.")
        wide, high, quiet = grid.mm(bars.size * dots), _BARS_HIGH_MM, grid.mm(LINEAR_QUIET_MODULES * dots)
    else:
        matrix = datamatrix.modules(payload)
        dots = LABEL_DOTS[dpi].main
        wide = high = grid.mm(matrix.size * dots)
        quiet = grid.mm(MATRIX_QUIET_MODULES * dots)
    across = max(wide + 2 * quiet, _TEXT_MM) + 2 * _MARGIN_MM
    top = _MARGIN_MM + len(above) * _LINE_MM + quiet
    page = Page(across, top + high + quiet + len(below) * _LINE_MM + _MARGIN_MM, grid)
    paper = Paper(page, title=title or "Symbol")
    with paper.within(Area(0, 0, page.width, page.height)):
        for number, line in enumerate(above, start=1):
            paper.text(across / 2, _MARGIN_MM + number * _LINE_MM - 0.8, line, 8, Face.BOLD, Align.CENTRE)
        if carrier is Carrier.LINEAR:
            paper.bars((across - wide) / 2, top, bars, dots, high)
        else:
            paper.matrix((across - wide) / 2, top, matrix, dots)
        for number, line in enumerate(below, start=1):
            y = top + high + quiet + number * _LINE_MM - 0.6
            paper.text(across / 2, y, line, 7, Face.MONO, Align.CENTRE)
    return paper.pdf()


def _modules(payload: str, carrier: Carrier) -> tuple[int, int, Iterator[tuple[int, int, int, int]]]:
    """Whole width and height in modules, and every black box: x, y, width, height."""
    if carrier is Carrier.LINEAR:
        bars, quiet = code128.bars(payload), LINEAR_QUIET_MODULES
        boxes = ((quiet + start, 0, wide, _BARS_HIGH_MODULES) for start, wide in bars.runs())
        return bars.size + 2 * quiet, _BARS_HIGH_MODULES, boxes
    matrix, quiet = datamatrix.modules(payload), MATRIX_QUIET_MODULES
    side = matrix.size + 2 * quiet
    return side, side, ((quiet + column, quiet + row, wide, 1) for row, column, wide in matrix.runs())


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
