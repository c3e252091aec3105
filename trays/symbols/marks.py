"""The program's marks as shapes: verdicts, groups of a pick list, the mark beside the name.

A mark is data in a box of its own units, so that screen (``svg_path``) and paper (``draw``) show one
drawing. The word always stands beside it.
"""

from dataclasses import dataclass
from enum import Enum

from trays.symbols.lettering import Face
from trays.symbols.paper import Align, Paper, Stroke
from trays.symbols.stock import Area


@dataclass(frozen=True)
class Block:
    """A filled rectangle in the units of its mark."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Disc:
    """A filled circle in the units of its mark."""

    x: float
    y: float
    radius: float


@dataclass(frozen=True)
class Mark:
    """Filled shapes in a box of ``width`` × ``height`` units."""

    width: float
    height: float
    shapes: tuple[Block | Disc, ...]


class Verdict(Enum):
    """The four verdicts, by the names used everywhere."""

    COVERED = "covered"
    THIN = "thin"
    SHORT = "short"
    NOT_KNOWN = "not_known"


class Group(Enum):
    """Why a line stands on a pick list."""

    LIKELY = "likely"
    KEEP_SEALED = "keep_sealed"
    CONTINGENCY = "contingency"
    CONSUMABLE = "consumable"


# Two posts on feet, 34 × 16: 17 × 8 mm beside the verdict's word.
_POSTS = (Block(2, 0, 2, 16), Block(0, 14, 6, 2), Block(30, 0, 2, 16), Block(28, 14, 6, 2))


def _dots(first: float, last: float, number: int) -> tuple[Disc, ...]:
    step = (last - first) / (number - 1)
    return tuple(Disc(first + step * n, 7, 1.1) for n in range(number))


VERDICT_MARKS = {
    Verdict.COVERED: Mark(34, 16, (*_POSTS, Block(4, 3.5, 26, 7))),
    Verdict.THIN: Mark(34, 16, (*_POSTS, Block(4, 6.2, 26, 1.6))),
    Verdict.SHORT: Mark(34, 16, (*_POSTS, Block(4, 3.5, 11, 7), *_dots(18.5, 27.5, 3))),
    Verdict.NOT_KNOWN: Mark(34, 16, (*_POSTS, *_dots(6.5, 27.5, 6))),
}

# A tray seen from its end.
TRAYSPAN = Mark(
    36,
    24,
    (
        Block(1, 2, 5, 20),
        Block(30, 2, 5, 20),
        Block(6, 6, 24, 4),
        Block(10, 14, 4, 6),
        Block(16, 14, 4, 6),
        Block(22, 14, 4, 6),
    ),
)


def svg_path(mark: Mark) -> str:
    """The mark as the ``d`` of one SVG path in a view box of its own units."""
    parts = []
    for shape in mark.shapes:
        if isinstance(shape, Block):
            parts.append(f"M{shape.x:g} {shape.y:g}h{shape.width:g}v{shape.height:g}h{-shape.width:g}z")
        else:
            r = shape.radius
            parts.append(
                f"M{shape.x - r:g} {shape.y:g}a{r:g} {r:g} 0 1 0 {2 * r:g} 0a{r:g} {r:g} 0 1 0 {-2 * r:g} 0z"
            )
    return "".join(parts)


def draw(paper: Paper, mark: Mark, x: float, y: float, height: float) -> float:
    """Draw a mark ``height`` mm high with its top left corner at (x, y); returns its width in mm."""
    unit = height / mark.height
    for shape in mark.shapes:
        if isinstance(shape, Block):
            paper.fill(x + shape.x * unit, y + shape.y * unit, shape.width * unit, shape.height * unit)
        else:
            side = 2 * shape.radius * unit
            paper.oval(
                Area(x + (shape.x - shape.radius) * unit, y + (shape.y - shape.radius) * unit, side, side)
            )
    return mark.width * unit


def draw_verdict(paper: Paper, verdict: Verdict, x: float, y: float, height: float = 8.0) -> float:
    """Draw a verdict's mark; the word is the caller's and stands to its right. Returns its width in mm."""
    return draw(paper, VERDICT_MARKS[verdict], x, y, height)


def draw_group(paper: Paper, group: Group, x: float, y: float, side: float = 2.8) -> None:
    """Draw a group's mark in a square: disc, ring, triangle; for consumables three level bars.

    The consumable's mark is no square, so that nobody ticks it.
    """
    area = Area(x, y, side, side)
    if group is Group.LIKELY:
        paper.oval(area)
    elif group is Group.KEEP_SEALED:
        paper.oval(area, Stroke(0.35))
    elif group is Group.CONTINGENCY:
        paper.polygon(
            [(x + side / 2, y + 0.2), (x + side - 0.1, y + side - 0.2), (x + 0.1, y + side - 0.2)],
            Stroke(0.35),
        )
    else:
        for third in range(3):
            paper.rule(x, x + side, y + 0.2 + third * (side - 0.75) / 2, 0.35)


def draw_name(paper: Paper, x: float, baseline: float, name: str, size: float) -> float:
    """The program's mark with the name beside it, the mark as high as a capital; returns the width."""
    high = size * 0.36
    wide = draw(paper, TRAYSPAN, x, baseline - high + 0.2, high)
    return wide + 1.6 + paper.text(x + wide + 1.6, baseline, name, size, Face.BOLD, Align.LEFT)
