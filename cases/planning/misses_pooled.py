"""Misses of one item of which some units are kept for a group of cases: a list's, say.

A pool's cases take from its k units first, whoever comes first, then from what all may take. With L asked for
by the pool's earlier cases, a case that asks for d needs (L + d - k)+ - (L - k)+ from the rest, and misses
where what the others took of the rest and (L + d - k)+ come to more than is there. The pool's cases are no
longer independent of each other as takers of the rest, so their sums are carried along pool by pool.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from cases.planning.parts import Floats, Ints
from cases.planning.replenish import beyond, poisson

NO_POOL = -1


def pooled_misses(
    pool: Ints, one: Floats, two: Floats, unbooked: Floats, kept: Mapping[int, int], width: int
) -> Floats:
    """Chances of a miss of one item, exactly, if every case takes all it asks for.

    Parameters
    ----------
    pool : int array, shape (pairs,)
        The pool that each case may take from, or `NO_POOL`; pairs in the order of drawing.
    one, two, unbooked : float arrays, shape (pairs,)
        As in `misses.Draws`.
    kept : mapping of pool to units
    width : int
        Numbers of free units S = 0, 1, …, width - 1.

    Returns
    -------
    float array, shape (pairs, width)
    """
    free, drawn = np.ones(1), {number: np.ones(1) for number in kept}
    rows = []
    for number, p, q, mean in zip(pool.tolist(), one.tolist(), two.tolist(), unbooked.tolist(), strict=True):
        asks = np.array([max(0.0, 1.0 - p - q), p, q])
        others = np.convolve(free, poisson(mean))
        for other, law in drawn.items():
            if other != number:
                others = np.convolve(others, beyond(law, kept[other]))
        own = drawn.get(number, np.ones(1))
        rows.append(_row(others, own, kept.get(number, 0), asks, width, alone=number not in drawn))
        if number in drawn:
            drawn[number] = np.convolve(own, asks)
        else:
            free = np.convolve(free, asks)
    return np.array(rows, dtype=np.float64).reshape(len(pool), width)


def _row(others: Floats, own: Floats, units: int, asks: Floats, width: int, *, alone: bool) -> Floats:
    """P(miss) at each S: over what the pool's earlier cases asked for (nothing, if alone), and the case."""
    tail = np.concatenate((np.cumsum(others[::-1])[::-1], [0.0]))
    levels = np.arange(width)
    row = np.zeros(width)
    for before, share in enumerate(own.tolist() if not alone else [1.0]):
        for n, chance in enumerate(asks.tolist()):
            beyond = before + n - units
            if n and beyond > 0:
                # P(others > S - beyond), certain where even nobody else leaves enough.
                first = np.clip(levels - beyond + 1, 0, len(others))
                row += share * chance * tail[first]
    return row
