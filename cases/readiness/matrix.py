"""Two linked slots as a square: how likely each pair of sizes is, which fit, and what is there of each size.

Each pair has a bar, the longest for the likeliest pair, with its value in 100 above it. Distances are in px
at scale 1; the marks are those of the size range picture.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from cases.planning.parts import Floats
from cases.readiness.picture import Picture, Shape, Text
from trays.web.wording import likely

FITS, UNKNOWN, REFUSED = "fits", "unknown", "refused"

SHOWN = 0.0005
"""Sizes at either end that together with all others are less likely than this are left out."""

_LEFT, _TOP, _WIDE, _HIGH = 100, 56, 48, 42
_BAR = 40


@dataclass(frozen=True, eq=False)
class Square:
    """What is drawn: chances (rows, columns), a verdict per pair, and how many of each size can be used."""

    rows: tuple[str, ...]
    columns: tuple[str, ...]
    chance: Floats
    verdict: tuple[tuple[str, ...], ...]
    row_free: tuple[int, ...]
    column_free: tuple[int, ...]

    def worth_showing(self) -> "Square":
        """Without the sizes at the ends that are next to impossible."""
        i, j = _run(self.chance.sum(axis=1)), _run(self.chance.sum(axis=0))
        return Square(
            self.rows[i],
            self.columns[j],
            self.chance[i, j],
            tuple(row[j] for row in self.verdict[i]),
            self.row_free[i],
            self.column_free[j],
        )


def _run(chance: Floats) -> slice:
    worth = np.flatnonzero(chance >= SHOWN)
    return slice(int(worth[0]), int(worth[-1]) + 1) if worth.size else slice(0, len(chance))


def square_picture(*, title: str, row: str, column: str, square: Square, key: str) -> Picture:
    """The picture of one pair of slots; `row` and `column` are their names."""
    shown = square.worth_showing()
    heads, table = _table(shown, row, column)
    right = _LEFT + _WIDE * len(shown.columns)
    bottom = _TOP + _HIGH * len(shown.rows)
    return Picture(
        key=key,
        title=title,
        desc=_desc(shown, row, column),
        width=f"{right + 72}",
        height=f"{bottom + 34}",
        shapes=(*_grid(shown, right), *_marks(shown)),
        texts=(*_edges(shown, row, column, right, bottom), *_values(shown)),
        heads=heads,
        rows=table,
        gaps=(),
        scrolls=right + 72 > 560,
    )


def _grid(shown: Square, right: int) -> list[Shape]:
    lines = [Shape("grid", f"M0 {_TOP + _HIGH * n}H{right + 64}") for n in range(1, len(shown.rows) + 1)]
    return [Shape("axis", f"M0 {_TOP}H{right + 64}"), *lines]


def _marks(shown: Square) -> list[Shape]:
    found = []
    most = float(shown.chance.max(initial=0.0))
    for i, verdicts in enumerate(shown.verdict):
        for j, verdict in enumerate(verdicts):
            x, y = _LEFT + _WIDE * j + 4, _TOP + _HIGH * i + 25
            length = round(_BAR * float(shown.chance[i, j]) / most, 1) if most else 0.0
            if verdict == REFUSED:
                found.append(Shape("post", f"M{x + 13} {y + 4}L{x + 27} {y - 14}"))
            elif length >= 0.5:
                found.append(
                    Shape("like" if verdict == FITS else "like-gap", f"M{x} {y}h{length:g}v9h-{length:g}z")
                )
    return found


def _edges(shown: Square, row: str, column: str, right: int, bottom: int) -> list[Text]:
    texts = [
        Text("s", "0", f"{_TOP - 8}", row),
        Text("s", f"{_LEFT}", "16", column),
        Text("m s", f"{right + 34}", f"{_TOP - 8}", _("Can use")),
        Text("s", "0", f"{bottom + 24}", _("Can use")),
    ]
    for i, (size, free) in enumerate(zip(shown.rows, shown.row_free, strict=True)):
        y = _TOP + _HIGH * i + 27
        texts.append(Text("size", "0", f"{y}", size))
        texts.append(Text("m b", f"{right + 34}", f"{y}", str(free)))
    for j, (size, free) in enumerate(zip(shown.columns, shown.column_free, strict=True)):
        x = _LEFT + _WIDE * j + _WIDE // 2
        texts.append(Text("m size", f"{x}", f"{_TOP - 8}", size))
        texts.append(Text("m b", f"{x}", f"{bottom + 24}", str(free)))
    return texts


def _values(shown: Square) -> list[Text]:
    found = []
    for i, verdicts in enumerate(shown.verdict):
        for j, verdict in enumerate(verdicts):
            if verdict != REFUSED:
                x, y = _LEFT + _WIDE * j + _WIDE // 2, _TOP + _HIGH * i + 18
                words = _words(float(shown.chance[i, j]), verdict)
                css = "m b" if float(shown.chance[i, j]) >= 0.005 else "m s"
                found.append(Text(css, f"{x}", f"{y}", words))
    return found


def _words(chance: float, verdict: str) -> str:
    value = likely(min(1.0, chance))
    return f"{value} ?" if verdict == UNKNOWN else value


def _desc(shown: Square, row: str, column: str) -> str:
    if not shown.chance.size or not shown.chance.max() > 0:
        return _("No pair is likely.")
    i, j = np.unravel_index(int(shown.chance.argmax()), shown.chance.shape)
    return _(
        "Likeliest pair: %(row)s %(one)s with %(column)s %(two)s, %(value)s in 100. %(refused)d pairs do not "
        "fit, %(unknown)d have no rule on file."
    ) % {
        "row": row,
        "one": shown.rows[int(i)],
        "column": column,
        "two": shown.columns[int(j)],
        "value": likely(float(shown.chance.max())),
        "refused": sum(verdict == REFUSED for line in shown.verdict for verdict in line),
        "unknown": sum(verdict == UNKNOWN for line in shown.verdict for verdict in line),
    }


def _table(shown: Square, row: str, column: str) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    heads = (row, *(f"{column} {size}" for size in shown.columns), _("Can use"))

    def cell(i: int, j: int) -> str:
        verdict, value = shown.verdict[i][j], likely(min(1.0, float(shown.chance[i, j])))
        if verdict == REFUSED:
            return _("does not fit")
        return _("%(value)s, no rule on file") % {"value": value} if verdict == UNKNOWN else value

    lines: Sequence[tuple[str, ...]] = [
        (size, *(cell(i, j) for j in range(len(shown.columns))), str(shown.row_free[i]))
        for i, size in enumerate(shown.rows)
    ]
    last = (_("Can use"), *(str(free) for free in shown.column_free), "")
    return heads, (*lines, last)
