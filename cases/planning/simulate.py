"""The exact rule, played out with drawn sizes: a check on bounds and estimates, and a last resort with its
interval.

Cases come in order. Each draws one combination of each of its groups, asks for all its terms at once, and
takes them if all are there: units held for it first, then those of its list, then free ones, first expired
first out; of a need the first listed option that is there. Else it is short and takes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cases.planning.horizon_arrays import NEVER_BACK, Arrays
from cases.planning.horizon_takers import NEVER, own_of, pools_of
from cases.planning.kinds import PlanningError
from cases.planning.parts import Bools, Floats, Ints

Z95 = 1.959963984540054


@dataclass(frozen=True)
class Drawn:
    """What came of `draws` plays.

    Attributes
    ----------
    short : int array, shape (N,)
        In how many of them each case was short (pairs without a rule taken as fitting).
    shorts : int array, shape (N + 1,)
        In how many of them so many cases were short.
    missed : int array, shape (P,)
        In how many of them the pair's case asked for the item and found too few (of a need: no option, each
        of them).
    seed : int
    together : int
        In how many of them every watched case was served, with rules on file for all that it drew.
    """

    draws: int
    short: Ints
    shorts: Ints
    missed: Ints
    seed: int
    together: int = 0

    @property
    def p_short(self) -> Floats:
        """Share of plays in which each case was short."""
        return np.asarray(self.short / self.draws, dtype=np.float64)

    @property
    def interval(self) -> tuple[Floats, Floats]:
        """Wilson's 95 % interval of each P(short)."""
        return wilson(self.short, self.draws)


def wilson(hits: Ints, draws: int, z: float = Z95) -> tuple[Floats, Floats]:
    """Wilson's interval for shares of hits; with no hit the upper end is about 3.8 / draws.

    Source: Wilson 1927, doi 10.1080/01621459.1927.10502953.
    """
    share = np.asarray(hits, dtype=np.float64) / draws
    scale = 1.0 + z * z / draws
    middle = (share + z * z / (2 * draws)) / scale
    half = z / scale * np.sqrt(share * (1.0 - share) / draws + z * z / (4.0 * draws * draws))
    return np.maximum(0.0, middle - half), np.minimum(1.0, middle + half)


def simulate(
    arrays: Arrays, draws: int = 10_000, seed: int | None = None, watched: Bools | None = None
) -> Drawn:
    """Play the horizon so many times.

    Parameters
    ----------
    arrays : Arrays
    draws : int
        Of at least 1. The error of a share p is about sqrt(p (1 - p) / draws).
    seed : int, optional
        By default from the bytes of the arrays: the same horizon gives the same answer. Each case draws from
        a stream of its own (by seed and reference), so that two horizons played with one seed differ by what
        differs in them.
    watched : bool array, shape (N,), optional
        The cases that `Drawn.together` speaks of; none without it.

    Raises
    ------
    PlanningError
        Fewer than one draw.
    """
    if draws < 1:
        raise PlanningError("At least one draw is needed.")
    seed = arrays.seed() if seed is None else seed
    play = _Play(arrays, draws, seed)
    short = np.zeros(len(arrays.ref), dtype=np.int64)
    times = np.zeros(draws, dtype=np.int64)
    together = np.full(draws, watched is not None)
    for case in range(len(arrays.ref)):
        failed = play.visit(case)
        short[case] = int(failed.sum())
        times += failed
        if watched is not None and watched[case]:
            together &= ~(failed | play.unknown)
    spread = np.bincount(times, minlength=len(arrays.ref) + 1)
    return Drawn(draws, short, spread, play.missed, seed, int(together.sum()))


@dataclass
class _Out:
    """Taken sets or units that come back at `until`, per play."""

    until: int
    taken: Ints


