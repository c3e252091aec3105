"""From chances that single items lack to chances that cases are short, for all cases at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cases.planning.horizon_arrays import Arrays, gathered
from cases.planning.horizon_twins import Twins
from cases.planning.parts import Bools, Floats, Ints

_ALMOST = 1.0 - 1e-12
"""In products a factor that is nought is taken as 1e-12, so that it can be divided out again."""


@dataclass(frozen=True)
class Lacks:
    """Per pair the chance that fewer than n = 1, ..., K are there for its case, what is held for it included.

    All shapes (P, K).

    Attributes
    ----------
    tails : float array, shape (P, K + 2)
        See `horizon_kernel.tails`.
    own : int array, shape (P,)
        Held for the case alone.
    """

    tails: Floats
    own: Ints

    @cached_property
    def now(self) -> Floats:
        """As it is."""
        return self._read(0, 0)

    @cached_property
    def more(self) -> Floats:
        """With one more free on the shelf."""
        return self._read(-1, 0)

    @cached_property
    def fewer(self) -> Floats:
        """With one fewer free on the shelf."""
        return self._read(1, 0)

    @cached_property
    def kept(self) -> Floats:
        """With one more held for the case alone."""
        return self._read(-1, 1)

    def _read(self, shift: int, more: int) -> Floats:
        width = self.tails.shape[1] - 2
        if not self.own.any() and not more:
            found = self.tails[:, 1 + shift : 1 + shift + width]
            return np.ascontiguousarray(found)
        n = np.arange(1, width + 1) - self.own[:, None]
        taken = np.take_along_axis(self.tails, np.clip(n + shift, 0, width + 1), axis=1)
        return np.where(n > more, taken, 0.0)


@dataclass(frozen=True)
class Shorts:
    """Per case the chance of being short, shape (N,).

    `low` counts outcomes with a pair without a rule as covered, `high` as short, `fitting` takes the pairs as
    fitting.
    """

    low: Floats
    high: Floats
    fitting: Floats


@dataclass(frozen=True)
class Change:
    """Per pair what P(short) of its case becomes by a change of its item; shape (P,)."""

    low: Floats
    high: Floats
    fitting: Floats


class Sums:
    """Chances of a horizon's cases, given what may lack.

    Parameters
    ----------
    arrays : Arrays
    live : bool array, shape (P,)
        Pairs whose item can lack for some case. The terms of all others are met.
    """

    def __init__(self, arrays: Arrays, live: Bools) -> None:
        self._a = arrays
        cases = len(arrays.ref)
        term_live = gathered(arrays.option_term, live[arrays.option_pair], len(arrays.term_need))
        options = np.bincount(arrays.option_term, minlength=len(arrays.term_need))
        term_kept = (term_live > 0) | (options == 0)
        kept = term_kept[arrays.entry_term]
        self._combo = arrays.entry_combo[kept]
        self._term = arrays.entry_term[kept]
        self._p = arrays.combo_p
        self._entry_p = self._p[self._combo]
        self._known_p = np.where(arrays.combo_unknown, 0.0, self._p)
        self._options = options
        self._option_first = np.cumsum(options) - options
        place = np.arange(len(arrays.option_term)) - self._option_first[arrays.option_term]
        # Options that are the second of their term, the third, ...
        self._later_options = [
            np.flatnonzero(place == rank) for rank in range(1, int(options.max(initial=0)))
        ]
        group_cluster, self._cluster_case = _clusters(arrays)
        self._cluster = group_cluster[arrays.combo_group]
        self._clusters = len(self._cluster_case)
        self._unknown = gathered(self._cluster, np.where(arrays.combo_unknown, self._p, 0.0), self._clusters)
        self.unknown = np.abs(np.expm1(gathered(self._cluster_case, _log_rest(self._unknown), cases)))
        self.unknown[arrays.impossible] = 0.0
        # A cluster for each pair: that of any term that may ask for it.
        self._pair_cluster = np.zeros(len(arrays.pair_case), dtype=np.int64)
        term_cluster = np.zeros(len(arrays.term_need), dtype=np.int64)
        term_cluster[arrays.entry_term] = self._cluster[arrays.entry_combo]
        self._pair_cluster[arrays.option_pair] = term_cluster[arrays.option_term]
        self._crossed = np.flatnonzero((arrays.surplus != 0).any(axis=1) & live)
        self.term_weight = gathered(
            arrays.entry_term, arrays.combo_p[arrays.entry_combo], len(arrays.term_need)
        )

    @cached_property
    def _twins(self) -> Twins:
        return Twins(self._a, self._combo, self._term)

    # The promise: proven upper bounds

    def at_most(self, lacks: Floats) -> Shorts:
        """P(short) at most: chances of lack added up within what depends on one another (Bonferroni)."""
        lost = np.minimum(1.0, self._added(self._fails(lacks)))
        low = self._by_cluster(self._known_p * lost)
        fitting = self._by_cluster(self._p * lost)
        cross = self._cross(lacks)
        return self._together(low + cross, low + cross + self._unknown, fitting + cross)

    # The estimate

    def about(self, lacks: Floats) -> Shorts:
        """P(short) if items lacked independently of one another, but for twins (see `horizon_twins`)."""
        logs = self._logs(self._fails(lacks))
        lost = -np.expm1(logs)
        low = self._by_cluster(self._known_p * lost)
        fitting = self._by_cluster(self._p * lost)
        cross = self._cross(lacks)
        return self._together(low + cross, low + cross + self._unknown, fitting + cross)

    def thinned(self, lacks: Floats) -> Floats:
        """Per pair the share of its demand that goes out: P(its case is served | it asks). Shape (P,)."""
        a = self._a
        fails = self._fails(lacks)
        logs = self._logs(fails)
        met = np.maximum(1.0 - fails, 1.0 - _ALMOST)
        of_cluster = _log_rest(np.minimum(_ALMOST, self._by_cluster(self._p * -np.expm1(logs))))
        others = gathered(self._cluster_case, of_cluster, len(a.ref))[self._cluster_case] - of_cluster
        served = self._entry_p * np.exp(logs[self._combo] + others[self._cluster[self._combo]])
        share = gathered(self._term, served, len(met)) / met
        went = share[a.option_term] * self._takes(lacks)
        asked = self.term_weight[a.option_term]
        pairs = len(a.pair_case)
        total = gathered(a.option_pair, asked, pairs)
        part = gathered(a.option_pair, went, pairs)
        found = np.divide(part, total, out=np.ones(pairs), where=total > 0)
        return np.minimum(1.0, found)

    # Per item

    def missing(self, lacks: Floats) -> Floats:
        """Per pair the chance that its case asks for it and finds too few, or that its need is unmet."""
        a = self._a
        fails = self._fails(lacks)
        lost = self.term_weight * fails
        found = gathered(a.option_pair, lost[a.option_term], len(a.pair_case))
        crossed = self._crossed
        found[crossed] += (a.surplus[crossed] * lacks[crossed]).sum(axis=1)
        return np.clip(found, 0.0, 1.0)

    def changed(self, lacks: Floats, other: Floats, *, proven: bool) -> Change:
        """P(short) of each pair's case, were its chances of lack those of `other`."""
        a = self._a
        fails, alone = self._fails(lacks), self._alone(lacks, other)
        entry, option = self._entries_by_option()
        combo, term = self._combo[entry], self._term[entry]
        if proven:
            added = self._added(fails)
            new = added[combo] - fails[term] + alone[option]
            step = np.minimum(1.0, np.maximum(0.0, new)) - np.minimum(1.0, added)[combo]
        else:
            logs, changed = _log_rest(np.minimum(fails, _ALMOST)), _log_rest(np.minimum(alone, _ALMOST))
            by_entry = self._twins.change(logs[self._term], entry, changed[option])
            step = -np.exp(self._twins.total(logs[self._term])[combo]) * np.expm1(by_entry)
        pair, pairs = a.option_pair[option], len(a.pair_case)
        known = gathered(pair, self._known_p[combo] * step, pairs)
        whole = gathered(pair, self._p[combo] * step, pairs)
        crossed = self._crossed
        more = (a.surplus[crossed] * (other - lacks)[crossed]).sum(axis=1)
        known[crossed] += more
        whole[crossed] += more
        return self._stepped(lacks, known, whole, proven)

    def _stepped(self, lacks: Floats, known: Floats, whole: Floats, proven: bool) -> Change:
        a = self._a
        fails = self._fails(lacks)
        lost = np.minimum(1.0, self._added(fails)) if proven else -np.expm1(self._logs(fails))
        cross = self._cross(lacks)
        low = self._by_cluster(self._known_p * lost) + cross
        fitting = self._by_cluster(self._p * lost) + cross
        found = []
        for own, step in ((low, known), (low + self._unknown, known), (fitting, whole)):
            own = np.clip(own, 0.0, 1.0)
            logs = _log_rest(np.minimum(own, _ALMOST))
            others = gathered(self._cluster_case, logs, len(a.ref))[a.pair_case] - logs[self._pair_cluster]
            new = np.clip(own[self._pair_cluster] + step, 0.0, 1.0)
            short = -np.expm1(others + _log_rest(np.minimum(new, _ALMOST)))
            short[a.impossible[a.pair_case]] = 1.0
            found.append(np.clip(short, 0.0, 1.0))
        return Change(*found)

    # Terms

    def _option_lacks(self, lacks: Floats) -> Floats:
        a = self._a
        if lacks.shape[1] == 1:
            return np.asarray(lacks[a.option_pair, 0] * a.option_law[:, 0], dtype=np.float64)
        return np.asarray(np.einsum("ok,ok->o", a.option_law, lacks[a.option_pair]), dtype=np.float64)

    def _fails(self, lacks: Floats) -> Floats:
        """Chance at most that each term is not met: the least lacking of its options. Shape (T,)."""
        fails = np.ones(len(self._options))
        some = np.flatnonzero(self._options)
        if len(some):
            fails[some] = np.minimum.reduceat(self._option_lacks(lacks), self._option_first[some])
        return np.minimum(1.0, fails)

    def _takes(self, lacks: Floats) -> Floats:
        """Chance that each option is the one that is taken: it is there, and none before it. Shape (O,)."""
        one = np.minimum(1.0, self._option_lacks(lacks))
        return np.asarray((1.0 - one) * self._before(one), dtype=np.float64)

    def _alone(self, lacks: Floats, other: Floats) -> Floats:
        """Chance that the term is not met if this option alone had its other chance. Shape (O,)."""
        one, new = self._option_lacks(lacks), self._option_lacks(other)
        return np.minimum(1.0, np.minimum(new, np.minimum(self._before(one), self._after(one))))

    def _before(self, one: Floats) -> Floats:
        """The least of the values of the term's earlier options, 1 for its first. Shape (O,)."""
        found = np.ones(len(one))
        for rank in self._later_options:
            found[rank] = np.minimum(found[rank - 1], one[rank - 1])
        return found

    def _after(self, one: Floats) -> Floats:
        """The same of its later options."""
        found = np.ones(len(one))
        for rank in reversed(self._later_options):
            found[rank - 1] = np.minimum(found[rank], one[rank])
        return found

    def _entries_by_option(self) -> tuple[Ints, Ints]:
        """Each entry with each option of its term."""
        count = self._options[self._term]
        entry = np.repeat(np.arange(len(self._term)), count)
        within = np.arange(len(entry)) - np.repeat(np.cumsum(count) - count, count)
        return entry, self._option_first[self._term[entry]] + within

    # Sums

    def _added(self, fails: Floats) -> Floats:
        return gathered(self._combo, fails[self._term], len(self._p))

    def _logs(self, fails: Floats) -> Floats:
        """Log of the chance that all terms of each combination are met, as the estimate takes it."""
        return self._twins.total(_log_rest(np.minimum(fails, _ALMOST))[self._term])

    def _by_cluster(self, values: Floats) -> Floats:
        return gathered(self._cluster, values, self._clusters)

    def _cross(self, lacks: Floats) -> Floats:
        """What two groups of a case that draw on one item lack together beyond what each lacks alone."""
        crossed = self._crossed
        if not len(crossed):
            return np.zeros(self._clusters)
        more = (self._a.surplus[crossed] * lacks[crossed]).sum(axis=1)
        return gathered(self._pair_cluster[crossed], np.maximum(0.0, more), self._clusters)

    def _together(self, *sides: Floats) -> Shorts:
        found = []
        for one in sides:
            logs = _log_rest(np.minimum(one, 1.0))
            short = np.abs(np.expm1(gathered(self._cluster_case, logs, len(self._a.ref))))
            short[self._a.impossible] = 1.0
            found.append(np.clip(short, 0.0, 1.0))
        return Shorts(*found)


