"""The unbroken runs of one slot: which come into question, what lies inside each, what each costs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cases.planning.bringing import Box, Ends
from cases.planning.parts import Bools, Floats, Ints

EVEN = 1e-12
"""Chances this close are equal."""


@dataclass(frozen=True)
class Axis:
    """A slot of a block. Items of equal ranks are one cell; the last cell is "not used".

    `cell` gives the cell of each item ("not used" last), -1 for one that is never drawn or not there;
    `sizes` and `seconds` are the cells' ranks; `points` adds up what items cost below each pair of ranks.
    """

    slot: int
    cell: Ints
    sizes: Ints
    seconds: Ints
    mass: Floats
    points: Ints


@dataclass(frozen=True)
class SlotRuns:
    """The boxes of one slot that come into question, in order of rank; `inside` tells their cells."""

    ends: Ints
    inside: Floats
    cost: Ints

    def box(self, number: int) -> Box | None:
        low, high, first, last = self.ends[number].tolist()
        return Box((low, high), (first, last)) if low <= high else None


def runs_of(axis: Axis, goal: float, minimum: Box | None) -> SlotRuns:
    """The boxes of one slot that hold the goal alone, none with an end that is never drawn, around the
    minimum."""
    sizes, seconds = _stretches(axis, axis.sizes, goal), _stretches(axis, axis.seconds, goal)
    ends = np.array([(*a, *b) for a in sizes for b in seconds], dtype=np.int64).reshape(-1, 4)
    unused, inside = float(axis.mass[-1]), _cells(axis, ends)
    if axis.points.shape[1] > 2:
        able = inside @ axis.mass[:-1] + unused >= goal - EVEN
        able &= _tight(axis, ends, inside)
        ends, inside = ends[able], inside[able]
    if unused >= goal - EVEN:
        ends = np.concatenate([[[1, 0, 1, 0]], ends])
        inside = np.concatenate([np.zeros((1, inside.shape[1]), dtype=np.bool_), inside])
    if minimum is not None:
        ends = _around(ends, minimum)
        inside = _cells(axis, ends)
    return SlotRuns(ends, _with_unused(inside), _points(axis, ends))


def _around(ends: Ints, minimum: Box) -> Ints:
    """The boxes made to hold the minimum, each once."""
    least = np.array([*minimum.sizes, *minimum.seconds])
    low, high = np.minimum(ends, least), np.maximum(ends, least)
    around = np.column_stack([low[:, 0], high[:, 1], low[:, 2], high[:, 3]])
    return np.unique(np.where((ends[:, 0] > ends[:, 1])[:, None], least, around), axis=0)


def _stretches(axis: Axis, at: Ints, goal: float) -> list[Ends]:
    """Runs of ranks that hold the goal, whatever the other measure."""
    mass = np.bincount(at, weights=axis.mass[:-1], minlength=1).tolist()
    unused = float(axis.mass[-1])
    found = []
    for low, first in enumerate(mass):
        total = unused
        for high in range(low, len(mass)) if first > 0 else ():
            total += mass[high]
            if mass[high] > 0 and total >= goal - EVEN:
                found.append((low, high))
    return found


def exactly(axis: Axis, box: Box | None) -> SlotRuns:
    ends = np.array([[*box.sizes, *box.seconds] if box else [1, 0, 1, 0]], dtype=np.int64)
    return SlotRuns(ends, _with_unused(_cells(axis, ends)), _points(axis, ends))


def _cells(axis: Axis, ends: Ints) -> Bools:
    """Which cells lie in each box, shape (boxes, cells without "not used")."""
    inside = (axis.sizes >= ends[:, [0]]) & (axis.sizes <= ends[:, [1]])
    inside &= (axis.seconds >= ends[:, [2]]) & (axis.seconds <= ends[:, [3]])
    return np.asarray(inside, dtype=np.bool_)


def _tight(axis: Axis, ends: Ints, inside: Bools) -> Bools:
    """Boxes whose four sides are each drawn at times."""
    tight = np.ones(len(ends), dtype=np.bool_)
    for column, at in ((0, axis.sizes), (1, axis.sizes), (2, axis.seconds), (3, axis.seconds)):
        tight &= (inside & (at == ends[:, [column]])).any(axis=1)
    return tight


def _with_unused(inside: Bools) -> Floats:
    found = np.ones((inside.shape[0], inside.shape[1] + 1))
    found[:, :-1] = inside
    return found


def _points(axis: Axis, ends: Ints) -> Ints:
    low, high, first, last = ends.T
    points = axis.points
    # The empty box, from 1 to 0, adds up to nothing.
    total = points[high + 1, last + 1] - points[low, last + 1] - points[high + 1, first] + points[low, first]
    return np.asarray(total, dtype=np.int64)
