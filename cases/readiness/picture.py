"""The size range picture as geometry: likelihood above the line, stock below it. Numbers and words only.

Distances are in px at scale 1 and follow the drawing's own description: columns 48 apart (36 when there
are more
than ten), 84 to the left for row heads, 8 to the right, groups 16 apart with their name and a hairline 26
above.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.readiness.cells import Cell, Column, SetBracket, cells_in_order, on_order_cells
from trays.web.wording import likely

__all__ = [
    "Cell",
    "Column",
    "Picture",
    "SetBracket",
    "cells_in_order",
    "family_picture",
    "on_order_cells",
    "size_picture",
]

MOST_CELLS = 6

_LEFT, _RIGHT, _BETWEEN = 84, 8, 16
_FULL = 96
_TOP = 28
_CELL_FIRST, _CELL_STEP, _CELL_HIGH = 52, 18, 12
_GAP_CHANCE, _GAP_UNITS = 0.005, 0.05


@dataclass(frozen=True, slots=True)
class Shape:
    """A path, or a circle of radius 2.5 at (x, y) where `d` is empty, by its class."""

    css: str
    d: str = ""
    x: str = ""
    y: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    css: str
    x: str
    y: str
    words: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A finished picture: shapes first, then texts; and the same as a table."""

    key: str
    title: str
    desc: str
    width: str
    height: str
    shapes: tuple[Shape, ...]
    texts: tuple[Text, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    gaps: tuple[str, ...]
    scrolls: bool


def size_picture(
    *,
    title: str,
    columns: Sequence[Column],
    runs: Sequence[tuple[int, int]] = (),
    sets: Sequence[SetBracket] = (),
    key: str = "p1",
    row: str = "",
    below: str = "",
) -> Picture:
    """The picture of one slot of a case. `runs` are column indices, both ends included, to be picked."""
    return _Drawing(
        columns, runs, sets, units=False, row=row or _("Size"), below=below or _("On site")
    ).picture(key, title)


def family_picture(
    *, title: str, columns: Sequence[Column], sets: Sequence[SetBracket] = (), key: str = "f1", row: str = ""
) -> Picture:
    """The picture of a family on its page: what is wanted, in units, over what is there."""
    return _Drawing(columns, (), sets, units=True, row=row or _("Size"), below=_("On site")).picture(
        key, title
    )


def _n(value: float) -> str:
    """A number as short as SVG allows: no trailing zeros, so the same picture is the same text."""
    return f"{value:.1f}".rstrip("0").rstrip(".")


class _Drawing:
    """Where everything stands; draws part by part."""

    def __init__(
        self,
        columns: Sequence[Column],
        runs: Sequence[tuple[int, int]],
        sets: Sequence[SetBracket],
        *,
        units: bool,
        row: str,
        below: str,
    ) -> None:
        self.columns, self.runs, self.sets, self.units = tuple(columns), tuple(runs), tuple(sets), units
        self.row, self.below = row, below
        dense = len(self.columns) > 10
        self.pitch, self.bar, self.cell = (36, 22, 18) if dense else (48, 28, 24)
        self.shapes: list[Shape] = []
        self.texts: list[Text] = []
        self.grouped = any(column.group for column in self.columns)
        self.lefts = self._lefts()
        self.right = (self.lefts[-1] + self.pitch) if self.columns else _LEFT
        self.width = self.right + _RIGHT
        self.axis = _TOP + _FULL + (26 if self.grouped else 0)
        self.scale, self.step = self._scale()
        self.gaps = [self._gap(number) for number in range(len(self.columns))]

    def _lefts(self) -> list[int]:
        lefts: list[int] = []
        x = _LEFT
        for number, column in enumerate(self.columns):
            if number and column.group != self.columns[number - 1].group:
                x += _BETWEEN
            lefts.append(x)
            x += self.pitch
        return lefts

    def _scale(self) -> tuple[float, float]:
        """What the full height stands for, and the distance of the grid lines, in the measure's own unit."""
        most = max((column.measure for column in self.columns), default=0.0)
        if self.units:
            return max(6.0, 2.0 * math.ceil(most / 2.0)), 2.0
        return (0.40 if most <= 0.40 else 0.60 if most <= 0.60 else 1.0), 0.20

    def _gap(self, number: int) -> bool:
        column = self.columns[number]
        if column.measure < (_GAP_UNITS if self.units else _GAP_CHANCE):
            return False
        return not any(cell.usable for cell in column.cells) or not self._served(number)

    def _served(self, number: int) -> bool:
        """Inside a ready bracket; where no set is drawn, sizes need none."""
        ready = [one for one in self.sets if one.ready]
        return not self.sets or any(one.first <= number <= one.last for one in ready)

    def middle(self, number: int) -> float:
        return self.lefts[number] + self.pitch / 2

    def path(self, css: str, d: str) -> None:
        self.shapes.append(Shape(css, d))

    def text(self, css: str, x: float, y: float, words: str) -> None:
        self.texts.append(Text(css, _n(x), _n(y), words))

    def picture(self, key: str, title: str) -> Picture:
        self._groups()
        self._grid()
        for number in range(len(self.columns)):
            self._bar(number)
        self.path("axis", f"M{_LEFT - 6} {self.axis}H{self.right}")
        self.text("s", 0, self.axis + 37, self.row)
        self.text("s", 0, self.axis + 64, self.below)
        self._picks()
        bottom = max((self._cells(number) for number in range(len(self.columns))), default=self.axis + 52)
        bottom = self._counts(bottom)
        bottom = self._sets(bottom)
        heads, rows = self._table()
        return Picture(
            key=key,
            title=title,
            desc=self._desc(),
            width=_n(self.width),
            height=_n(bottom + 10),
            shapes=tuple(self.shapes),
            texts=tuple(self.texts),
            heads=heads,
            rows=rows,
            gaps=tuple(self._name(n) for n, gap in enumerate(self.gaps) if gap),
            scrolls=self.width > 560,
        )

    # Above the line

    def _groups(self) -> None:
        if not self.grouped:
            return
        start = 0
        for number in range(1, len(self.columns) + 1):
            ended = number == len(self.columns)
            if ended or self.columns[number].group != self.columns[start].group:
                x, end = self.lefts[start], self.lefts[number - 1] + self.pitch - 6
                line = self.axis - _FULL - 30
                self.text("b", x, line - 8, self.columns[start].group)
                self.path("grid", f"M{x} {line}H{end}")
                start = number

    def _grid(self) -> None:
        lines = round(self.scale / self.step)
        for number in range(1, lines + 1):
            y = self.axis - _FULL * number * self.step / self.scale
            self.path("grid", f"M{_LEFT - 6} {_n(y)}H{self.right}")
            value = number * self.step
            self.text("s e", _LEFT - 12, y + 5, _n(value if self.units else value * 100))
        self.text("s", 0, self.axis - _FULL + 5, _("Wanted") if self.units else _("Likely"))

    def _height(self, measure: float) -> float:
        return min(_FULL, _FULL * measure / self.scale)

    def _value(self, measure: float) -> str:
        if not self.units:
            return likely(measure)
        return f"{measure:.1f}" if measure >= _GAP_UNITS else "–" if measure == 0 else "<0.1"

    def _bar(self, number: int) -> None:
        column, middle = self.columns[number], self.middle(number)
        drawn = column.measure >= (_GAP_UNITS if self.units else _GAP_CHANCE)
        high = self._height(column.measure) if drawn else 0.0
        x, y = middle - self.bar / 2, self.axis - high
        if drawn and self.gaps[number]:
            self.path("like-gap", f"M{_n(x)} {_n(y)}h{self.bar}v{_n(high)}h-{self.bar}z")
            self._hatch(x, y, x + self.bar, self.axis)
        elif drawn:
            self.path("like", f"M{_n(x)} {_n(y)}h{self.bar}v{_n(high)}h-{self.bar}z")
        self.text("m b" if drawn else "m s", middle, y - 6, self._value(column.measure))
        self.text("m size", middle, self.axis + 37, column.label)

    def _hatch(self, left: float, top: float, right: float, bottom: float) -> None:
        """Lines at 45 degrees, 8 apart along the edge, clipped to the bar."""
        total = left + top
        offset = 4.0
        while offset < (right - left) + (bottom - top):
            reach = total + offset
            x1, y1 = left, reach - left
            if y1 > bottom:
                x1, y1 = reach - bottom, bottom
            x2, y2 = reach - top, top
            if x2 > right:
                x2, y2 = right, reach - right
            if x2 > x1:
                self.path("hatch", f"M{_n(x1)} {_n(y1)}L{_n(x2)} {_n(y2)}")
            offset += 8.0

    def _picks(self) -> None:
        if not self.runs:
            return
        y = self.axis + 11
        for first, last in self.runs:
            left, right = self.lefts[first] + 4, self.lefts[last] + self.pitch - 4
            self.path("beam", f"M{left} {y}H{right}")
            self.path("post", f"M{left} {y - 6}v12M{right} {y - 6}v12")
        self.text("s", 0, self.axis + 16, _("Pick"))

    # Below the line

    def _cells(self, number: int) -> float:
        """Draw a column's cells; return the lower edge of the last thing."""
        column = self.columns[number]
        shown = column.cells[:MOST_CELLS]
        y = self.axis + _CELL_FIRST
        for cell in shown:
            self._cell(number, cell, y)
            y += _CELL_STEP
        if len(column.cells) > len(shown):
            self.text("m s", self.middle(number), y + 10, f"+{len(column.cells) - len(shown)}")
            y += _CELL_STEP
        if self.gaps[number]:
            self._corners(number, y)
            self.text("m b", self.middle(number), y + 29, _("gap"))
            y += _CELL_STEP * 2
        return y

    def _cell(self, number: int, cell: Cell, y: float) -> None:
        middle, wide, high = self.middle(number), self.cell, _CELL_HIGH
        x = middle - wide / 2
        box = f"M{_n(x)} {_n(y)}h{wide}v{high}h-{wide}z"
        if cell.short_dated:
            box = f"M{_n(x)} {_n(y)}h{wide - 8}l8 8v{high - 8}h-{wide}z"
        if cell.on_order:
            self.path("order", box)
        elif cell.owner == "owned":
            self.path("own", box)
        else:
            self.path("open", box)
            if cell.owner == "consigned":
                self.path("half", f"M{_n(x)} {_n(y + high / 2)}h{wide}v{high // 2}h-{wide}z")
            else:
                self.shapes.append(Shape("dot", "", _n(middle), _n(y + high / 2)))
        if cell.held == "mine":
            self.path("mine", f"M{_n(x - 4)} {_n(y - 3.5)}v19M{_n(x + wide + 4)} {_n(y - 3.5)}v19")
        elif cell.held == "other":
            stroke = f"M{_n(x - 3)} {_n(y + high + 2)}L{_n(x + wide + 3)} {_n(y - 2)}"
            self.path("away", stroke)
            self.path("away2", stroke)

    def _corners(self, number: int, y: float) -> None:
        x, wide, high = self.middle(number) - self.cell / 2, self.cell, _CELL_HIGH
        top, right, bottom = y, x + wide, y + high
        self.path(
            "gap",
            f"M{_n(x)} {_n(top + 4)}v-4h6M{_n(right - 6)} {_n(top)}h6v4"
            f"M{_n(right)} {_n(bottom - 4)}v4h-6M{_n(x + 6)} {_n(bottom)}h-6v-4",
        )

    def _free(self, number: int) -> int:
        return sum(cell.usable for cell in self.columns[number].cells)

    def _counts(self, bottom: float) -> float:
        line = bottom + 4
        self.path("grid", f"M0 {_n(line)}H{self.right}")
        self.text("s", 0, line + 19, _("Free") if self.units else _("Can use"))
        for number in range(len(self.columns)):
            self.text("m b", self.middle(number), line + 19, str(self._free(number)))
        return self._asked(line + 28)

    def _asked(self, bottom: float) -> float:
        """What the target asks for, bold and underlined where free and on order together are fewer."""
        if not any(column.asked is not None for column in self.columns):
            return bottom
        self.text("s", 0, bottom + 15, _("Target"))
        for number, column in enumerate(self.columns):
            under = self._under(number)
            self.text("m b" if under else "m s", self.middle(number), bottom + 15, str(column.asked or 0))
            if under:
                x = self.middle(number) - self.cell / 2
                self.path("thinbeam", f"M{_n(x)} {_n(bottom + 21)}h{self.cell}")
        return bottom + 26

    def _under(self, number: int) -> bool:
        column = self.columns[number]
        there = self._free(number) + sum(cell.on_order for cell in column.cells)
        return column.asked is not None and there < column.asked

    def _sets(self, bottom: float) -> float:
        if not self.sets:
            return bottom
        y = bottom + 12
        self.text("s", 0, y + 5, _("Sets"))
        for one in self.sets:
            left, right = self.lefts[one.first] + 4, self.lefts[one.last] + self.pitch - 4
            self.path("post", f"M{left} {_n(y - 6)}v12M{right} {_n(y - 6)}v12")
            self.path("thinbeam", f"M{left} {_n(y)}H{right}")
            self.text("", left + 6, y + 21, one.words)
            y += 36
        return y - 16

    # In words

    def _name(self, number: int) -> str:
        column = self.columns[number]
        return f"{column.group}, {column.label}" if column.group else column.label

    def _desc(self) -> str:
        if not self.columns:
            return _("No sizes.")
        best = max(range(len(self.columns)), key=lambda number: self.columns[number].measure)
        value = self._value(self.columns[best].measure)
        said = [
            (
                _("Most wanted: %(name)s with %(value)s units.")
                if self.units
                else _("Likeliest: %(name)s with %(value)s in 100.")
            )
            % {"name": self._name(best), "value": value}
        ]
        for first, last in self.runs:
            said.append(
                _("To pick: %(first)s to %(last)s.") % {"first": self._name(first), "last": self._name(last)}
            )
        gaps = [self._name(number) for number, gap in enumerate(self.gaps) if gap]
        if gaps:
            said.append(
                ngettext("A gap at %(names)s.", "Gaps at %(names)s.", len(gaps)) % {"names": "; ".join(gaps)}
            )
        else:
            said.append(_("No gap."))
        return " ".join(said)

    def _table(self) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
        heads: tuple[str, ...] = (
            self.row,
            _("Wanted, units") if self.units else _("Likely, in 100"),
            _("Owned"),
            _("Consigned"),
            _("Loaned"),
            _("Held for this case"),
            _("Held for another"),
            _("Short-dated"),
            _("On order"),
            _("Free") if self.units else _("Can use"),
            _("Gap"),
        )
        targeted = any(column.asked is not None for column in self.columns)
        if targeted:
            heads = (*heads, _("Target, free"))
        rows = []
        for number, column in enumerate(self.columns):
            there = [cell for cell in column.cells if not cell.on_order]
            counts = (
                sum(cell.owner == "owned" for cell in there),
                sum(cell.owner == "consigned" for cell in there),
                sum(cell.owner == "loaned" for cell in there),
                sum(cell.held == "mine" for cell in there),
                sum(cell.held == "other" for cell in there),
                sum(cell.short_dated for cell in there),
                len(column.cells) - len(there),
                self._free(number),
            )
            gap = _("gap") if self.gaps[number] else "–"
            value = self._value(column.measure)
            target = (str(column.asked or 0),) if targeted else ()
            rows.append((self._name(number), value, *(str(count) for count in counts), gap, *target))
        return heads, tuple(rows)