def _log_rest(p: Floats) -> Floats:
    """log(1 - p), minus infinity at 1."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.log1p(-np.minimum(p, 1.0)), dtype=np.float64)


def _clusters(arrays: Arrays) -> tuple[Ints, Ints]:
    """Groups of one case whose demands may depend on one another, now or through earlier cases.

    Items are joined where one group of any case may draw on both. Returns each group's cluster, and each
    cluster's case. Groups in different clusters draw on items whose demands are independent over the whole
    horizon.
    """
    groups, items = len(arrays.group_case), len(arrays.stock.on_hand)
    owner = _owners(arrays)
    term_group = np.zeros(len(arrays.term_need), dtype=np.int64)
    term_group[arrays.entry_term] = arrays.combo_group[arrays.entry_combo]
    knot, item = owner[term_group[arrays.option_term]], arrays.pair_item[arrays.option_pair]
    label = np.arange(items)
    while True:
        least = np.full(groups, items)
        np.minimum.at(least, knot, label[item])
        new = label.copy()
        np.minimum.at(new, item, least[knot])
        new = new[new]
        if np.array_equal(new, label):
            break
        label = new
    place = np.arange(groups) + items
    place[knot] = label[item]
    codes = arrays.group_case * (items + groups) + place[owner]
    distinct, cluster = np.unique(codes, return_inverse=True)
    return cluster.ravel(), distinct // (items + groups)


def _owners(arrays: Arrays) -> Ints:
    """The first group with the same tie, or the group itself."""
    own = np.arange(len(arrays.group_case))
    tied = np.flatnonzero(arrays.group_tie >= 0)
    if len(tied):
        _, first, inverse = np.unique(arrays.group_tie[tied], return_index=True, return_inverse=True)
        own[tied] = tied[first[inverse.ravel()]]
    return own