class _Play:
    """The state of all plays at once."""

    def __init__(self, arrays: Arrays, draws: int, seed: int) -> None:
        self._a, self._n, self._seed = arrays, draws, seed
        items = len(arrays.stock.on_hand)
        self._gone = np.zeros((items, draws), dtype=np.int64)
        # By item, and by list's hold, what is out and comes back.
        self._out: list[list[_Out]] = [[] for _ in range(items + len(arrays.stock.pool_ref))]
        self._own = own_of(arrays)
        self._pool, self._listed = pools_of(arrays)
        self.missed = np.zeros(len(arrays.pair_case), dtype=np.int64)
        self._pairs = _edges(arrays.pair_case, len(arrays.ref))
        self._groups = _edges(arrays.group_case, len(arrays.ref))
        self._combos = _edges(arrays.combo_group, len(arrays.group_case))
        self._entries = _edges(arrays.entry_combo, len(arrays.combo_p))
        self._options = _edges(arrays.option_term, len(arrays.term_need))
        self._events = _Events(arrays)
        # In which plays the case that came last drew a pair without a rule on file.
        self.unknown = np.zeros(draws, dtype=np.bool_)

    def visit(self, case: int) -> Bools:
        """Let a case come; in which plays it is short."""
        a, n = self._a, self._n
        self.unknown = np.zeros(n, dtype=np.bool_)
        if a.impossible[case]:
            return np.ones(n, dtype=np.bool_)
        first, last = int(self._pairs[case]), int(self._pairs[case + 1])
        lots = np.random.default_rng([self._seed, int(a.ref[case])])
        wanted = np.zeros((last - first, n), dtype=np.int64)
        needs: list[tuple[int, Bools]] = []
        for group in range(int(self._groups[case]), int(self._groups[case + 1])):
            self._draw(group, first, lots, wanted, needs)
        found = np.empty_like(wanted)
        for pair in range(first, last):
            found[pair - first] = self._found(pair)
        lacking = wanted > found
        failed = np.asarray(lacking.any(axis=0), dtype=np.bool_)
        self.missed[first:last] += lacking.sum(axis=1)
        for term, asks in needs:
            failed |= self._meet(term, asks, first, wanted, found)
        took = np.where(failed, 0, wanted)
        for pair in np.flatnonzero(took.any(axis=1)).tolist():
            self._take(first + pair, took[pair])
        return failed

    def _draw(
        self,
        group: int,
        first: int,
        lots: np.random.Generator,
        wanted: Ints,
        needs: list[tuple[int, Bools]],
    ) -> None:
        """Draw a combination of a group in every play: add up what its slots ask for, gather its needs."""
        a = self._a
        low, high = int(self._combos[group]), int(self._combos[group + 1])
        cdf = np.cumsum(a.combo_p[low:high])
        cdf[-1] = 1.0
        chosen = low + np.searchsorted(cdf, lots.random(self._n), side="right")
        self.unknown |= a.combo_unknown[chosen]
        first_entry = self._entries[chosen]
        count = self._entries[chosen + 1] - first_entry
        for place in range(int(count.max(initial=0))):
            has = np.flatnonzero(count > place)
            term = a.entry_term[first_entry[has] + place]
            slot = ~a.term_need[term]
            option = self._options[term[slot]]
            wanted[a.option_pair[option] - first, has[slot]] += self._number(option, lots)
            for need in np.unique(term[~slot]).tolist():
                asks = np.zeros(self._n, dtype=np.bool_)
                asks[has[term == need]] = True
                needs.append((need, asks))

    def _number(self, option: Ints, lots: np.random.Generator) -> Ints:
        """How many of its item each option asks for: one, but for second units."""
        single = self._a.option_law[option, 0]
        number = np.ones(len(option), dtype=np.int64)
        doubt = np.flatnonzero(single < 1.0)
        if len(doubt):
            drawn = lots.random(len(doubt))
            more = np.flatnonzero(drawn >= single[doubt])
            law = np.cumsum(self._a.option_law[option[doubt[more]]], axis=1)
            number[doubt[more]] = 1 + (drawn[more, None] >= law[:, :-1]).sum(axis=1)
        return number

    def _meet(self, term: int, asks: Bools, first: int, wanted: Ints, found: Ints) -> Bools:
        """Let a need take its first option that is there; where none is."""
        options = range(int(self._options[term]), int(self._options[term + 1]))
        open_ = asks.copy()
        for option in options:
            pair = int(self._a.option_pair[option]) - first
            takes = open_ & (wanted[pair] < found[pair])
            wanted[pair] += takes
            open_ &= ~takes
        for option in options:
            self.missed[self._a.option_pair[option]] += int(open_.sum())
        return open_

    def _found(self, pair: int) -> Ints:
        """What the pair's case finds: own hold, its list's, free."""
        free = np.maximum(0, self._free(pair))
        return np.asarray(self._own[pair] + self._in_pool(pair) + free, dtype=np.int64)

    def _in_pool(self, pair: int) -> Ints:
        pool = int(self._pool[pair])
        if pool < 0:
            return np.zeros(self._n, dtype=np.int64)
        begin, _ = self._moments(pair)
        return np.asarray(self._listed[pair] - self._away(len(self._gone) + pool, begin), dtype=np.int64)

    def _away(self, place: int, at: int) -> Ints:
        """Of what was taken, what is not back at the moment."""
        none = np.zeros(self._n, dtype=np.int64)
        return np.asarray(sum((one.taken for one in self._out[place] if one.until > at), none))

    def _moments(self, pair: int) -> tuple[int, int]:
        """When the pair's case draws, and when what it draws is back."""
        a, case, item = self._a, int(self._a.pair_case[pair]), int(self._a.pair_item[pair])
        begin, end = (a.start[case], a.end[case]) if a.stock.by_minute[item] else (a.day[case], a.day[case])
        back = int(a.stock.back[item])
        return int(begin), NEVER if back == NEVER_BACK else int(end) + back

    def _free(self, pair: int) -> Ints:
        item, stock = int(self._a.pair_item[pair]), self._a.stock
        begin, until = self._moments(pair)
        if until == NEVER:
            np.maximum(self._gone[item], self._events.expired(item, begin), out=self._gone[item])
            return np.asarray(stock.on_hand[item] + self._events.changed(item, begin) - self._gone[item])
        self._out[item] = [one for one in self._out[item] if one.until > begin]
        there = [
            stock.on_hand[item] + self._events.changed(item, at) - self._events.expired(item, at)
            - self._away(item, at)
            for at in self._events.moments(item, begin, until)
        ]  # fmt: skip
        return np.asarray(np.min(there, axis=0))

    def _take(self, pair: int, number: Ints) -> None:
        """Own hold first, then the list's, then free."""
        item, pool = int(self._a.pair_item[pair]), int(self._pool[pair])
        _, until = self._moments(pair)
        rest = np.maximum(0, number - self._own[pair])
        if pool >= 0:
            from_pool = np.minimum(rest, self._in_pool(pair))
            self._out[len(self._gone) + pool].append(_Out(until, from_pool))
            rest = rest - from_pool
        if until == NEVER:
            self._gone[item] += rest
        else:
            self._out[item].append(_Out(until, rest))


