"""Symbols of ISO 15223-1 on the labels of packs, each beside its words; what is not on file has no symbol."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from trays.instruments.models import SetDesign
from trays.labels.kinds import PackLabel
from trays.symbols import iso, lettering
from trays.symbols.lettering import LEAST_SIZE, DoesNotFit
from trays.symbols.paper import Paper

# The letters beside STERILE, by what it was done with.
_AGENTS = {SetDesign.Method.ETHYLENE_OXIDE: "EO", SetDesign.Method.HYDROGEN_PEROXIDE: "VH2O2"}
_WORDS_GAP, _SIGNS_GAP = 1.0, 1.0
_PITCH = 0.36


@dataclass(frozen=True)
class Sign:
    """A symbol and its words: `draw` takes x, top and height, and returns the symbol's width in mm."""

    words: str
    draw: Callable[[Paper, float, float, float], float]
    # Its share of the height of the row.
    high: float = 1.0

    def width(self, symbol: float, size: float) -> float:
        """Of the whole, for a symbol so wide: the words stand on two lines where that is narrower."""
        return symbol + _WORDS_GAP + max(lettering.width(line, size) for line in _halves(self.words, size))


def signs_of(label: PackLabel) -> tuple[Sign | None, ...]:
    """How it was sterilized, what ends it, in what barrier: None where not on file."""
    return (
        _method(label.method),
        Sign(_("do not use if damaged"), iso.package_damaged, 1.15),
        _barrier(label.barrier),
    )


def _method(code: str) -> Sign | None:
    if not code:
        return None
    words = str(SetDesign.Method(code).label)
    if code == SetDesign.Method.STEAM:
        return Sign(words, iso.sterile_steam)
    letters = _AGENTS[SetDesign.Method(code)]
    return Sign(words, lambda paper, x, y, high: iso.sterile_by(paper, x, y, letters, high))


def _barrier(code: str) -> Sign | None:
    if not code:
        return None
    double = code == SetDesign.Barrier.DOUBLE
    draw = iso.double_barrier if double else iso.single_barrier
    return Sign(str(SetDesign.Barrier(code).label).lower(), draw)


def _halves(words: str, size: float) -> list[str]:
    """The words on the line or two that they take least width on."""
    parts = words.split()
    splits = (
        [[words]]
        if len(parts) < 2
        else [[" ".join(parts[:n]), " ".join(parts[n:])] for n in range(1, len(parts))]
    )
    return min(splits, key=lambda lines: max(lettering.width(line, size) for line in lines))


def draw_signs(
    paper: Paper,
    label: PackLabel,
    left: float,
    top: float,
    *,
    room: float,
    high: float,
    size: float,
    places: tuple[float, ...] = (0.0, 0.0, 0.0),
) -> None:
    """One row of them, each at its place or, where those before it are longer, right after them.

    Raises DoesNotFit when the row is longer than `room` even with words of 7 points.
    """
    for points in dict.fromkeys((size, LEAST_SIZE)):
        try:
            with paper.within(paper.whole):
                if _row(paper, label, left, top, high, points, places) > room + 0.01:
                    raise DoesNotFit(" ".join(sign.words for sign in signs_of(label) if sign), room)
            return
        except DoesNotFit:
            if points == LEAST_SIZE:
                raise


def _row(
    paper: Paper,
    label: PackLabel,
    left: float,
    top: float,
    high: float,
    size: float,
    places: tuple[float, ...],
) -> float:
    """Draw the row; returns its length in mm."""
    x = 0.0
    for sign, place in zip(signs_of(label), places, strict=True):
        if sign is None:
            continue
        x = max(x, place)
        tall = high * sign.high
        symbol = sign.draw(paper, left + x, top - (tall - high) / 2, tall)
        lines = _halves(sign.words, size)
        pitch = size * _PITCH
        y = top + high * 0.5 + size * 0.13 - (len(lines) - 1) * pitch / 2
        for number, line in enumerate(lines):
            paper.text(left + x + symbol + _WORDS_GAP, y + number * pitch, line, size)
        x += sign.width(symbol, size) + _SIGNS_GAP
    return x - _SIGNS_GAP
