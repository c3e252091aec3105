"""Measuring and fitting text: what is drawn, how wide it is, how it gives way when too long.

Widths are mm, sizes are points. Four faces are shipped and embedded, so that a name looks the same
on every printer.
"""

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from functools import cache, lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from trays.symbols.stock import MM_PER_INCH, POINTS_PER_INCH

FONT_FOLDER = Path(__file__).parent / "fonts"
MISSING = "□"
ELLIPSIS = "…"
# Characters at the end of a name that a cut in its middle leaves whole: size and side stand there.
KEPT_END = 14
LEAST_SIZE = 7.0
STEP = 0.5


class Face(Enum):
    """The faces of the program's paper; the value is the font's name inside the PDF."""

    REGULAR = "DejaVuSansCondensed"
    BOLD = "DejaVuSansCondensed-Bold"
    OBLIQUE = "DejaVuSansCondensed-Oblique"
    MONO = "DejaVuSansMono"


class DoesNotFit(ValueError):
    """A number, date, lot, quantity or place would have to be cut or shrunk out of sight."""

    def __init__(self, text: str, width: float) -> None:
        super().__init__(f"“{text}” does not fit in {width:.1f} mm and may not be cut.")
        self.text = text
        self.width = width


@cache
def font_name(face: Face) -> str:
    """Name of the face for the canvas; registers the font at first use."""
    font = TTFont(face.value, str(FONT_FOLDER / f"{face.value}.ttf"))
    pdfmetrics.registerFont(font)
    return face.value


@cache
def _letters(face: Face) -> frozenset[int]:
    font_name(face)
    return frozenset(int(c) for c in pdfmetrics.getFont(face.value).face.charToGlyph)


def _shown(letter: str, face: Face) -> str:
    if letter.isspace():
        return " "
    kind = unicodedata.category(letter)
    if kind in ("Cc", "Cs", "Cf") or ord(letter) not in _letters(face):
        return MISSING
    return letter


@lru_cache(maxsize=4096)
def clean(text: str, face: Face = Face.REGULAR) -> str:
    """The text as it will print: NFC, blanks for line ends and tabs, □ for what the face lacks."""
    return "".join(_shown(c, face) for c in unicodedata.normalize("NFC", text))


def doubtful_letters(text: str, face: Face = Face.REGULAR) -> tuple[str, ...]:
    """Letters that will not print as they should, each once, in order: shown on screen before printing.

    They are missing from the face (printed as □), or belong to a script that runs right to left or
    whose letters change their shape, which is not done here.
    """
    found: dict[str, None] = {}
    for letter in unicodedata.normalize("NFC", text):
        lost = _shown(letter, face) == MISSING and letter != MISSING
        if lost or unicodedata.bidirectional(letter) in ("R", "AL"):
            found[letter] = None
    return tuple(found)


@lru_cache(maxsize=4096)
def width(text: str, size: float, face: Face = Face.REGULAR) -> float:
    """Width in mm of text as it will print at ``size`` points."""
    points = pdfmetrics.stringWidth(clean(text, face), font_name(face), size)
    return float(points) * MM_PER_INCH / POINTS_PER_INCH


@dataclass(frozen=True)
class Fitted:
    """Text made to fit: its lines, the size in points that they share, and whether letters were cut."""

    lines: tuple[str, ...]
    size: float
    cut: bool


def _sizes(size: float, least: float) -> list[float]:
    steps = [size]
    while steps[-1] - STEP >= least:
        steps.append(steps[-1] - STEP)
    if steps[-1] > least:
        steps.append(least)
    return steps


def _longest(text: str, fits: Callable[[str], bool]) -> int:
    """Most letters of ``text`` from its start that fit: widths only grow, so halving finds it."""
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if fits(text[:middle]):
            low = middle
        else:
            high = middle - 1
    return low


def cut_middle(text: str, width_mm: float, size: float, face: Face = Face.REGULAR) -> str:
    """Cut in the middle with …, keeping up to 14 letters of the end; the end shrinks only if it must."""
    if width(text, size, face) <= width_mm:
        return text
    for kept in range(min(KEPT_END, len(text) - 1), -1, -1):
        end = text[len(text) - kept :]
        if width(ELLIPSIS + end, size, face) > width_mm:
            continue
        start = text[: len(text) - kept]
        room = _longest(start, lambda s, e=end: width(s + ELLIPSIS + e, size, face) <= width_mm)  # type: ignore[misc]
        return start[:room].rstrip() + ELLIPSIS + end.lstrip()
    return ELLIPSIS


