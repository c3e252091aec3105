"""Items that are mostly asked for together, as an insert is with the femoral component of its size.

They run out together, so of such *twins* the scarcer one decides: the chance that all are there is the least
of theirs. All other items of a combination are taken as independent. Only the estimate makes use of it. On
linked slots where one size decides the other the product alone is too dark by a sixth, the least of all alone
is too bright by as much where sizes only go near each other.
"""

from __future__ import annotations

import numpy as np

from cases.planning.horizon_arrays import Arrays, gathered
from cases.planning.parts import Floats, Ints

TOGETHER = 0.5
"""Items are twins if at least this share of the likelier one's demand comes together with the other's."""


class Twins:
    """Sums of logs over the entries of each combination, twins counted once.

    Parameters
    ----------
    arrays : Arrays
    combo, term : int arrays, shape (E,)
        The entries that count, in order of combinations.
    """

    def __init__(self, arrays: Arrays, combo: Ints, term: Ints) -> None:
        self._combo, self._size = combo, len(arrays.combo_p)
        first = np.full(len(arrays.term_need), -1, dtype=np.int64)
        first[arrays.option_term[::-1]] = arrays.pair_item[arrays.option_pair[::-1]]
        label = _labels(arrays)
        count = np.bincount(label, minlength=len(label))
        item = first[term]
        twin = np.flatnonzero((item >= 0) & (count[label[item]] > 1))
        codes = combo[twin] * len(label) + label[item[twin]]
        order = np.argsort(codes, kind="stable")
        self._twin = twin[order]
        self._edges = np.flatnonzero(np.diff(codes[order], prepend=-1))
        self._segment = np.cumsum(np.diff(codes[order], prepend=-1) != 0) - 1
        self._place = np.full(len(combo), -1, dtype=np.int64)
        self._place[self._twin] = np.arange(len(self._twin))

    def total(self, logs: Floats) -> Floats:
        """Per combination the log of the chance that all its entries are met, from theirs. Shape (X,)."""
        if not len(self._twin):
            return gathered(self._combo, logs, self._size)
        alone = logs.copy()
        alone[self._twin] = 0.0
        least = np.minimum.reduceat(logs[self._twin], self._edges)
        where = self._combo[self._twin[self._edges]]
        whole = gathered(self._combo, alone, self._size)
        return whole + gathered(where, least, self._size)

    def change(self, logs: Floats, entry: Ints, new: Floats) -> Floats:
        """What `total` gains for the combination of each of these entries, were its log the new one."""
        gain = np.asarray(new - logs[entry], dtype=np.float64)
        mine = np.flatnonzero(self._place[entry] >= 0)
        if not len(mine):
            return gain
        own = logs[self._twin]
        least = np.minimum.reduceat(own, self._edges)
        first = np.full(len(self._edges), len(own))
        np.minimum.at(
            first, self._segment, np.where(own == least[self._segment], np.arange(len(own)), len(own))
        )
        rest = own.copy()
        rest[first] = 0.0
        second = np.minimum.reduceat(rest, self._edges)
        place = self._place[entry[mine]]
        segment = self._segment[place]
        others = np.where(first[segment] == place, second[segment], least[segment])
        gain[mine] = np.minimum(others, new[mine]) - least[segment]
        return gain


def _labels(arrays: Arrays) -> Ints:
    """Per item the least number among its twins and their twins."""
    items = len(arrays.stock.on_hand)
    label = np.arange(items)
    if not len(arrays.bond_p):
        return label
    asked = gathered(arrays.pair_item, arrays.chance.sum(axis=1), items)
    codes = arrays.pair_item[arrays.bond_a] * items + arrays.pair_item[arrays.bond_b]
    distinct, inverse = np.unique(codes, return_inverse=True)
    together = np.bincount(inverse.ravel(), weights=arrays.bond_p)
    a, b = distinct // items, distinct % items
    close = together >= TOGETHER * np.maximum(asked[a], asked[b])
    a, b = a[close], b[close]
    while True:
        new = label.copy()
        np.minimum.at(new, a, label[b])
        np.minimum.at(new, b, label[a])
        new = new[new]
        if np.array_equal(new, label):
            return label
        label = new
