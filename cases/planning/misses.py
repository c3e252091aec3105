"""Which case may miss which item, for every number of units there could be.

Cases c draw in one order. Pair j says that case c_j asks for one unit of item i_j with chance `one_j`, for
two with `two_j`. With S units there, and with every earlier case taking all it asks for whether it is served
or not, W_j units are gone before it, so

    miss_j(S) = one_j P(W_j > S - 1) + two_j P(W_j > S - 2),
    P(case c is short) <= sum over its j of miss_j(S).

On every path real cases leave at least as much on the shelf (a short case takes nothing), and the sum over a
case's pairs is Bonferroni's, so the bound holds whatever joins the case's slots.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from cases.planning.kinds import PlanningError
from cases.planning.misses_pooled import NO_POOL, pooled_misses
from cases.planning.parts import Floats, Ints
from cases.planning.replenish import poissons, step

WIDEST = 4096
"""Levels that a table may have; more of one item is a sign of a wrong unit."""

FAINT = 1e-12
"""Levels end where every chance of a miss is less than this."""


@dataclass(frozen=True)
class Draws:
    """Who may ask for what, as flat arrays of shape (pairs,), sorted by the order in which cases draw.

    Parameters
    ----------
    case, item : int arrays
        Numbers from nought, of the case and of the item. One pair for each case and item.
    one, two : float arrays
        Chances that the case asks for exactly one unit, and for two, beyond what is held for it.
    unbooked : float array
        Mean of the unbooked demand (Poisson) for the item before the case draws, in units.
    pool : int array, optional
        The pool of the item that the case may take from first (see `misses_pooled`), or `NO_POOL`.
    kept : mapping of pool to units
        What is kept in each pool; a pool is of one item.

    Raises
    ------
    PlanningError
        Arrays of different lengths, chances outside 0 to 1 or a mean below nought, by case and item.
    """

    case: Ints
    item: Ints
    one: Floats
    two: Floats
    unbooked: Floats
    pool: Ints | None = None
    kept: Mapping[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        lengths = {len(one) for one in (self.case, self.item, self.one, self.two, self.unbooked)}
        if len(lengths) != 1:
            raise PlanningError("Draws are arrays of one length.")
        both = self.one + self.two
        bad = ~((self.one >= 0.0) & (self.two >= 0.0) & (both <= 1.0 + 1e-9) & (self.unbooked >= 0.0))
        if bad.any():
            j = int(np.flatnonzero(bad)[0])
            raise PlanningError(
                f"Case {self.case[j]}, item {self.item[j]}: a chance outside 0 to 1, or a mean below nought."
            )

    @cached_property
    def cases(self) -> int:
        """How many cases there are."""
        return int(self.case.max(initial=-1)) + 1

    @cached_property
    def items(self) -> int:
        """How many items there are."""
        return int(self.item.max(initial=-1)) + 1


@dataclass(frozen=True)
class Misses:
    """The chances of a miss at each number of units.

    Attributes
    ----------
    draws : Draws
    chance : float array, shape (pairs, width)
        miss_j(S) for S = 0, 1, …, width - 1 units; does not rise with S. Beyond the width it is taken as at
        its last column, which is less than `FAINT`, or nought.
    """

    draws: Draws
    chance: Floats

    @property
    def width(self) -> int:
        """Levels that are told apart."""
        return int(self.chance.shape[1])

    def at(self, units: npt.NDArray[np.int64]) -> Floats:
        """miss_j for so many units of each item (items,); shape (pairs,)."""
        column = np.minimum(units[self.draws.item], self.width - 1)
        return np.asarray(self.chance[np.arange(len(column)), column], dtype=np.float64)

    def short(self, units: npt.NDArray[np.int64]) -> Floats:
        """P(short) of each case, at most; shape (cases,). May exceed 1, as sums of chances do."""
        return self.sums(self.at(units))

    def sums(self, chances: Floats) -> Floats:
        """Per case the sum over its pairs of an array (pairs,)."""
        return np.bincount(self.draws.case, weights=chances, minlength=self.draws.cases).astype(np.float64)


def misses(draws: Draws) -> Misses:
    """Work out every chance of a miss.

    Parameters
    ----------
    draws : Draws

    Returns
    -------
    Misses

    Raises
    ------
    PlanningError
        An item of which more than `WIDEST` units could be asked for at once.

    Notes
    -----
    Pairs of one rank among their item's are taken together, so the cost is (most pairs of an item) array
    steps of width · items each, plus one Poisson for each pair. Tails are summed from the small end.

    Examples
    --------
    >>> nought = np.zeros(2)
    >>> two = Draws(np.array([0, 1]), np.array([0, 0]), np.array([0.5, 0.2]), nought, nought)
    >>> misses(two).chance.tolist()
    [[0.5, 0.0, 0.0], [0.2, 0.1, 0.0]]
    """
    order, ranks, width = _layout(draws)
    law = np.zeros((width, draws.items))
    law[:1] = 1.0
    beyond = np.zeros(draws.items)
    before = np.empty((width, len(order)))
    gone = np.empty(len(order))
    for now in ranks:
        own = draws.item[now]
        before[:, now], gone[now] = law[:, own], beyond[own]
        law[:, own], beyond[own] = step(law[:, own], beyond[own], draws.one[now], draws.two[now])
    _add_unbooked(before, gone, draws.unbooked)
    # at_least[S] = P(W >= S), from the small end.
    at_least = np.cumsum(np.concatenate((gone[None], before[::-1])), axis=0)[::-1]
    lacks_two = np.concatenate((at_least[:1], at_least[:-2]))
    chance = np.ascontiguousarray((draws.one * at_least[:-1] + draws.two * lacks_two).T)
    _put_pooled(draws, chance)
    return Misses(draws, chance)


def _put_pooled(draws: Draws, chance: Floats) -> None:
    """Work out, in place, the rows of the items that have pools."""
    if draws.pool is None:
        return
    for item in np.unique(draws.item[draws.pool != NO_POOL]).tolist():
        own = np.flatnonzero(draws.item == item)
        pool = draws.pool[own]
        kept = {number: draws.kept[number] for number in set(pool.tolist()) - {NO_POOL}}
        chance[own] = pooled_misses(
            pool, draws.one[own], draws.two[own], draws.unbooked[own], kept, chance.shape[1]
        )


def _layout(draws: Draws) -> tuple[Ints, list[Ints], int]:
    """Pairs by item in their order, the same by rank among their item's, and the width needed."""
    order = np.argsort(draws.item, kind="stable").astype(np.int64)
    counts = np.bincount(draws.item, minlength=draws.items)
    first = np.concatenate(([0], np.cumsum(counts)[:-1])) if draws.items else np.zeros(0, dtype=np.int64)
    rank = np.arange(len(order)) - first[draws.item[order]]
    ranks = [order[rank == r] for r in range(int(counts.max(initial=0)))]
    return order, ranks, _width(draws)


