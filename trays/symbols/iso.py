"""Symbols of ISO 15223-1:2021 as vector art of our own, after the standard's shapes.

They never stand without their words. Compare each with the standard before labels go out. All take the
top left corner and the height in mm, and return the width.
"""

from math import cos, pi

from trays.symbols import lettering
from trays.symbols.lettering import Face
from trays.symbols.paper import Align, Paper, Stroke
from trays.symbols.stock import Area


def _line(height: float) -> float:
    return max(0.2, height * 0.06)


def use_by(paper: Paper, x: float, y: float, height: float = 4.0) -> float:
    """5.1.4 use-by date: an hourglass; the date stands to its right."""
    wide, thick = height * 0.68, _line(height)
    half = thick / 2
    left, right, top, bottom = x + half, x + wide - half, y + half, y + height - half
    paper.polygon([(left, top), (right, top), (left, bottom), (right, bottom)], Stroke(thick))
    return wide


def sterile_steam(paper: Paper, x: float, y: float, height: float = 4.0) -> float:
    """5.2.5 sterilized using steam or dry heat: STERILE beside a thermometer, boxed."""
    inner = height * 0.83
    left, wide = _sterile(paper, x, y, height, inner)
    thick = _line(height)
    middle, bulb = left + inner / 2 + thick / 2, height * 0.15
    low = y + height * 0.72
    paper.oval(Area(middle - bulb, low - bulb, 2 * bulb, 2 * bulb))
    paper.fill(middle - thick * 0.75, y + height * 0.16, thick * 1.5, low - y - height * 0.16)
    return wide


def sterile_by(paper: Paper, x: float, y: float, letters: str, height: float = 4.0) -> float:
    """5.2.3 (EO) and 5.2.10 (VH2O2): STERILE beside the letters of the agent, boxed."""
    size = height * 1.36
    inner = lettering.width(letters, size, Face.BOLD) + 4 * _line(height)
    left, wide = _sterile(paper, x, y, height, inner)
    middle = left + inner / 2 + _line(height) / 2
    paper.text(middle, y + height * 0.66, letters, size, Face.BOLD, Align.CENTRE)
    return wide


def _sterile(paper: Paper, x: float, y: float, height: float, inner: float) -> tuple[float, float]:
    """The word and its box with room for ``inner`` mm beside it: where that room begins, and the width."""
    thick = _line(height)
    parting = x + height * 2.12
    wide = parting - x + inner
    paper.box(Area(x, y, wide, height), Stroke(thick))
    paper.upright(parting, y, y + height, thick)
    paper.exact(
        x + (parting - x + thick) / 2,
        y + height * 0.66,
        "STERILE",
        height * 1.36,
        width=parting - x - thick,
        least=height * 1.1,
        face=Face.BOLD,
        align=Align.CENTRE,
    )
    return parting, wide


def package_damaged(paper: Paper, x: float, y: float, height: float = 5.0) -> float:
    """5.2.8 do not use if package is damaged: a package torn in two, in a circle with a bar across it.

    The bar keeps a white edge, so that the package stays legible at 4.6 mm on a 203 dpi head.
    """
    thick = _line(height)
    paper.oval(Area(x, y, height, height), Stroke(thick))
    middle, centre, unit = x + height / 2, y + height / 2, height / 20
    top, bottom = centre - 5.0 * unit, centre + 5.0 * unit
    for side in (-1, 1):
        inner, outer = middle + side * 1.5 * unit, middle + side * 6.4 * unit
        # The tear leans against the bar, which so crosses it once only.
        tear = [
            (inner + 2.6 * unit, top),
            (inner - 0.2 * unit, centre - 1.8 * unit),
            (inner + 0.2 * unit, centre + 1.8 * unit),
            (inner - 2.6 * unit, bottom),
        ]
        paper.polygon([(outer, top), *tear, (outer, bottom)], Stroke(thick * 0.8))
    reach = (height / 2 - thick / 2) * cos(pi / 4)
    bar = [(middle - reach, centre - reach), (middle + reach, centre + reach)]
    short = [(middle - reach * 0.8, centre - reach * 0.8), (middle + reach * 0.8, centre + reach * 0.8)]
    paper.line(short, Stroke(thick * 2.6, white=True))
    paper.line(bar, Stroke(thick * 1.1))
    return height


def single_barrier(paper: Paper, x: float, y: float, height: float = 4.0) -> float:
    """5.2.11 single sterile barrier system: one closed oval."""
    wide = height * 1.55
    paper.oval(Area(x, y, wide, height), Stroke(_line(height) * 1.2))
    return wide


def double_barrier(paper: Paper, x: float, y: float, height: float = 4.0) -> float:
    """5.2.12 double sterile barrier system: one closed oval within another."""
    wide = single_barrier(paper, x, y, height)
    inset = height * 0.2
    paper.oval(Area(x + inset, y + inset, wide - 2 * inset, height - 2 * inset), Stroke(_line(height) * 1.2))
    return wide
