"""Errors of two slots of one case that go together: how far, and what that makes of their joint law.

What each slot's law says by itself is left as it is; one number, the odds ratio of Plackett's distribution,
says how far they go together: 1 not at all, above 1 large with large. For every cut of the one and of the
other scale it is the same:

    odds = P(both below) P(both above) / (P(first below only) P(second below only)).

So one number is learnt from few cases, where a table of all pairs of errors would need hundreds (Plackett
1965, doi:10.1080/01621459.1965.10480807; for ordered responses Dale 1986, doi:10.2307/2530704).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.kinds import PlanningError
from cases.planning.learning import Floats, Ints, indices
from cases.planning.sizing import chances

ENOUGH_CASES = 50
"""Fewer cases than this do not decide whether errors go together."""

_LOG_ODDS = np.linspace(-3.0, 5.0, 33)
ODDS = np.exp(_LOG_ODDS)
"""The odds ratios that are weighed against each other, shape (33,)."""

# Before any case: most likely independent; a standard deviation of 1.5 on the logarithm.
_BEFORE = -0.5 * (_LOG_ODDS / 1.5) ** 2
_BEFORE = _BEFORE - np.log(np.exp(_BEFORE).sum())

_LEAST = 1e-18


@dataclass(frozen=True, eq=False)
class Association:
    """What the cases say of two slots' errors.

    Attributes
    ----------
    cases : how many had both errors on file.
    gain : prequential log score of the errors together, less that of each by itself, summed over the cases,
        in nats. Above nought: they are better foretold together.
    weights : (33,) chance of each of `ODDS` after these cases.
    """

    cases: int
    gain: float
    weights: Floats

    @property
    def used(self) -> bool:
        """If and only if it foretold better, over enough cases."""
        return self.cases >= ENOUGH_CASES and self.gain > 0.0

    @property
    def odds(self) -> float:
        """The odds ratio in the middle of its weights, on the scale of logarithms."""
        return float(np.exp(self.weights @ _LOG_ODDS))


def associate(
    laws_a: Floats, laws_b: Floats, cells_a: Sequence[int] | Ints, cells_b: Sequence[int] | Ints
) -> Association:
    """Whether two slots' errors are better foretold together than each by itself.

    Parameters
    ----------
    laws_a, laws_b : (n, ka) and (n, kb): each slot's law as it stood before the case (`learning_scores.
        predicted`).
    cells_a, cells_b : (n,) what happened.

    Returns
    -------
    Association

    Raises
    ------
    PlanningError
        For numbers of cases that differ, or a cell outside its table.

    Notes
    -----
    The joint law is a mixture over `ODDS` that each case weighs anew, so the sum over the cases of the log of
    what was foretold is the log of the mixture of the whole run: no order, no loop.
    """
    if not len(laws_a) == len(laws_b) == len(cells_a) == len(cells_b):
        raise PlanningError("Errors go in pairs: as many of the one slot as of the other.")
    first, a_low, a_high = _bounds(laws_a, cells_a)
    second, b_low, b_high = _bounds(laws_b, cells_b)
    odds = ODDS[:, None]
    together = (
        _below(a_high, b_high, odds)
        - _below(a_low, b_high, odds)
        - _below(a_high, b_low, odds)
        + _below(a_low, b_low, odds)
    )
    ratio = np.log(np.maximum(together, _LEAST)) - np.log(np.maximum(first * second, _LEAST))
    scores = _BEFORE + ratio.sum(axis=1)
    top = float(scores.max())
    weights = np.exp(scores - top)
    gain = top + float(np.log(weights.sum()))
    return Association(len(cells_a), gain, weights / weights.sum())


def together(law_a: Floats, law_b: Floats, association: Association) -> Floats:
    """The joint law of two slots' ordered outcomes whose own laws are given.

    Parameters
    ----------
    law_a, law_b : (na,) and (nb,) chances of the sizes, in order.
    association : how far they go together.

    Returns
    -------
    (na, nb) chances; rows sum to `law_a`, columns to `law_b`.

    Raises
    ------
    PlanningError
        For a law that is none.
    """
    u = _upto(chances(law_a, "A size law")[None, :])[0]
    v = _upto(chances(law_b, "A size law")[None, :])[0]
    below = _below(u[None, :, None], v[None, None, :], ODDS[:, None, None])
    mixed = np.tensordot(association.weights, below, axes=1)
    return np.asarray(np.maximum(np.diff(np.diff(mixed, axis=0), axis=1), 0.0), dtype=np.float64)


def factors(law_a: Floats, law_b: Floats, association: Association) -> Floats:
    """By how much each pair of sizes is likelier than if the two slots were independent.

    Returns
    -------
    (na, nb) `together` over the product of the laws; 1 where the product is nought. For the `weight` of a
    `kinds.Rule`.
    """
    alone = np.outer(chances(law_a, "A size law"), chances(law_b, "A size law"))
    both = together(law_a, law_b, association)
    return np.divide(both, alone, out=np.ones_like(both), where=alone > 0)


def _bounds(laws: Floats, cells: Sequence[int] | Ints) -> tuple[Floats, Floats, Floats]:
    """Per case the chance of what happened, and of less, and of no more; shapes (n,)."""
    rows = np.asarray(laws, dtype=np.float64)
    if rows.ndim != 2 or not np.isfinite(rows).all() or (rows < 0).any():
        raise PlanningError("Laws before each case are rows of chances.")
    seen = indices(cells, rows.shape[1])
    upto, number = _upto(rows), np.arange(seen.size)
    return rows[number, seen], upto[number, seen], upto[number, seen + 1]


def _upto(laws: Floats) -> Floats:
    """Cumulative chances with nought before and exactly 1 at the end, shape (n, k + 1)."""
    sums = np.concatenate([np.zeros((len(laws), 1)), laws.cumsum(axis=1)], axis=1)
    sums[:, -1] = 1.0
    return np.asarray(np.minimum(sums, 1.0), dtype=np.float64)


def _below(u: Floats, v: Floats, odds: Floats) -> Floats:
    """P(first below u, second below v); in the form that does not cancel near odds of 1."""
    s = 1.0 + (odds - 1.0) * (u + v)
    root = np.sqrt(np.maximum(s * s - 4.0 * u * v * odds * (odds - 1.0), 0.0))
    return np.asarray(2.0 * u * v * odds / (s + root), dtype=np.float64)
