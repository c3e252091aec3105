"""A picture as a camera would see it, and as the film that Chromium plays in place of a camera."""

from pathlib import Path

import numpy
import pypdfium2
from numpy.typing import NDArray
from PIL import Image, ImageFilter

WIDE, HIGH = 1280, 720
_FRAMES = 3
_TABLE = 150


def page_of(pdf: bytes, number: int, *, dpi: int = 300) -> Image.Image:
    """One page of a PDF as grey dots."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return document[number].render(scale=dpi / 72, grayscale=True).to_pil().convert("L")
    finally:
        document.close()


def as_seen(label: Image.Image, *, turned: float = 7.0, blurred: float = 0.9) -> NDArray[numpy.uint8]:
    """The label on a table: turned (degrees), a little out of focus (px), with a camera's noise."""
    fitted = label.copy()
    fitted.thumbnail((int(WIDE * 0.9), int(HIGH * 0.8)), Image.Resampling.LANCZOS)
    table = Image.new("L", (WIDE, HIGH), _TABLE)
    table.paste(fitted, ((WIDE - fitted.width) // 2, (HIGH - fitted.height) // 2))
    seen = table.rotate(turned, Image.Resampling.BICUBIC, fillcolor=_TABLE)
    seen = seen.filter(ImageFilter.GaussianBlur(blurred))
    noise = numpy.random.default_rng(7).normal(0, 5, (HIGH, WIDE))
    return numpy.clip(numpy.asarray(seen, dtype=float) * 0.86 + 14 + noise, 0, 255).astype(numpy.uint8)


def film(picture: NDArray[numpy.uint8], path: Path) -> Path:
    """The picture as a y4m file: a short head, then whole frames of grey."""
    high, wide = picture.shape
    grey = bytes([128]) * (wide * high // 2)
    frame = b"FRAME\n" + picture.tobytes() + grey
    path.write_bytes(f"YUV4MPEG2 W{wide} H{high} F10:1 Ip A1:1 C420jpeg\n".encode() + frame * _FRAMES)
    return path
