"""A part of a case as a table: one row per combination that may be drawn, with its chance."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cases.planning.kinds import UNUSED, CaseDemand, SetOption

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

MOST_CODE = 2**62
"""Numbers up to this may stand for a line of whole numbers."""
_FEW = 8
"""So many numbers per row, and they are ticked off instead of being sorted."""


class Unions:
    """Which keys stand together, by joining them step by step."""

    def __init__(self) -> None:
        self._up: dict[object, object] = {}

    def find(self, key: object) -> object:
        """The key that stands for the group of `key`."""
        self._up.setdefault(key, key)
        while self._up[key] != key:
            self._up[key] = self._up[self._up[key]]
            key = self._up[key]
        return key

    def join(self, keys: Iterable[object]) -> None:
        """Put all `keys` into one group."""
        first: object = None
        for key in keys:
            root = self.find(key)
            if first is None:
                first = root
            else:
                self._up[root] = first


@dataclass(frozen=True)
class Part:
    """Slots and needs of a case that depend on one another.

    Attributes
    ----------
    slots : tuple of int
        Slot numbers of the case, ascending.
    rows : int array, shape (R, len(slots))
        Drawn item index per slot, `UNUSED` where the slot is not used. Only combinations with a positive
        chance.
    p : float array, shape (R,)
        Their chances, sum 1.
    unknown : bool array, shape (R,)
        True where a pair has no rule on file.
    needs : tuple of int
        Need numbers of the case, ascending.
    """

    slots: tuple[int, ...]
    rows: Ints
    p: Floats
    unknown: Bools
    needs: tuple[int, ...]

    def column(self, slot: int) -> Ints:
        """Drawn index of `slot` in every row, shape (R,)."""
        return self.rows[:, self.slots.index(slot)]


def serving(case: CaseDemand, part: Part, option: SetOption) -> Bools:
    """Rows of `part` that a set option serves, shape (R,)."""
    mask = np.ones(len(part.p), dtype=np.bool_)
    for slot, indices in option.serves:
        table = np.zeros(len(case.slots[slot].items) + 1, dtype=np.bool_)
        table[[i for i in indices if 0 <= i < len(table) - 1]] = True
        table[UNUSED] = True
        mask &= table[part.column(slot)]
    return mask


def distinct_lines(columns: Sequence[Ints]) -> tuple[Ints, Ints]:
    """Distinct lines of a table, and which of them each row is.

    Parameters
    ----------
    columns : sequence of int arrays, shapes (R,)
        Whole numbers, each column in a narrow range.

    Returns
    -------
    lines : int array, shape (L, columns), ascending
    line_of_row : int array, shape (R,)
    """
    lows = [int(column.min(initial=0)) for column in columns]
    spans = [int(column.max(initial=0)) - low + 1 for column, low in zip(columns, lows, strict=True)]
    rows, total = len(columns[0]), math.prod(spans)
    if total > MOST_CODE:
        lines, line_of_row = np.unique(np.column_stack(columns), axis=0, return_inverse=True)
        return lines, line_of_row.ravel()
    codes = np.zeros(rows, dtype=np.int64)
    for column, low, span in zip(columns, lows, spans, strict=True):
        codes = codes * span + (column - low)
    if total > _FEW * rows:
        distinct, line_of_row = np.unique(codes, return_inverse=True)
    else:
        there = np.zeros(total, dtype=np.bool_)
        there[codes] = True
        distinct = np.flatnonzero(there)
        line_of_row = (np.cumsum(there) - 1)[codes]
    lines = np.empty((len(distinct), len(columns)), dtype=np.int64)
    for number in range(len(columns) - 1, -1, -1):
        distinct, digit = np.divmod(distinct, spans[number])
        lines[:, number] = digit + lows[number]
    return lines, line_of_row.ravel()