def cut_end(text: str, width_mm: float, size: float, face: Face = Face.REGULAR) -> str:
    """Cut at the end with …; for sentences, whose start carries the sense."""
    if width(text, size, face) <= width_mm:
        return text
    room = _longest(text, lambda s: width(s.rstrip() + ELLIPSIS, size, face) <= width_mm)
    return text[:room].rstrip() + ELLIPSIS


def _first_line(text: str, width_mm: float, size: float, face: Face) -> tuple[str, str]:
    """The words that fill one line, and the rest. A single word too long for it is broken."""
    words = text.split(" ")
    taken = 0
    while taken < len(words) and width(" ".join(words[: taken + 1]), size, face) <= width_mm:
        taken += 1
    if taken:
        return " ".join(words[:taken]), " ".join(words[taken:])
    room = max(1, _longest(words[0], lambda s: width(s, size, face) <= width_mm))
    return text[:room], text[room:]


def wrap(text: str, width_mm: float, size: float, face: Face = Face.REGULAR) -> list[str]:
    """All lines of a text at one size, broken between words; nothing is cut."""
    rest = " ".join(clean(text, face).split())
    lines: list[str] = []
    while rest:
        line, rest = _first_line(rest, width_mm, size, face)
        lines.append(line)
        rest = rest.lstrip()
    return lines or [""]


def fit(
    text: str,
    width_mm: float,
    size: float,
    *,
    least: float | None = None,
    lines: int = 1,
    face: Face = Face.REGULAR,
) -> Fitted:
    """A name made to fit: half point steps down to ``least``, then more lines, then cut in the middle.

    ``least`` is ``size`` when left out (no shrinking). Never for numbers, lots or dates: see ``exact``.
    """
    least = size if least is None else least
    shown = " ".join(clean(text, face).split())
    for step in _sizes(size, least):
        if width(shown, step, face) <= width_mm:
            return Fitted((shown,), step, False)
    if lines == 1:
        return Fitted((cut_middle(shown, width_mm, least, face),), least, True)
    for step in _sizes(size, least):
        wrapped = wrap(shown, width_mm, step, face)
        if len(wrapped) <= lines:
            return Fitted(tuple(wrapped), step, False)
    rest, made = shown, []
    for _ in range(lines - 1):
        line, rest = _first_line(rest, width_mm, least, face)
        made.append(line)
        rest = rest.lstrip()
    return Fitted((*made, cut_middle(rest, width_mm, least, face)), least, True)


def exact(
    text: str, width_mm: float, size: float, *, least: float | None = None, face: Face = Face.REGULAR
) -> Fitted:
    """Text that may shrink to ``least`` but is never cut nor wrapped. Raises DoesNotFit."""
    shown = clean(text, face)
    for step in _sizes(size, size if least is None else least):
        if width(shown, step, face) <= width_mm:
            return Fitted((shown,), step, False)
    raise DoesNotFit(text, width_mm)


def bare_name(name: str, *said: str) -> str:
    """The name without the words at its end that stand beside it anyway, such as its size and side."""
    words = sorted({word.casefold() for word in said if word}, key=len, reverse=True)
    while True:
        end = next((w for w in words if name.casefold().endswith((f" {w}", f",{w}"))), None)
        if end is None:
            return name
        name = name[: -len(end)].rstrip(" ,")


def name_list(
    names: list[str], width_mm: float, size: float, more: Callable[[int], str], face: Face = Face.REGULAR
) -> str:
    """Whole names as far as they fit, then ``more(left)``: "+2 more". Only a first name too long is cut."""
    for shown in range(len(names), 0, -1):
        tail = "" if shown == len(names) else " " + more(len(names) - shown)
        line = "; ".join(names[:shown]) + tail
        if width(line, size, face) <= width_mm:
            return line
    if not names:
        return ""
    tail = "" if len(names) == 1 else " " + more(len(names) - 1)
    return cut_middle(clean(names[0], face), width_mm - width(tail, size, face), size, face) + tail