class _Events:
    """Arrivals and other changes, and expiries, by item."""

    def __init__(self, arrays: Arrays) -> None:
        stock = arrays.stock
        self._changes = _by_item(stock.change_item, stock.change_at, stock.change_by)
        self._expiries = _by_item(stock.expiry_item, stock.expiry_at, stock.expiry_by)

    def changed(self, item: int, at: int) -> int:
        """More (or less) there up to the moment."""
        return sum(by for when, by in self._changes.get(item, ()) if when <= at)

    def expired(self, item: int, at: int) -> int:
        """Units on hand that may no more be used at the moment."""
        return sum(by for when, by in self._expiries.get(item, ()) if when <= at)

    def moments(self, item: int, begin: int, last: int) -> list[int]:
        """The beginning, and every moment before `last` at which something changes."""
        both = (*self._changes.get(item, ()), *self._expiries.get(item, ()))
        return [begin, *sorted({when for when, _ in both if begin < when < last})]


def _by_item(item: Ints, at: Ints, by: Ints) -> dict[int, list[tuple[int, int]]]:
    found: dict[int, list[tuple[int, int]]] = {}
    for one, when, count in zip(item.tolist(), at.tolist(), by.tolist(), strict=True):
        found.setdefault(one, []).append((when, count))
    return found


def _edges(owner: Ints, size: int) -> Ints:
    """Where each owner's lines begin, and the end: shape (size + 1,). Owners ascend."""
    return np.searchsorted(owner, np.arange(size + 1))
