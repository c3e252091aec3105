"""What a page is made of, in the words of a PDF: rectangles of whole dots, symbols, where they lie."""

from dataclasses import dataclass
from functools import lru_cache

from trays.symbols.datamatrix import Modules
from trays.symbols.stock import Area

# Filled rectangles are this much smaller on every side, so that no neighbouring dot is touched.
_SHRINK = 0.02
# Text may touch the edge of its area by so much, in mm: widths are rounded.
_TOUCH = 0.05
# How far the handles of a curve reach that comes nearest to a quarter of a circle: 4 (√2 - 1) / 3.
_QUARTER = 0.5522847498


@dataclass(frozen=True)
class Placed:
    """A symbol as it was drawn, in true lengths: X-dimension, and the quiet zone kept on each side, in mm."""

    linear: bool
    x_mm: float
    quiet_mm: float
    area: Area


def box_literal(left: int, low: int, across: int, up: int) -> str:
    """One rectangle of whole dots, shrunk, in the words of a PDF."""
    return f"{left + _SHRINK:.2f} {low + _SHRINK:.2f} {across - 2 * _SHRINK:.2f} {up - 2 * _SHRINK:.2f} re f"


def ellipse_literal(low: tuple[float, float], high: tuple[float, float]) -> str:
    """The path of an ellipse between two corners, as four curves."""
    (left, bottom), (right, top) = low, high
    x, y = (left + right) / 2, (bottom + top) / 2
    across, up = (right - left) / 2 * _QUARTER, (top - bottom) / 2 * _QUARTER
    points = (
        (left, y + up, x - across, top, x, top),
        (x + across, top, right, y + up, right, y),
        (right, y - up, x + across, bottom, x, bottom),
        (x - across, bottom, left, y - up, left, y),
    )
    curves = " ".join(" ".join(f"{value:.3f}" for value in curve) + " c" for curve in points)
    return f"{left:.3f} {y:.3f} m {curves} h"


@lru_cache(maxsize=64)
def matrix_literal(symbol: Modules, dots: int) -> str:
    """A DataMatrix whose top left corner is the origin: a label and its copies share it."""
    return " ".join(
        box_literal(column * dots, -(row + 1) * dots, length * dots, dots)
        for row, column, length in symbol.runs()
    )


def inside(area: Area, window: Area) -> bool:
    """Whether an area lies in another, or sticks out by no more than rounding."""
    return (
        area.x >= window.x - _TOUCH
        and area.y >= window.y - _TOUCH
        and area.right <= window.right + _TOUCH
        and area.bottom <= window.bottom + _TOUCH
    )
