"""The human readable text beside a symbol: whole elements, on as many lines as they need."""

from trays.symbols import lettering
from trays.symbols.lettering import Face
from trays.symbols.paper import Align, Paper
from trays.symbols.payload import elements


def hri_lines(payload: str, width: float, size: float) -> list[str]:
    """AIs in brackets; an element goes to the next line rather than being broken."""
    lines: list[str] = []
    for element in elements(payload):
        word = f"({element.ai}){element.value}"
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and lettering.width(longer, size, Face.MONO) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def draw_hri(
    paper: Paper,
    x: float,
    y: float,
    payload: str,
    *,
    width: float,
    size: float = 7.0,
    pitch: float = 2.7,
    align: Align = Align.LEFT,
) -> int:
    """Draw it from the baseline `y` down; returns the lines. Raises DoesNotFit for one element too wide."""
    lines = hri_lines(payload, width, size)
    for number, line in enumerate(lines):
        at = y + number * pitch
        paper.exact(x, at, line, size, width=width, least=7, face=Face.MONO, align=align)
    return len(lines)
