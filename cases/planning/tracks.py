"""The states that one item's stock can be in when each case comes, numbered, with what each finds and leaves.

States that no later case can tell apart are one state. So an item that cannot run short has a single state,
and leaves the calculation by itself as soon as the last case that could miss it has passed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.kinds import CaseDemand, Shelf, UnitStock
from cases.planning.parts import Ints
from cases.planning.stores import Sets, State, Store, Units

MOST_STATES = 3000
"""States of one item at one case; beyond it the item is wide, and only bounds are given."""


@dataclass(frozen=True)
class Track:
    """One item over the cases that may draw it (its takers).

    Attributes
    ----------
    item : str
    takers : tuple of int, length P
        Positions of the takers among the cases, ascending.
    most : tuple of int, length P
        The most each may draw at once.
    found : tuple of int arrays, shapes (n_t,)
        What taker t finds in each of its states, cut at `most[t]`.
    after : tuple of int arrays, shapes (most[t] + 1, n_t)
        State number at the next taker after drawing 0, 1, ... (or as many as there are).
    wide : bool
        True: too many states to list; `found` and `after` are empty.
    store : Units or Sets
    """

    item: str
    takers: tuple[int, ...]
    most: tuple[int, ...]
    found: tuple[Ints, ...]
    after: tuple[Ints, ...]
    wide: bool
    store: Units | Sets

    def states(self, t: int) -> int:
        """How many states taker `t` can meet; 1 after the last taker. Wide: more than one."""
        if t >= len(self.takers):
            return 1
        return 2 if self.wide else len(self.found[t])

    def rivals(self) -> list[list[int]]:
        """Per taker the earlier ones that can lessen what it finds, if it could then find too few; else
        none."""
        return [
            [s for s in range(t) if _lessens(self.store, self.most, s, t)] if doubt else []
            for t, doubt in enumerate(_doubts(self.store, self.most))
        ]

    def plenty(self, t: int) -> bool:
        """Whether taker `t` finds all it may draw, whatever came before."""
        return not self.wide and len(self.found[t]) == 1 and bool(self.found[t][0] >= self.most[t])


Built = dict[tuple[str, tuple[int, ...]], Track | None]
"""Tracks by item and takers; None where no taker can miss the item."""


def build_all(
    cases: Sequence[CaseDemand],
    positions: Sequence[int],
    drawn: Sequence[Mapping[str, int]],
    shelf: Shelf,
    built: Built,
) -> dict[str, Track]:
    """Tracks of all items that may run short.

    Parameters
    ----------
    cases : sequence of CaseDemand, length J, in order
    positions : sequence of int, ascending
        The cases that draw; the others only count where sets are held for them.
    drawn : sequence of mapping, one per position
        Per case the most it may draw of each item.
    shelf : Shelf
    built : mapping of (item, takers) to Track or None
        Those at hand from earlier calls with the same cases and shelf; the others are added to it.

    Returns
    -------
    dict of item to Track
        Sorted by item. Items that no case can miss are left out.
    """
    takers: dict[str, tuple[list[int], list[int]]] = {}
    for position, most in zip(positions, drawn, strict=True):
        for item, number in most.items():
            places, numbers = takers.setdefault(item, ([], []))
            places.append(position)
            numbers.append(number)
    tracks: dict[str, Track] = {}
    for item in sorted(takers):
        places, numbers = takers[item]
        key = (item, tuple(places))
        if key not in built:
            built[key] = build(item, places, numbers, cases, shelf)
        track = built[key]
        if track is not None:
            tracks[item] = track
    return tracks


def build(
    item: str,
    takers: Sequence[int],
    most: Sequence[int],
    cases: Sequence[CaseDemand],
    shelf: Shelf,
) -> Track | None:
    """Track of one item, or None if no taker can miss it (arguments as in `Track` and `build_all`)."""
    who = [cases[p] for p in takers]
    store: Units | Sets
    if item in shelf.sets:
        store = Sets(shelf.sets[item], who, cases)
    else:
        store = Units(shelf.units.get(item, UnitStock()), who)
    last = max((t for t, doubt in enumerate(_doubts(store, most)) if doubt), default=-1)
    if last < 0:
        return None
    layers = _reach(store, most[: last + 1])
    if layers is None:
        return Track(item, tuple(takers), tuple(most), (), (), True, store)
    found, after = _merge(most, layers)
    return Track(item, tuple(takers), tuple(most), found, after, False, store)


def _lessens(store: Units | Sets, most: Sequence[int], s: int, t: int) -> bool:
    """Whether what taker `s` takes can be missing when `t` comes."""
    return most[s] > store.own(s) and (isinstance(store, Units) or store.meets(s, t))


def _doubts(store: Units | Sets, most: Sequence[int]) -> list[bool]:
    """Per taker, whether it could find too few if all before it drew the most they may."""
    found, asked = [], 0
    for t, wanted in enumerate(most):
        if isinstance(store, Sets):
            asked = sum(most[s] - store.own(s) for s in range(t) if _lessens(store, most, s, t))
        found.append(store.own(t) + store.least(t, asked) < wanted)
        asked += max(0, wanted - store.own(t))
    return found


_Layer = dict[State, tuple[int, list[State]]]
"""Per settled state what the taker finds (cut at its most), and the next taker's states after 0, 1, ...
drawn."""


def _reach(store: Store, most: Sequence[int]) -> list[_Layer] | None:
    """The states that each taker can meet; None if there are too many."""
    fresh = {store.settle(store.first(), 0)}
    layers: list[_Layer] = []
    for t, wanted in enumerate(most):
        if len(fresh) > MOST_STATES:
            return None
        layer: _Layer = {}
        for state in sorted(fresh):
            own, listed, free = store.pools(state, t)
            there = min(wanted, own + listed + free)
            leaves: list[State] = []
            # Its own hold first, then its list's, then free; all there are if that is less.
            for k in range(wanted + 1 if t + 1 < len(most) else 0):
                if leaves and (k <= own or k > there):
                    leaves.append(leaves[-1])
                    continue
                more = max(0, k - own)
                from_list = min(more, listed)
                left = store.take(state, t, from_list, more - from_list)
                leaves.append(store.settle(left, t + 1))
            layer[state] = (there, leaves)
        layers.append(layer)
        fresh = {leaf for _, leaves in layer.values() for leaf in leaves}
    return layers


def _merge(most: Sequence[int], layers: Sequence[_Layer]) -> tuple[tuple[Ints, ...], tuple[Ints, ...]]:
    """Number the states, last taker first, those with equal findings and equal successors as one."""
    found: list[Ints] = [np.array([k], dtype=np.int64) for k in most]
    after: list[Ints] = [np.zeros((k + 1, 1), dtype=np.int64) for k in most]
    number: dict[State, int] = {}
    for t in range(len(layers) - 1, -1, -1):
        seen: dict[tuple[int, ...], int] = {}
        mine: dict[State, int] = {}
        for state, (there, leaves) in layers[t].items():
            numbers = [number[leaf] for leaf in leaves] or [0] * (most[t] + 1)
            mine[state] = seen.setdefault((there, *numbers), len(seen))
        table = np.array(list(seen), dtype=np.int64)
        found[t], after[t] = table[:, 0].copy(), np.ascontiguousarray(table[:, 1:].T)
        number = mine
    return tuple(found), tuple(after)
