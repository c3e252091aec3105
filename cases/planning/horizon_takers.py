"""The shelf as each case meets it: who drew before on the same item, and how many were there."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cases.planning import replenish
from cases.planning.horizon_arrays import NEVER_BACK, Arrays
from cases.planning.parts import Bools, Floats, Ints

_SPAN = 2**40
"""More than any moment: a row and a moment stand in one whole number, row * _SPAN + moment."""

NEVER = _SPAN - 1
"""In `Takers.until`: not back at all."""


@dataclass(frozen=True)
class Takers:
    """Pairs by rows: one row for each item, in order of time, and one more for each list with a hold of its
    own.

    A list's hold is seen by its cases as so many more on the shelf. Others never draw on it, and see of what
    its cases draw only what is beyond the hold: of units all of it when the first of them comes; of sets,
    which come back, what the hold does not surely stand for. Both are cautious.

    Attributes
    ----------
    row, pair : int arrays, shape (T,)
        Sorted by row, then by case.
    there : int array, shape (T,)
        Free for the case, had no other drawn.
    gone : int array, shape (T,)
        Units of the row that have expired by then, and that earlier cases may have drawn before they did:
        first expired first out, what others drew and what has expired is the greater of the two, step by
        step. Nought where a row is counted without that (in a list's own row, and for what comes back):
        cautious, all that expired is then lost beside what was drawn.
    spared : int array, shape (T,)
        What the case takes from holds before it draws on the row.
    begin, until : int arrays, shape (T,)
        When it draws; when what it drew is back, or `NEVER`.
    first : int array, shape (T,)
        The first taker whose draw may still be out; all from it up to the taker's own place count, if their
        `until` lies after `begin`.
    answered : bool array, shape (T,)
        Whether this row speaks for the pair.
    beyond : tuple of (int array, int)
        Takers of one list in a row of others, and how many units the list holds.
    """

    row: Ints
    pair: Ints
    there: Ints
    gone: Ints
    spared: Ints
    begin: Ints
    until: Ints
    first: Ints
    answered: Bools
    beyond: tuple[tuple[Ints, int], ...] = ()

    @cached_property
    def starts(self) -> Ints:
        """Where each row begins, and the end: shape (rows + 1,)."""
        change = np.flatnonzero(np.diff(self.row, prepend=-1))
        return np.append(change, len(self.row))

    def drawn(self, chance: Floats) -> Floats:
        """Chances of drawing exactly 1, 2, ... on the row, from those of asking (P, K).

        Shape (T, K), or wider where a list may draw more beyond its hold.
        """
        q = chance[self.pair]
        some = np.flatnonzero(self.spared > 0)
        for n in some.tolist():
            q[n] = np.append(q[n, self.spared[n] :], np.zeros(min(self.spared[n], q.shape[1])))
        wide = [(members, self._beyond(q[members], held)) for members, held in self.beyond]
        most = max([q.shape[1], *(len(law) for _, law in wide)])
        q = np.pad(q, ((0, 0), (0, most - q.shape[1])))
        for members, law in wide:
            q[members] = 0.0
            q[members[0], : len(law)] = law
        return q

    @staticmethod
    def _beyond(lines: Floats, held: int) -> Floats:
        """Chances that these takers together draw 1, 2, ... beyond the hold."""
        law = np.ones(1)
        for line in lines:
            law = np.convolve(law, np.concatenate([[max(0.0, 1.0 - float(line.sum()))], line]))
        return np.trim_zeros(replenish.beyond(law, held)[1:], "b")


def takers_of(arrays: Arrays, own: Ints) -> Takers:
    """Lay the pairs out in rows. `own` are the units held for each pair's case alone, shape (P,)."""
    stock = arrays.stock
    begin, until = _moments(arrays)
    free = _free(arrays, begin, until)
    gone = _expired(arrays, begin)
    row, pair, there, spared, answered = arrays.pair_item, np.arange(len(free)), free, own, None
    if len(stock.pool_item):
        row, pair, there, spared, answered = _with_pools(arrays, free, own)
        gone = np.where(row < len(stock.on_hand), gone[pair], 0)
    # Rows of few numbers are sorted by their digits, which is faster.
    few = row.astype(np.uint16) if len(row) and row.max() < 2**16 else row
    order = np.lexsort((pair, row)) if answered is not None else np.argsort(few, kind="stable")
    row, pair = row[order], pair[order]
    begin, until = begin[pair], until[pair]
    latest = np.maximum.accumulate(row * _SPAN + until)
    return Takers(
        row,
        pair,
        there[order],
        gone[order],
        spared[order],
        begin,
        until,
        np.searchsorted(latest, row * _SPAN + begin, side="right"),
        np.ones(len(row), dtype=np.bool_) if answered is None else answered[order],
        () if answered is None else _beyond(arrays, row, pair),
    )


def _beyond(arrays: Arrays, row: Ints, pair: Ints) -> tuple[tuple[Ints, int], ...]:
    """Per list with a hold of units, and per row of the item that is not its own, its takers and the hold."""
    pool, count = pools_of(arrays)
    held = np.unique(pool[pool >= 0])
    own_row = {int(number): len(arrays.stock.on_hand) + n for n, number in enumerate(held.tolist())}
    found = []
    for number in held.tolist():
        if arrays.stock.back[arrays.stock.pool_item[number]] == NEVER_BACK:
            mine = np.flatnonzero((pool[pair] == number) & (row != own_row[number]))
            units = int(count[pool == number][0])
            found += [(mine[row[mine] == one], units) for one in np.unique(row[mine]).tolist()]
    return tuple(found)


def own_of(arrays: Arrays) -> Ints:
    """Units held for each pair's case alone, shape (P,)."""
    own = np.zeros(len(arrays.pair_case), dtype=np.int64)
    stock = arrays.stock
    if len(stock.own_ref):
        place = {int(ref): n for n, ref in enumerate(arrays.ref.tolist())}
        items = len(stock.on_hand)
        keys = arrays.pair_case * items + arrays.pair_item
        for ref, item, count in zip(
            stock.own_ref.tolist(), stock.own_item.tolist(), stock.own_by.tolist(), strict=True
        ):
            at = int(np.searchsorted(keys, place[ref] * items + item)) if ref in place else len(keys)
            if at < len(keys) and keys[at] == place[ref] * items + item:
                own[at] += count
    return own


def pools_of(arrays: Arrays) -> tuple[Ints, Ints]:
    """Per pair which row of `Stock.pool_*` is its list's, -1 for none, and how many that is. Shapes (P,)."""
    stock = arrays.stock
    pool = np.full(len(arrays.pair_case), -1, dtype=np.int64)
    count = np.zeros(len(arrays.pair_case), dtype=np.int64)
    lists = arrays.list_ref[arrays.pair_case]
    for n, (ref, item, by) in enumerate(
        zip(stock.pool_ref.tolist(), stock.pool_item.tolist(), stock.pool_by.tolist(), strict=True)
    ):
        mine = (lists == ref) & (arrays.pair_item == item)
        pool[mine] = n
        count[mine] += by
    return pool, count


def _with_pools(arrays: Arrays, free: Ints, own: Ints) -> tuple[Ints, Ints, Ints, Ints, Bools]:
    """The rows of items that some list holds: one for the cases without such a hold, one for each list."""
    pool, count = pools_of(arrays)
    most = most_of(arrays.chance)
    spared = own.copy()
    returns = arrays.stock.back[arrays.stock.pool_item] != NEVER_BACK
    for number in [one for one in np.unique(pool[pool >= 0]).tolist() if returns[one]]:
        left = int(count[pool == number][0])
        for at in np.flatnonzero(pool == number).tolist():
            given = min(left, max(0, int(most[at]) - int(own[at])))
            spared[at] += given
            left -= given
    items = len(arrays.stock.on_hand)
    rows, pairs = [arrays.pair_item], [np.arange(len(free))]
    theres, spareds, answers = [free], [spared], [pool < 0]
    for extra, number in enumerate(np.unique(pool[pool >= 0]).tolist()):
        item = int(arrays.stock.pool_item[number])
        takers = np.flatnonzero(arrays.pair_item == item)
        mine = pool[takers] == number
        rows.append(np.full(len(takers), items + extra))
        pairs.append(takers)
        theres.append(free[takers] + np.where(mine, count[takers], 0))
        spareds.append(np.where(mine, own[takers], spared[takers]))
        answers.append(mine)
    return (
        np.concatenate(rows),
        np.concatenate(pairs),
        np.concatenate(theres),
        np.concatenate(spareds),
        np.concatenate(answers),
    )


def most_of(chance: Floats) -> Ints:
    """The most that may be asked for, per line of chances of 1, 2, ..."""
    most = np.zeros(len(chance), dtype=np.int64)
    for n, column in enumerate(chance.T, start=1):
        most[column > 0] = n
    return most


def _moments(arrays: Arrays) -> tuple[Ints, Ints]:
    """When each pair draws, and when what it drew is back."""
    stock, case, item = arrays.stock, arrays.pair_case, arrays.pair_item
    clock, back = stock.by_minute[item], stock.back[item]
    begin = np.where(clock, arrays.start[case], arrays.day[case])
    until = np.where(clock, arrays.end[case], arrays.day[case]) + back
    return begin, np.where(back == NEVER_BACK, NEVER, until)


def _expired(arrays: Arrays, begin: Ints) -> Ints:
    """Units of each pair's item that have expired by then; nought for what comes back. Shape (P,)."""
    stock, item = arrays.stock, arrays.pair_item
    order = np.lexsort((stock.expiry_at, stock.expiry_item))
    keys = (stock.expiry_item * _SPAN + stock.expiry_at)[order]
    total = np.concatenate([[0], np.cumsum(stock.expiry_by[order])])
    found = total[np.searchsorted(keys, item * _SPAN + begin, side="right")]
    found = found - total[np.searchsorted(keys, item * _SPAN)]
    return np.where(stock.back[item] == NEVER_BACK, found, 0)


def _free(arrays: Arrays, begin: Ints, until: Ints) -> Ints:
    """What is free for each pair, by the calendar alone: the least over the time in which it is out."""
    stock, item = arrays.stock, arrays.pair_item
    free = stock.on_hand[item]
    where = np.concatenate([stock.change_item, stock.expiry_item])
    if not len(where):
        return free
    keys = where * _SPAN + np.concatenate([stock.change_at, stock.expiry_at])
    order = np.argsort(keys, kind="stable")
    keys, total = keys[order], np.cumsum(np.concatenate([stock.change_by, -stock.expiry_by])[order])
    total = np.concatenate([[0], total])
    here = np.searchsorted(keys, item * _SPAN + begin, side="right")
    before = total[np.searchsorted(keys, item * _SPAN)]
    free = free + total[here] - before
    returns = stock.back[item] != NEVER_BACK
    last = np.searchsorted(keys, item * _SPAN + until, side="left")
    for at in np.flatnonzero(returns & (last > here)).tolist():
        later = stock.on_hand[item[at]] + total[here[at] + 1 : last[at] + 1] - before[at]
        free[at] = min(free[at], int(later.min()))
    return np.asarray(free, dtype=np.int64)
