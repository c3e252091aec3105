"""How good predictions were, judged before each outcome was known (prequential scores)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.kinds import PlanningError
from cases.planning.learning import Floats, Ints, check_keep, faded, indices, posterior
from cases.planning.sizing import chances

RELIABILITY_BINS = (0.0, 0.0307, 0.1103, 0.3109, 0.5711, 0.8317, 1.0)
"""Edges of the rows of `Scores.reliability`; an edge belongs to the bin above it, 1 to the last."""


@dataclass(frozen=True, eq=False)
class Scores:
    """What came of predicting every outcome from those before it.

    Attributes
    ----------
    predictive : (n,) chance that was given to what happened, group by group.
    log_score : sum of their logarithms (nats, at most 0), those of chance nought left out; see `impossible`.
    impossible : how many outcomes had been given no chance at all: each scores minus infinity, so it is
        counted and not averaged.
    brier_mean : mean of sum over cells (P - happened)^2, 0 to 2; nan for no outcome.
    rps_mean : mean ranked probability score, the sum over cells but the last of (cumulative P - cumulative
        happened)^2 (errors are ordered); nan for no outcome.
    reliability : (bins, 3) rows of pairs, sum of P, happened, over all cells of all outcomes.
    posterior : per group the law after its last outcome, (k,).
    """

    predictive: Floats
    log_score: float
    impossible: int
    brier_mean: float
    rps_mean: float
    reliability: Floats
    posterior: tuple[Floats, ...]


def predicted(
    prior: Sequence[float] | Floats, cells: Sequence[int] | Ints, alpha: float, keep: float
) -> Floats:
    """The law of each outcome of a group as it stood before it happened.

    Parameters
    ----------
    prior : (k,) chances. cells : (n,) what happened, oldest first. alpha, keep : see `learning`.

    Returns
    -------
    (n, k) chances; row t rests on the first t outcomes, the newest of them counting 1, the one before it
    `keep`, and so on.
    """
    law = chances(prior, "A prior")
    if not (np.isfinite(alpha) and alpha > 0):
        raise PlanningError("The strength of a prior lies above 0.")
    check_keep(keep)
    seen = indices(cells, law.size).tolist()
    counts, rows = [0.0] * law.size, []
    for cell in seen:
        rows.append(counts)
        counts = [count * keep for count in counts]
        counts[cell] += 1.0
    before = np.array(rows, dtype=np.float64).reshape(len(seen), law.size)
    return np.asarray((alpha * law + before) / (alpha + before.sum(axis=1, keepdims=True)), dtype=np.float64)


def prequential(
    prior: Sequence[float] | Floats,
    groups: Sequence[Sequence[int]],
    *,
    alpha: float,
    keep: float = 1.0,
    bins: Sequence[float] = RELIABILITY_BINS,
) -> Scores:
    """Score every outcome by the law that the outcomes before it (of its own group) gave.

    Parameters
    ----------
    prior : (k,) chances, the same for all groups.
    groups : cells that happened, oldest first.
    alpha : strength of the prior, above 0. keep : what is kept of earlier outcomes, in (0, 1].
    bins : rising edges from 0 to 1 of the reliability rows.

    Returns
    -------
    Scores

    Raises
    ------
    PlanningError
        For a cell outside the table, or a prior, strength or `keep` that makes no sense.

    Notes
    -----
    Proper scores: Gneiting and Raftery 2007, doi:10.1198/016214506000001437.
    """
    law = chances(prior, "A prior")
    laws = np.concatenate([np.zeros((0, law.size)), *(predicted(law, one, alpha, keep) for one in groups)])
    cells = np.concatenate([np.zeros(0, dtype=np.int64), *(indices(one, law.size) for one in groups)])
    happened = np.zeros_like(laws)
    happened[np.arange(cells.size), cells] = 1.0
    given = laws[np.arange(cells.size), cells]
    possible = given[given > 0]
    off = laws - happened
    ranked = off.cumsum(axis=1)[:, :-1]
    return Scores(
        predictive=given,
        log_score=float(np.log(possible).sum()),
        impossible=int(given.size - possible.size),
        brier_mean=_mean((off**2).sum(axis=1)),
        rps_mean=_mean((ranked**2).sum(axis=1)),
        reliability=_reliability(laws.ravel(), happened.ravel(), bins),
        posterior=tuple(posterior(law, faded(one, law.size, keep), alpha) for one in groups),
    )


def _mean(values: Floats) -> float:
    return float(values.mean()) if values.size else math.nan


def _reliability(given: Floats, happened: Floats, bins: Sequence[float]) -> Floats:
    rows = len(bins) - 1
    where = np.clip(np.searchsorted(np.asarray(bins), given, side="right") - 1, 0, rows - 1)
    columns = [
        np.bincount(where, weights=one, minlength=rows) for one in (np.ones_like(given), given, happened)
    ]
    return np.stack(columns, axis=1)
