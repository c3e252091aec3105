"""A page of a PDF as a picture, dot for dot as the printer paints it: what is shown is what is printed."""

from io import BytesIO
from threading import Lock

import pypdfium2

from trays.symbols.stock import POINTS_PER_INCH

# The renderer keeps state of its own and may be asked by one thread at a time.
_ONE_AT_A_TIME = Lock()


def page_png(pdf: bytes, dpi: int, page: int = 0) -> bytes:
    """One page as PNG in grey, one pixel for each dot. Raises IndexError for a page that is not there."""
    with _ONE_AT_A_TIME:
        document = pypdfium2.PdfDocument(pdf)
        try:
            if page >= len(document):
                raise IndexError(f"There is no page {page + 1} of {len(document)}.")
            picture = document[page].render(scale=dpi / POINTS_PER_INCH, grayscale=True).to_pil()
        finally:
            document.close()
    kept = BytesIO()
    picture.save(kept, "PNG", optimize=False)
    return kept.getvalue()
