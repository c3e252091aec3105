"""A whole horizon as flat arrays: which case may draw how many of which item, and what is there for it.

Every case stands in the order in which cases draw. Days and minutes are whole numbers of any origin, of at
least 0; units are whole. What is not there yet, or no more, is said by *changes* (a number that comes or goes
at a moment) and *expiries* (units that may not be used from a moment on, first expired first out).
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from cases.planning.horizon_patterns import Pattern, nothing
from cases.planning.kinds import MOST_UNITS, PlanningError
from cases.planning.parts import Bools, Floats, Ints

NEVER_BACK = -1
"""In `Stock.back`: what a case takes of the item does not come back."""

MOST_MOMENT = 2**38
"""Days and minutes lie below this, so that an item and a moment fit one whole number."""

_SUM = 1e-9


@dataclass(frozen=True)
class Stock:
    """What is there of each of I items, on one clock per item.

    Attributes
    ----------
    on_hand : int array, shape (I,)
        Free units or sets now, those held for one case or list left out.
    back : int array, shape (I,)
        `NEVER_BACK`, or how long after its use an item is there again: days after the case's day, of at least
        1 (1: the next morning), or minutes after its end.
    by_minute : bool array, shape (I,)
        Whether the item's moments are minutes (sets) or days (units).
    change_item, change_at, change_by : int arrays, shape (M,)
        So many more (less, if negative) are free from a moment on: arrivals; a set kept for somebody and
        given free again.
    expiry_item, expiry_at, expiry_by : int arrays, shape (X,)
        So many of the units on hand may not be used from a moment on (the day after their last).
    own_ref, own_item, own_by : int arrays, shape (W,)
        Held for one case (by its reference): they count for no other.
    pool_ref, pool_item, pool_by : int arrays, shape (L,)
        Held for one list: they count for its cases only.
    """

    on_hand: Ints
    back: Ints
    by_minute: Bools
    change_item: Ints
    change_at: Ints
    change_by: Ints
    expiry_item: Ints
    expiry_at: Ints
    expiry_by: Ints
    own_ref: Ints
    own_item: Ints
    own_by: Ints
    pool_ref: Ints
    pool_item: Ints
    pool_by: Ints

    @classmethod
    def plain(cls, on_hand: Ints, back: Ints | None = None, by_minute: Bools | None = None) -> Stock:
        """Free stock without dates or holds; nothing comes back unless `back` says so."""
        n, none = len(on_hand), np.empty(0, dtype=np.int64)
        return cls(
            np.asarray(on_hand, dtype=np.int64),
            np.full(n, NEVER_BACK, dtype=np.int64) if back is None else back,
            np.zeros(n, dtype=np.bool_) if by_minute is None else by_minute,
            *([none] * 12),
        )

    def __post_init__(self) -> None:
        n = len(self.on_hand)
        for name in ("change", "expiry", "own", "pool"):
            items = getattr(self, f"{name}_item")
            if len(items) and not (0 <= items.min() and items.max() < n):
                raise PlanningError(f"The {name} rows name an item that is not there.")
        counts = np.concatenate([self.on_hand, self.expiry_by, self.own_by, self.pool_by])
        if counts.size and (counts.min() < 0 or counts.max() > MOST_UNITS):
            bad = int(np.argmax((self.on_hand < 0) | (self.on_hand > MOST_UNITS)))
            raise PlanningError(f"Numbers of units must lie between 0 and {MOST_UNITS} (item number {bad}).")
        if ((self.back == 0) & ~self.by_minute).any():
            raise PlanningError("A unit is back the next morning at the earliest: 1 day, not 0.")
        if (self.back < NEVER_BACK).any():
            raise PlanningError("A time until something is back must not be negative.")


@dataclass(frozen=True)
class Arrays:
    """N cases in order, the P pairs of a case and an item it may draw, and the stock.

    Groups, combinations, terms and options are those of `Pattern`, numbered through; pairs are sorted by
    case, then by item.

    Attributes
    ----------
    ref, list_ref, day, start, end : int arrays, shape (N,)
        Reference; reference of the list, -1 for none; day; first and last minute. Neither `day` nor `start`
        decreases.
    impossible : bool array, shape (N,)
        The rules leave no combination: the case is short and takes nothing.
    pair_case, pair_item : int arrays, shape (P,)
    chance, surplus : float arrays, shape (P, K)
    labels : tuple of str, length G
    group_case, group_tie : int arrays, shape (G,)
        A tie of -1: none.
    combo_group, combo_p, combo_unknown : shape (X,)
    entry_combo, entry_term : int arrays, shape (E,)
    term_need : bool array, shape (T,)
    option_term, option_pair : int arrays, shape (O,); option_law : float array, shape (O, K)
    bond_a, bond_b : int arrays, bond_p : float array, shape (B,)
        Pairs of pairs that are asked for together, and how likely.
    stock : Stock

    Raises
    ------
    PlanningError
        By case and group: a chance that is not finite, negative, or does not sum to 1; cases out of order; a
        reference used twice; a day or minute out of range; an item that the stock does not know.
    """

    ref: Ints
    list_ref: Ints
    day: Ints
    start: Ints
    end: Ints
    impossible: Bools
    pair_case: Ints
    pair_item: Ints
    chance: Floats
    surplus: Floats
    labels: tuple[str, ...]
    group_case: Ints
    group_tie: Ints
    combo_group: Ints
    combo_p: Floats
    combo_unknown: Bools
    entry_combo: Ints
    entry_term: Ints
    term_need: Bools
    option_term: Ints
    option_pair: Ints
    option_law: Floats
    bond_a: Ints
    bond_b: Ints
    bond_p: Floats
    stock: Stock

    def __post_init__(self) -> None:
        self._check_cases()
        self._check_chances()
        if self.pair_item.size and not (
            0 <= self.pair_item.min() and self.pair_item.max() < len(self.stock.on_hand)
        ):
            at = int(np.argmax((self.pair_item < 0) | (self.pair_item >= len(self.stock.on_hand))))
            raise PlanningError(
                f"{self._case(self.pair_case[at])} draws an item that the stock does not know."
            )

    def _check_cases(self) -> None:
        if len(np.unique(self.ref)) != len(self.ref):
            raise PlanningError("Two cases have the same reference.")
        for name, values in (("day", self.day), ("start", self.start), ("end", self.end)):
            bad = (values < 0) | (values >= MOST_MOMENT)
            if bad.any():
                raise PlanningError(f"{self._case(int(np.argmax(bad)))}: its {name} is out of range.")
        back = (np.diff(self.day) < 0) | (np.diff(self.start) < 0)
        if back.any():
            at = int(np.argmax(back))
            before, after = int(self.ref[at]), int(self.ref[at + 1])
            raise PlanningError(f"Case {after} stands after case {before} but starts before it.")
        if (self.end < self.start).any():
            raise PlanningError(f"{self._case(int(np.argmax(self.end < self.start)))} ends before it starts.")

    def _check_chances(self) -> None:
        bad = ~np.isfinite(self.combo_p) | (self.combo_p < 0)
        if bad.any():
            where = self._group(self.combo_group[np.argmax(bad)])
            raise PlanningError(f"{where}: a chance is not a number of nought or more.")
        total = gathered(self.combo_group, self.combo_p, len(self.group_case))
        if (total <= 0).any():
            where = self._group(int(np.argmax(total <= 0)))
            raise PlanningError(f"{where}: all its chances are nought, so no combination is possible.")
        if (np.abs(total - 1.0) > _SUM).any():
            where = self._group(int(np.argmax(np.abs(total - 1.0))))
            raise PlanningError(f"{where}: its chances do not sum to 1.")
        off = ~np.isfinite(self.chance).all(axis=1) | (self.chance < 0).any(axis=1)
        off |= self.chance.sum(axis=1) > 1.0 + _SUM
        if off.any():
            who = self._case(self.pair_case[np.argmax(off)])
            raise PlanningError(f"{who}: its chances of drawing an item are no chances.")

    def _case(self, number: Ints | int) -> str:
        return f"Case {int(self.ref[int(number)])}"

    def _group(self, number: Ints | int) -> str:
        return f"{self._case(self.group_case[int(number)])}, {self.labels[int(number)]}"

    def without_draws(self, cases: Sequence[int]) -> Arrays:
        """The same horizon in which these cases (by number) are known to be short, and so take nothing."""
        short = self.impossible.copy()
        short[list(cases)] = True
        draws = ~short[self.pair_case][:, None]
        return replace(self, impossible=short, chance=self.chance * draws, surplus=self.surplus * draws)

    @property
    def width(self) -> int:
        """K, the most that one case asks for of one item."""
        return int(self.chance.shape[1])

    def seed(self) -> int:
        """A number that depends on every byte, for draws that are the same for the same horizon."""
        said = hashlib.sha256()
        for one in (self, self.stock):
            for own in fields(one):
                value = getattr(one, own.name)
                if isinstance(value, np.ndarray):
                    said.update(np.ascontiguousarray(value).tobytes())
        return int.from_bytes(said.digest()[:8], "big")


def lay_out(
    patterns: Sequence[Pattern],
    which: Ints,
    stock: Stock,
    *,
    ref: Ints,
    day: Ints,
    start: Ints,
    end: Ints,
    list_ref: Ints | None = None,
) -> Arrays:
    """The arrays of cases of which many may have one pattern.

    Parameters
    ----------
    patterns : sequence of Pattern
    which : int array, shape (N,)
        The pattern of each case, cases in the order in which they draw.
    stock : Stock
    ref, day, start, end, list_ref : int arrays, shape (N,)
        See `Arrays`.

    Examples
    --------
    >>> from cases.planning.horizon_patterns import slots_pattern
    >>> femoral = slots_pattern([("femoral", np.array([0, 1]), np.array([1.0, 3.0]), 1.0, 0.0)])
    >>> two = np.arange(2)
    >>> one_each = Stock.plain(np.array([1, 1]))
    >>> lay_out([femoral], np.zeros(2, dtype=int), one_each, ref=two, day=two, start=two, end=two).pair_item
    array([0, 1, 0, 1])
    """
    patterns = patterns or [nothing()]
    width = max(one.width for one in patterns)
    which = np.asarray(which, dtype=np.int64)
    pairs = _Ragged([len(one.items) for one in patterns], which)
    groups = _Ragged([len(one.tie) for one in patterns], which)
    combos = _Ragged([len(one.combo_p) for one in patterns], which)
    entries = _Ragged([len(one.entry_term) for one in patterns], which)
    terms = _Ragged([len(one.term_need) for one in patterns], which)
    options = _Ragged([len(one.option_term) for one in patterns], which)
    bonds = _Ragged([len(one.bond_p) for one in patterns], which)
    label_of = [label for one in patterns for label in one.labels]
    tie = groups.taken([one.tie for one in patterns])
    ties = 1 + max([-1, *(int(one.tie.max(initial=-1)) for one in patterns)])
    return Arrays(
        ref=np.asarray(ref, dtype=np.int64),
        list_ref=np.full(len(which), -1, dtype=np.int64) if list_ref is None else list_ref,
        day=np.asarray(day, dtype=np.int64),
        start=np.asarray(start, dtype=np.int64),
        end=np.asarray(end, dtype=np.int64),
        impossible=np.array([one.impossible for one in patterns], dtype=np.bool_)[which],
        pair_case=pairs.owner,
        pair_item=pairs.taken([one.items for one in patterns]),
        chance=pairs.taken([_wide(one.chance, width) for one in patterns]),
        surplus=pairs.taken([_wide(one.surplus, width) for one in patterns]),
        labels=tuple([label_of[n] for n in groups.source.tolist()]),
        group_case=groups.owner,
        group_tie=np.where(tie < 0, -1, tie + ties * groups.owner),
        combo_group=combos.taken([one.combo_group for one in patterns]) + groups.first[combos.owner],
        combo_p=combos.taken([one.combo_p for one in patterns]),
        combo_unknown=combos.taken([one.combo_unknown for one in patterns]),
        entry_combo=entries.taken([one.entry_combo for one in patterns]) + combos.first[entries.owner],
        entry_term=entries.taken([one.entry_term for one in patterns]) + terms.first[entries.owner],
        term_need=terms.taken([one.term_need for one in patterns]),
        option_term=options.taken([one.option_term for one in patterns]) + terms.first[options.owner],
        option_pair=options.taken([one.option_pair for one in patterns]) + pairs.first[options.owner],
        option_law=options.taken([_wide(one.option_law, width) for one in patterns]),
        bond_a=bonds.taken([one.bond_a for one in patterns]) + pairs.first[bonds.owner],
        bond_b=bonds.taken([one.bond_b for one in patterns]) + pairs.first[bonds.owner],
        bond_p=bonds.taken([one.bond_p for one in patterns]),
        stock=stock,
    )


def gathered(owner: Ints, values: Floats | Bools, size: int) -> Floats:
    """Sum of the values of each of `size` owners."""
    return np.bincount(owner, weights=values, minlength=size).astype(np.float64)


class _Ragged:
    """Lines of different length, one for each case, taken from lines by pattern."""

    def __init__(self, sizes: Sequence[int], which: Ints) -> None:
        size = np.array([*sizes, 0], dtype=np.int64)
        own = size[which]
        before = np.concatenate([[0], np.cumsum(size)[:-1]])
        self.owner = np.repeat(np.arange(len(which)), own)
        self.first = np.cumsum(own) - own
        self.source = np.arange(int(own.sum())) + np.repeat(before[which] - self.first, own)

    def taken(self, lines: Sequence[Any]) -> Any:
        return np.concatenate(lines)[self.source]


def _wide(table: Floats, width: int) -> Floats:
    if table.shape[1] == width:
        return table
    wider = np.zeros((len(table), width))
    wider[:, : table.shape[1]] = table
    return wider
