"""Law of what earlier cases have drawn, for every pair of a case and an item at once.

For taker j with A there, `tails[j, m]` is P(W >= A + 1 - m), m = 0, ..., K + 1, where W is what the takers
before it, as far as theirs is not back, have drawn as if none of them were ever short (beyond what has
expired: see `Takers.gone`). It is the chance that fewer than m are left for it, were there one more; so
`tails[j, n]` is the chance that fewer than n are left, `tails[j, n - 1]` the same with one more on the shelf,
`tails[j, n + 1]` with one fewer. All are sums of positive numbers, the greatest cell of each law gathering
what lies beyond, so small chances keep their digits.

Laws are never divided by one another to slide a window: division by 1 - q loses all digits where q > .5.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from cases.planning.horizon_takers import NEVER, Takers, most_of
from cases.planning.parts import Bools, Floats, Ints

_WIDTHS = np.array([4, 8, 24, 96])
"""Cells of a law, rounded up to one of these: few kinds of laws, few calls."""


def tails(
    takers: Takers, drawn: Floats, width: int, known: tuple[Takers, Floats, Floats] | None = None
) -> Floats:
    """Tails of each taker.

    Parameters
    ----------
    takers : Takers
    drawn : float array, shape (T, K or more)
        Chances that each draws exactly 1, 2, ...
    width : int
        K, the most that one case asks for at once.
    known : (Takers, drawn, tails), optional
        Of an earlier call: rows that stand in it alike are copied instead of being worked out.

    Returns
    -------
    float array, shape (T, K + 2)
        Only lines with `takers.answered` have a meaning.

    Notes
    -----
    Cost: cells of the laws (at most A + 2) times takers, for items that do not come back; times their windows
    for the others.
    """
    there = takers.there[:, None] + 1 - np.arange(width + 2)
    found = (there <= 0).astype(np.float64)
    most = most_of(drawn)
    sums = np.concatenate([[0], np.cumsum(most)])
    asked = sums[:-1] - sums[takers.first]
    need = takers.answered & (takers.there >= 0) & (asked > 0) & (asked >= takers.there - width)
    if known is not None:
        need &= ~_copied(takers, drawn, found, known)
    never = takers.until == NEVER
    _running(takers, drawn, need & never, found)
    _windows(takers, drawn, need & ~never, found)
    return found


def _running(takers: Takers, drawn: Floats, need: Bools, found: Floats) -> None:
    """Items that do not come back: one law per row, moved on taker by taker, all rows at once."""
    starts, row_of = takers.starts, np.repeat(np.arange(len(takers.starts) - 1), np.diff(takers.starts))
    rows = np.unique(row_of[need])
    if not len(rows):
        return
    places = np.flatnonzero(need)
    length = np.zeros(len(starts) - 1, dtype=np.int64)
    np.maximum.at(length, row_of[places], places - starts[row_of[places]] + 1)
    most = np.zeros(len(starts) - 1, dtype=np.int64)
    np.maximum.at(most, row_of[places], (takers.there + takers.gone)[places])
    for cells, chosen in _by_width(most[rows] + 2):
        mine = rows[chosen]
        mine = mine[np.argsort(-length[mine], kind="stable")]
        steps = length[mine]
        step = np.arange(int(steps.sum())) - np.repeat(np.cumsum(steps) - steps, steps)
        at = (np.repeat(starts[mine], steps) + step)[np.argsort(step, kind="stable")]
        edges = np.concatenate([[0], np.cumsum(np.bincount(step))]).tolist()
        kept, draws = np.empty((len(at), cells)), _Draws(drawn[at])
        at_once = draws.most(edges)
        law = np.zeros((len(mine), cells))
        law[:, 0] = 1.0
        gone = takers.gone[at]
        lapse = bool(gone.any())
        for (begin, end), k in zip(pairwise(edges), at_once, strict=True):
            law = _lapsed(law[: end - begin], gone[begin:end]) if lapse else law[: end - begin]
            kept[begin:end] = law
            law = draws.moved(law, slice(begin, end), k)
        wanted = need[at]
        _answer(kept[wanted], (takers.there + takers.gone)[at[wanted]], found, at[wanted])


def _lapsed(law: Floats, gone: Ints) -> Floats:
    """Laws of the greater of what was drawn and what has expired."""
    if not gone.any():
        return law
    cell = np.arange(law.shape[1])
    below = cell < np.minimum(gone, law.shape[1] - 1)[:, None]
    moved = np.where(below, 0.0, law)
    np.add.at(
        moved,
        (np.arange(len(law)), np.minimum(gone, law.shape[1] - 1)),
        np.where(below, law, 0.0).sum(axis=1),
    )
    return moved


def _windows(takers: Takers, drawn: Floats, need: Bools, found: Floats) -> None:
    """Items that come back: one law per taker, of its predecessors one by one, all takers at once."""
    places, draws = np.flatnonzero(need), _Draws(drawn)
    most = int(most_of(drawn).max(initial=0))
    for cells, chosen in _by_width(takers.there[places] + 2):
        mine = places[chosen]
        window = mine - takers.first[mine]
        order = np.argsort(-window, kind="stable")
        mine, window = mine[order], window[order]
        law = np.zeros((len(mine), cells))
        law[:, 0] = 1.0
        longest = int(window[0]) if len(window) else 0
        alive = len(mine) - np.searchsorted(window[::-1], np.arange(1, longest + 1), side="left")
        for lag, n in enumerate(alive.tolist(), start=1):
            before = mine[:n] - lag
            back = takers.until[before] <= takers.begin[mine[:n]]
            moved = draws.moved(law[:n], before, most)
            if back.any():
                moved[back] = law[:n][back]
            law[:n] = moved
        _answer(law, takers.there[mine], found, mine)


class _Draws:
    """Chances of drawing 0, 1, ..., K, and the move of laws by one draw each."""

    def __init__(self, drawn: Floats) -> None:
        rest = 1.0 - sum(drawn.T, np.zeros(len(drawn)))
        self._none = np.maximum(0.0, rest)[:, None]
        self._shares = [drawn[:, k : k + 1] for k in range(drawn.shape[1])]
        self._drawn = drawn

    def most(self, edges: list[int]) -> list[int]:
        """The most that is drawn at once between each edge and the next."""
        most = most_of(self._drawn)
        return np.maximum.reduceat(most, edges[:-1]).tolist() if len(most) else []

    def moved(self, law: Floats, which: slice | Ints, most: int) -> Floats:
        """The laws (n, cells) after these draws (n), each of `most` at once or fewer.

        The last cell gathers what lies beyond.
        """
        cells = law.shape[1]
        new = np.asarray(law * self._none[which], dtype=np.float64)
        top = np.zeros((len(law), 1))
        for k in range(1, most + 1):
            share = self._shares[k - 1][which]
            if k <= cells:
                top = top + law[:, cells - k : cells - k + 1]
            if k < cells:
                new[:, k:] += law[:, :-k] * share
            new[:, -1:] += top * share
        return new


def _answer(law: Floats, there: Ints, found: Floats, places: Ints) -> None:
    beyond = np.cumsum(law[:, ::-1], axis=1)[:, ::-1]
    start = there[:, None] + 1 - np.arange(found.shape[1])
    found[places] = np.minimum(1.0, np.take_along_axis(beyond, np.maximum(start, 0), axis=1))


def _by_width(cells: Ints) -> list[tuple[int, Ints]]:
    """Lines grouped by the number of cells they need, rounded up."""
    size = _WIDTHS[np.minimum(np.searchsorted(_WIDTHS, cells), len(_WIDTHS) - 1)]
    size = np.maximum(size, cells)
    order = np.argsort(size, kind="stable")
    edges = np.flatnonzero(np.diff(size[order], prepend=-1, append=-1))
    return [
        (int(size[order[a]]), order[a:b])
        for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
    ]


def _copied(takers: Takers, drawn: Floats, found: Floats, known: tuple[Takers, Floats, Floats]) -> Bools:
    """Copy the rows that are as they were; which takers that answers."""
    before, drawn_before, tails_before = known
    if drawn_before.shape[1] != drawn.shape[1] or tails_before.shape[1] != found.shape[1]:
        return np.zeros(len(takers.row), dtype=np.bool_)
    starts, old = takers.starts, before.starts
    rows, old_rows = takers.row[starts[:-1]], before.row[old[:-1]]
    sizes = np.diff(starts)
    at = np.minimum(np.searchsorted(old_rows, rows), max(0, len(old_rows) - 1))
    alike = np.zeros(len(rows), dtype=np.bool_)
    if len(old_rows):
        alike = (old_rows[at] == rows) & (np.diff(old)[at] == sizes)
    here = np.flatnonzero(np.repeat(alike, sizes))
    there = here + np.repeat(old[:-1][at] - starts[:-1] if len(old_rows) else sizes, sizes)[here]
    equal = np.ones(len(here), dtype=np.bool_)
    for now, then in zip(drawn.T, drawn_before.T, strict=True):
        equal &= now[here] == then[there]
    for name in ("there", "gone", "begin", "until", "answered"):
        equal &= getattr(takers, name)[here] == getattr(before, name)[there]
    row_of = np.repeat(np.arange(len(rows)), sizes)
    changed = np.bincount(row_of[here], weights=~equal, minlength=len(rows)) > 0
    kept = ~changed[row_of[here]]
    found[here[kept]] = tails_before[there[kept]]
    done = np.zeros(len(takers.row), dtype=np.bool_)
    done[here[kept]] = True
    return done
