"""How many of one item must be there: the law of its demand, and the least level that answers it.

Demand = booked cases (each nought, one or two) + unbooked demand, Poisson. Laws are arrays over whole
units, shape (n,); chances are pure numbers. Levels are least whole numbers, with `SLACK` of grace.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cases.planning.kinds import SLACK, PlanningError

Floats = npt.NDArray[np.float64]

# The Poisson's law is cut where less than this is left beyond.
TAIL = 1e-18

MOST_MEAN = 300.0
"""The greatest mean of a Poisson demand among many items at once: beyond it lies another kind of planning."""


@dataclass(frozen=True, slots=True)
class Level:
    """A level and what it is worth: chance that all demand is met, and that some is not (apart)."""

    units: int
    p_met: float
    p_over: float
    expected_short: float


def poisson(mean: float) -> Floats:
    """The law of a Poisson demand, cut where under `TAIL` lies beyond; shape (n,).

    Raises PlanningError for a mean that is negative or not finite.
    """
    if not (math.isfinite(mean) and mean >= 0.0):
        raise PlanningError("A rate of demand is nought or more.")
    if mean == 0.0:
        return np.ones(1)
    top = math.ceil(mean + 12.0 * math.sqrt(mean) + 30.0)
    k = np.arange(top + 1, dtype=np.float64)
    factorials = np.concatenate(([0.0], np.cumsum(np.log(np.arange(1, top + 1)))))
    law = np.exp(k * math.log(mean) - mean - factorials)
    kept = int(np.flatnonzero(law > TAIL)[-1]) + 1
    return np.asarray(law[:kept], dtype=np.float64)


def demand(parts: Sequence[Sequence[float] | Floats], rate: float = 0.0) -> Floats:
    """The law of a sum of independent parts and a Poisson demand of mean `rate`.

    Parameters
    ----------
    parts : each the chances of 0, 1, 2, … units, summing to 1; a Bernoulli is (1 - p, p).
    rate : mean of the unbooked demand, in units over the same time.

    Returns
    -------
    (n,) chances of 0, 1, … units.

    Raises
    ------
    PlanningError
        For a part that is no law, or a rate below nought.
    """
    law = poisson(rate)
    for part in parts:
        one = np.asarray(part, dtype=np.float64)
        if one.ndim != 1 or one.size == 0 or not np.isfinite(one).all() or (one < 0).any():
            raise PlanningError("A case's demand must be chances of nought or more.")
        if abs(float(one.sum()) - 1.0) > 1e-9:
            raise PlanningError("The chances of a case's demand must sum to 1.")
        law = np.convolve(law, one)
    return law


def over(law: Floats) -> Floats:
    """P(demand > S) for S = 0, 1, …, n - 1, each summed from the small end; shape (n,)."""
    tails = np.cumsum(law[::-1])[::-1]
    return np.append(tails[1:], 0.0)


def beyond(law: Floats, units: int) -> Floats:
    """The law of what is left of a demand after so many units; shape (n,) to (max(n - units, 1),)."""
    if units <= 0:
        return law
    left = law[units:].copy() if units < law.size else np.zeros(1)
    left[0] = law[: units + 1].sum()
    return left


def mean(law: Floats) -> float:
    """Expected demand, in units."""
    return float(np.dot(np.arange(law.size), law))


def expected_short(law: Floats, units: int) -> float:
    """Expected units of demand above a level: the sum of P(demand > k) from the level on."""
    return float(np.sum(over(law)[units:][::-1]))


def level(law: Floats, target: float) -> int:
    """Ready rate: the least S with P(demand <= S) >= target.

    Compared on the short side, with `SLACK`. Raises PlanningError for a target outside 0 to 1.
    """
    if not 0.0 <= target <= 1.0:
        raise PlanningError("A target lies between 0 and 1.")
    return int(np.flatnonzero(over(law) <= 1.0 - target + SLACK)[0])


def describe(law: Floats, units: int) -> Level:
    """What a level is worth against a law of demand."""
    beyond = float(over(law)[units]) if units < law.size else 0.0
    met = float(np.sum(law[: units + 1]))
    return Level(units, met, beyond, expected_short(law, units))


def fill_level(law: Floats, target: float) -> int:
    """Fill rate: the least S with E(demand - S)+ <= (1 - target) E demand; 0 where nothing is expected."""
    if not 0.0 <= target <= 1.0:
        raise PlanningError("A target lies between 0 and 1.")
    expected = mean(law)
    if expected == 0.0:
        return 0
    tails = over(law)
    # shorts[S] = sum of tails from S on
    shorts = np.append(np.cumsum(tails[::-1])[::-1], 0.0)
    return int(np.flatnonzero(shorts <= (1.0 - target) * expected + SLACK)[0])


def cost_level(law: Floats, short_cost: float, over_cost: float) -> int:
    """Least S with P(demand <= S) >= cu / (cu + co): costs per unit short and per unit left over."""
    if short_cost < 0 or over_cost < 0 or short_cost + over_cost <= 0:
        raise PlanningError("Costs are nought or more, and not both nought.")
    return level(law, short_cost / (short_cost + over_cost))


def expected_cost(law: Floats, units: int, short_cost: float, over_cost: float) -> float:
    """over_cost E(S - demand)+ + short_cost E(demand - S)+."""
    short = expected_short(law, units)
    left = units - mean(law) + short
    return over_cost * left + short_cost * short


def suggest(on_hand: int, on_order: int, wanted: int, multiple: int = 1) -> int:
    """Units to order to reach a level, rounded up to whole order multiples; 0 where enough is there.

    Raises PlanningError for a multiple below 1.
    """
    if multiple < 1:
        raise PlanningError("An order multiple is at least 1.")
    missing = max(0, wanted - on_hand - on_order)
    return -(-missing // multiple) * multiple


@dataclass(frozen=True, slots=True)
class Levels:
    """Levels of many items at once; all arrays have shape (items,).

    Attributes
    ----------
    units : the least level that meets each item's target.
    p_over : chance that demand exceeds it, summed from the small end.
    """

    units: npt.NDArray[np.int64]
    p_over: Floats


def step(law: Floats, beyond: Floats, one: Floats, two: Floats | None = None) -> tuple[Floats, Floats]:
    """Many items' laws after one more part each.

    Parameters
    ----------
    law : (width, items) chances of 0, 1, …, width - 1 units.
    beyond : (items,) chance of `width` units or more, kept apart so that it keeps its digits.
    one, two : (items,) chances that the part asks for one, and for two; `two` nought if left out.

    Returns
    -------
    The two arrays after it, new ones.
    """
    none = 1.0 - one if two is None else 1.0 - one - two
    new = law * none
    new[1:] += law[:-1] * one
    lost = law[-1] * one
    if two is not None:
        new[2:] += law[:-2] * two
        lost = lost + law[-2:].sum(axis=0) * two
    return new, beyond + lost


def poissons(means: Floats, width: int) -> tuple[Floats, Floats]:
    """Poisson laws of many means, cut at a width: (width, items), and what lies beyond, (items,)."""
    if not (np.isfinite(means).all() and (means >= 0.0).all()):
        raise PlanningError("A rate of demand is nought or more.")
    if (means > MOST_MEAN).any():
        raise PlanningError(f"An unbooked demand of more than {MOST_MEAN:.0f} units has no law here.")
    top = max(width, math.ceil(float(means.max(initial=0.0)) * 2.0 + 60.0))
    law = np.empty((top, len(means)))
    law[0] = np.exp(-means)
    for k in range(1, top):
        law[k] = law[k - 1] * means / k
    return law[:width], law[: width - 1 : -1].sum(axis=0)


def levels(
    one: Floats, target: Floats, rate: Floats | None = None, two: Floats | None = None, *, width: int = 24
) -> Levels:
    """Ready-rate levels of many items at once, as `level` gives them one by one.

    Parameters
    ----------
    one, two : (items, cases) chances that a case asks for one unit, and for two.
    target : (items,) chance wanted that all demand is met.
    rate : (items,) mean of the unbooked Poisson demand over the same time; up to `MOST_MEAN`.
    width : levels tried first; doubled as long as an item needs a higher one.

    Raises
    ------
    PlanningError
        Chances outside 0 to 1 or adding up to more, a target outside 0 to 1, or a rate that is no rate.

    Notes
    -----
    cases · width · items multiplications, in place of as many laws. Mass beyond the width is added up apart.

    Examples
    --------
    >>> found = levels(np.array([[0.5, 0.5], [0.1, 0.0]]), np.array([0.7, 0.95]))
    >>> found.units.tolist(), found.p_over.tolist()
    ([1, 1], [0.25, 0.0])
    """
    rate = np.zeros(len(one)) if rate is None else rate
    _check_many(one, two, target)
    while True:
        law, beyond = poissons(rate, width)
        for case in range(one.shape[1]):
            law, beyond = step(law, beyond, one[:, case], None if two is None else two[:, case])
        # From the small end: what lies beyond, then the greatest demands first.
        over_each = np.cumsum(np.concatenate((beyond[None], law[:0:-1])), axis=0)[::-1]
        enough = over_each <= 1.0 - target + SLACK
        if enough.any(axis=0).all():
            units = enough.argmax(axis=0)
            return Levels(units.astype(np.int64), over_each[units, np.arange(len(units))])
        width *= 2


def _check_many(one: Floats, two: Floats | None, target: Floats) -> None:
    both = one if two is None else one + two
    parts = (one, both) if two is None else (one, two, both)
    for part in parts:
        if not (np.isfinite(part).all() and (part >= 0.0).all() and (part <= 1.0 + SLACK).all()):
            raise PlanningError("The chances that a case asks for units lie between 0 and 1.")
    if not ((target >= 0.0) & (target <= 1.0)).all():
        raise PlanningError("A target lies between 0 and 1.")
