"""From a PDF back to dots and codes: what a printer would paint and a scanner would read."""

from dataclasses import dataclass

import numpy
import pypdfium2
import zxingcpp
from numpy.typing import NDArray

from trays.symbols.stock import Area

Dots = NDArray[numpy.uint8]


@dataclass(frozen=True)
class Seen:
    """One symbol as a reader saw it."""

    identifier: str
    text: str
    # Top left corner in dots.
    x: int
    y: int


def pages(pdf: bytes, dpi: int) -> list[Dots]:
    """Every page as grey dots, 0 black to 255 white, one dot of the printer each."""
    document = pypdfium2.PdfDocument(pdf)
    painted = [page.render(scale=dpi / 72, grayscale=True).to_numpy() for page in document]
    return [dots.reshape(dots.shape[:2]) for dots in painted]


def texts(pdf: bytes) -> list[str]:
    """The text of every page, as it can be searched for in a viewer."""
    return [page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(pdf)]


def read(dots: Dots) -> list[Seen]:
    """All symbols on a page, from the top."""
    found = zxingcpp.read_barcodes(numpy.ascontiguousarray(dots))
    seen = [
        Seen(f.symbology_identifier, f.bytes.decode("ascii"), f.position.top_left.x, f.position.top_left.y)
        for f in found
    ]
    return sorted(seen, key=lambda s: (s.y, s.x))


def read_alone(dots: Dots) -> Seen:
    """The only symbol on a picture."""
    (seen,) = read(dots)
    return seen


def cut_out(dots: Dots, area: Area, dots_per_mm: float, border: int = 0) -> Dots:
    """The dots of an area, with ``border`` dots around it."""
    left, top = round(area.x * dots_per_mm) - border, round(area.y * dots_per_mm) - border
    across, down = round(area.width * dots_per_mm) + 2 * border, round(area.height * dots_per_mm) + 2 * border
    return dots[max(0, top) : top + down, max(0, left) : left + across]


def texts_at(pdf: bytes, page: int = 0) -> str:
    """The text of one page with single blanks, wherever its lines were broken."""
    return " ".join(texts(pdf)[page].split())
