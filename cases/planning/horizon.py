"""A horizon of weeks: for every case a proven upper bound of P(short), and an estimate.

Bound
    A short case takes nothing, so on every path the shelf holds at least what it would hold if every case had
    taken all it asked for. That unthinned demand W before case j is a sum of independent draws, so with A
    there the chance that fewer than n are left, P(W > A - n), is exact for it and an upper bound for the real
    shelf. Items that no group of any case joins are independent: their chances multiply. Within what is
    joined they are added (Bonferroni). Needs with several sets: an unmet need lacks every option, so at most
    the least chance.

Estimate
    The same once more, each demand multiplied by the chance that its case is served, given that it asks. It
    is no bound: about one case in eight lies below the truth by more than simulation could hide.

The law of W is worked out in `horizon_kernel`, the cases are put together in `horizon_sums`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from cases.planning.horizon_arrays import Arrays, gathered
from cases.planning.horizon_kernel import tails
from cases.planning.horizon_later import eased
from cases.planning.horizon_sums import Change, Lacks, Shorts, Sums
from cases.planning.horizon_takers import Takers, own_of, takers_of
from cases.planning.parts import Bools, Floats, Ints

NEVER_AT_RISK = -1


@dataclass(frozen=True)
class WhatIf:
    """What one unit (or set) more or fewer of each item does.

    Attributes
    ----------
    more, fewer : float arrays, shape (I,)
        Change of the expected number of short cases: of the bound, or of the estimate.
    with_more, with_fewer, kept : Change
        Per pair P(short) of its case with one more free on the shelf, one fewer, one more held for that case.
    """

    more: Floats
    fewer: Floats
    with_more: Change
    with_fewer: Change
    kept: Change


@dataclass(frozen=True)
class Pass:
    """One pass of the kernel: what each taker draws and its tails, and each pair's chances of lack."""

    drawn: Floats
    tails: Floats
    lacks: Lacks


@dataclass(frozen=True)
class Outlook:
    """What a horizon's cases find. What is only asked for now and then is worked out when it is.

    Attributes
    ----------
    arrays : Arrays
    at_most : Shorts
        P(short) per case: proven upper bounds.
    sums : Sums
    takers : Takers
    first : Pass
        The demands as they are. Its `lacks` are those of the better bound of `horizon_later`, its `tails` are
        the plain ones.
    """

    arrays: Arrays
    at_most: Shorts
    sums: Sums
    takers: Takers
    first: Pass
    _known: tuple[Takers, Pass] | None = field(default=None, repr=False, compare=False)

    @cached_property
    def second(self) -> Pass:
        """The demands times the chance that their case is served."""
        chance = self.arrays.chance * self.sums.thinned(self.first.lacks.now)[:, None]
        return _pass(self.arrays, self.takers, chance, self.first.lacks.own, self._known)

    @cached_property
    def about(self) -> Shorts:
        """The estimate of P(short) per case, never above the bound."""
        found, most = self.sums.about(self.second.lacks.now), self.at_most
        return Shorts(
            np.minimum(found.low, most.low),
            np.minimum(found.high, most.high),
            np.minimum(found.fitting, most.fitting),
        )

    @property
    def unknown(self) -> Floats:
        """Per case the chance of an outcome with a pair without a rule, shape (N,)."""
        return self.sums.unknown

    @cached_property
    def missing_at_most(self) -> Floats:
        """Per pair the chance that the case asks for the item and finds too few, at most. Shape (P,)."""
        return self.sums.missing(self.first.lacks.now)

    @cached_property
    def missing_about(self) -> Floats:
        """The same, estimated."""
        return self.sums.missing(self.second.lacks.now)

    def places(self, case: int) -> list[int]:
        """Where `takers` answers for the pairs of a case."""
        low, high = np.searchsorted(self.arrays.pair_case, [case, case + 1]).tolist()
        return [int(n) for n in self._answers[low:high]]

    @cached_property
    def _answers(self) -> Ints:
        found = np.empty(len(self.arrays.pair_case), dtype=np.int64)
        speaks = np.flatnonzero(self.takers.answered)
        found[self.takers.pair[speaks]] = speaks
        return found

    @cached_property
    def drawing(self) -> Bools:
        """Whether each taker may draw on its row at all, shape (takers,)."""
        return np.asarray((self.first.drawn > 0).any(axis=1), dtype=np.bool_)

    def first_at_risk(self, threshold: float) -> Ints:
        """Per item the number of the first case by which the chance that some case missed it passes
        `threshold`.

        At most: chances are bounds, and are added up from the first case on. `NEVER_AT_RISK` where they stay
        below. Shape (I,).
        """
        a = self.arrays
        order = np.argsort(a.pair_item, kind="stable")
        item, total = a.pair_item[order], np.cumsum(self.missing_at_most[order])
        starts = np.flatnonzero(np.diff(item, prepend=-1))
        before = np.concatenate([[0.0], total])[starts]
        sums = total - np.repeat(before, np.diff(np.append(starts, len(item))))
        found = np.full(len(a.stock.on_hand), NEVER_AT_RISK)
        past = np.flatnonzero(sums > threshold)[::-1]
        found[item[past]] = a.pair_case[order[past]]
        return found

    @cached_property
    def bound_what_ifs(self) -> WhatIf:
        """What-ifs of the bound, for all items at once."""
        return self._what_ifs(self.first.lacks, self.at_most, self.kept_at_most, proven=True)

    @cached_property
    def what_ifs(self) -> WhatIf:
        """What-ifs of the estimate, for all items at once: the demand of the other cases stays as it is."""
        return self._what_ifs(self.second.lacks, self.about, self.kept_about, proven=False)

    @cached_property
    def kept_at_most(self) -> Change:
        """The bound of each pair's case with one more of its item held for it."""
        return self.sums.changed(self.first.lacks.now, self.first.lacks.kept, proven=True)

    @cached_property
    def kept_about(self) -> Change:
        """The estimate of each pair's case with one more of its item held for it."""
        return self.sums.changed(self.second.lacks.now, self.second.lacks.kept, proven=False)

    def _what_ifs(self, lacks: Lacks, now: Shorts, kept: Change, *, proven: bool) -> WhatIf:
        a = self.arrays
        more = self.sums.changed(lacks.now, lacks.more, proven=proven)
        fewer = self.sums.changed(lacks.now, lacks.fewer, proven=proven)

        def in_all(change: Change) -> Floats:
            step = change.fitting - now.fitting[a.pair_case]
            return gathered(a.pair_item, step, len(a.stock.on_hand))

        return WhatIf(in_all(more), in_all(fewer), more, fewer, kept)