def _width(draws: Draws) -> int:
    """Levels up to the most that can be asked for of any item, or up to where hardly more is."""

    def per_item(weights: Floats) -> Floats:
        return np.bincount(draws.item, weights=weights, minlength=draws.items).astype(np.float64)

    unbooked = np.zeros(draws.items)
    np.maximum.at(unbooked, draws.item, draws.unbooked)
    most = per_item(np.where(draws.two > 0, 2.0, np.where(draws.one > 0, 1.0, 0.0)))
    most[unbooked > 0] = np.inf
    mean = per_item(draws.one + 2.0 * draws.two) + unbooked
    twice = per_item(draws.two) > 0
    widths = [1]
    for largest, own in ((1.0, ~twice), (2.0, twice)):
        if own.any():
            widths.append(int(min(most[own].max(), _reach(float(mean[own].max()), largest))) + 1)
    if max(widths) > WIDEST:
        raise PlanningError(f"Item {int(mean.argmax())}: more than {WIDEST} units may be asked for.")
    return max(widths)


def _reach(mean: float, largest: float) -> int:
    """Units that a sum of independent parts, none above `largest`, exceeds with a chance less than `FAINT`.

    Chernoff's bound: P(sum >= k) <= exp(-mean / largest) (e mean / k)^(k / largest).
    """
    if mean <= 0.0:
        return 0
    k = math.ceil(mean) + 1
    while k <= WIDEST and k - mean + k * math.log(mean / k) > largest * math.log(FAINT):
        k += 1
    return k


def _add_unbooked(before: Floats, gone: Floats, means: Floats) -> None:
    """Convolve, in place, the laws of the pairs that have unbooked demand before them with its Poisson."""
    some = np.flatnonzero(means > 0)
    if not len(some):
        return
    width = len(before)
    extra, far = poissons(means[some], width)
    law, total = before[:, some], np.zeros((width, len(some)))
    lost = gone[some] + far * law.sum(axis=0)
    tail = np.cumsum(law[::-1], axis=0)[::-1]
    for k in range(width):
        total[k:] += extra[k] * law[: width - k]
        if k:
            lost += extra[k] * tail[width - k]
    before[:, some], gone[some] = total, lost
