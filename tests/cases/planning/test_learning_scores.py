"""Scores of predictions, each made before its outcome."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.planning.kinds import PlanningError
from cases.planning.learning import faded, posterior
from cases.planning.learning_scores import predicted, prequential

PRIOR = [0.1, 0.2, 0.4, 0.2, 0.1]
seen = st.lists(st.integers(0, 4), max_size=25)


@given(seen, st.floats(0.5, 100), st.floats(0.5, 1.0))
def test_each_law_rests_on_the_outcomes_before_it_alone(cells: list[int], alpha: float, keep: float) -> None:
    laws = predicted(PRIOR, cells, alpha, keep)
    assert laws.shape == (len(cells), 5)
    for n, law in enumerate(laws):
        assert law.tolist() == pytest.approx(posterior(PRIOR, faded(cells[:n], 5, keep), alpha).tolist())


def test_scores_by_hand() -> None:
    found = prequential([0.5, 0.25, 0.25], [[1, 0]], alpha=1.0)
    # Foretold: (.5, .25, .25), then with one of the middle: (.25, .625, .125).
    assert found.predictive.tolist() == [0.25, 0.25]
    assert found.log_score == pytest.approx(2 * math.log(0.25))
    assert found.brier_mean == pytest.approx(((0.25 + 0.5625 + 0.0625) + (0.5625 + 0.390625 + 0.015625)) / 2)
    assert found.rps_mean == pytest.approx(((0.25 + 0.0625) + (0.5625 + 0.015625)) / 2)
    assert found.posterior[0].tolist() == pytest.approx([1.5 / 3, 1.25 / 3, 0.25 / 3])


def test_what_had_no_chance_is_counted_and_not_averaged() -> None:
    found = prequential([0.0, 1.0], [[1, 0, 0]], alpha=1.0)
    assert found.impossible == 1
    assert math.isfinite(found.log_score)
    assert math.isfinite(found.rps_mean)


@given(st.lists(seen, max_size=4))
def test_reliability_rows_hold_every_chance_that_was_given(groups: list[list[int]]) -> None:
    found = prequential(PRIOR, groups, alpha=5.0, keep=0.98)
    outcomes = sum(len(one) for one in groups)
    assert found.reliability[:, 0].sum() == outcomes * 5
    assert found.reliability[:, 1].sum() == pytest.approx(outcomes)
    assert found.reliability[:, 2].sum() == outcomes


def test_no_outcome_has_no_mean() -> None:
    found = prequential(PRIOR, [], alpha=5.0)
    assert found.predictive.size == 0
    assert found.log_score == 0.0
    assert math.isnan(found.brier_mean)
    assert math.isnan(found.rps_mean)


def test_an_edge_belongs_to_the_bin_above_it() -> None:
    found = prequential([0.5, 0.5], [[0]], alpha=1.0, bins=(0.0, 0.5, 1.0))
    assert found.reliability[:, 0].tolist() == [0, 2]
    certain = prequential([0.0, 1.0], [[1]], alpha=1.0, bins=(0.0, 0.5, 1.0))
    assert certain.reliability[:, 0].tolist() == [1, 1]


@pytest.mark.parametrize(
    "call",
    [
        lambda: prequential(PRIOR, [[5]], alpha=1.0),
        lambda: prequential(PRIOR, [[1]], alpha=0.0),
        lambda: prequential(PRIOR, [[1]], alpha=1.0, keep=1.5),
        lambda: prequential([0, 0], [[1]], alpha=1.0),
        lambda: predicted([np.nan, 1], [], 1.0, 1.0),
    ],
)
def test_what_makes_no_sense_is_refused(call: object) -> None:
    with pytest.raises(PlanningError):
        call()  # type: ignore[operator]