def outlook(arrays: Arrays, before: Outlook | None = None) -> Outlook:
    """Bound and estimate of every case.

    Parameters
    ----------
    arrays : Arrays
    before : Outlook, optional
        Of a horizon that is mostly the same: what stands in it alike is not worked out again. The answer is
        the same to the last bit.

    Examples
    --------
    Two cases that each take one of two sizes, one of each on the shelf, the first likelier the first size.

    >>> from cases.planning.horizon_arrays import Stock, lay_out
    >>> from cases.planning.horizon_patterns import slots_pattern
    >>> weights = [3.0, 1.0], [1.0, 1.0]
    >>> stem = [slots_pattern([("stem", np.array([0, 1]), np.array(w), 1.0, 0.0)]) for w in weights]
    >>> two, day = np.arange(2), np.array([10, 11])
    >>> found = outlook(
    ...     lay_out(stem, two, Stock.plain(np.array([1, 1])), ref=two, day=day, start=day, end=day)
    ... )
    >>> found.at_most.high.round(6)
    array([0. , 0.5])
    """
    own = own_of(arrays)
    takers = takers_of(arrays, own)
    known = None if before is None else (before.takers, before.first)
    first = _pass(arrays, takers, arrays.chance, own, known)
    sums = Sums(arrays, _live(takers, first.tails, len(own)))
    better = eased(arrays, takers, sums.term_weight, first.lacks.now, first.tails)
    if better is not first.tails:
        first = Pass(first.drawn, first.tails, Lacks(_by_pair(takers, better, len(own)), own))
    worked = None if before is None else before.__dict__.get("second")
    again = None if before is None or worked is None else (before.takers, worked)
    return Outlook(arrays, sums.at_most(first.lacks.now), sums, takers, first, again)


def _pass(
    arrays: Arrays, takers: Takers, chance: Floats, own: Ints, known: tuple[Takers, Pass] | None
) -> Pass:
    drawn = takers.drawn(chance)
    before = None if known is None else (known[0], known[1].drawn, known[1].tails)
    found = tails(takers, drawn, arrays.width, before)
    return Pass(drawn, found, Lacks(_by_pair(takers, found, len(own)), own))


def _by_pair(takers: Takers, values: Floats, pairs: int) -> Floats:
    """The lines of the takers that speak for their pairs. Shape (P, ...)."""
    found = np.zeros((pairs, values.shape[1]))
    found[takers.pair[takers.answered]] = values[takers.answered]
    return found


def _live(takers: Takers, values: Floats, pairs: int) -> Bools:
    """Pairs on whose rows some case may find too few, now or with one fewer. Shape (P,)."""
    starts = takers.starts
    live = np.zeros(pairs, dtype=np.bool_)
    if len(starts) > 1:
        risk = np.maximum.reduceat(np.where(takers.answered, values[:, -1], 0.0), starts[:-1])
        live[takers.pair[np.repeat(risk > 0, np.diff(starts))]] = True
    return live
