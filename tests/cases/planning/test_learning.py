"""The learnt law, the strength that is fitted, and how far other planners speak."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import learning, sizing
from cases.planning.kinds import PlanningError
from cases.planning.learning import Group, faded, fit_strength, log_marginal, posterior, spoken_for
from tests.cases.planning import learning_table

PRIOR = [0.1, 0.2, 0.4, 0.2, 0.1]
counted = st.lists(st.integers(0, 12), min_size=5, max_size=5)
grouped = st.lists(counted, min_size=1, max_size=6)
strengths = st.floats(0.02, 5000.0)


def groups_of(rows: list[list[int]]) -> list[Group]:
    return [Group(PRIOR, row) for row in rows]


def test_counts_move_the_prior() -> None:
    prior = [0.25, 0.5, 0.25]
    assert posterior(prior, [0, 0, 0], 10.0).tolist() == prior
    assert posterior(prior, [10, 0, 0], 10.0).tolist() == pytest.approx([0.625, 0.25, 0.125])


@given(st.lists(st.integers(0, 4), max_size=40), st.floats(0.01, 1.0))
def test_what_was_seen_long_ago_fades_one_outcome_at_a_time(cells: list[int], keep: float) -> None:
    counts = np.zeros(5)
    for cell in cells:
        counts *= keep
        counts[cell] += 1.0
    assert faded(cells, 5, keep).tolist() == pytest.approx(counts.tolist())


@given(counted, strengths)
def test_a_learnt_law_is_a_law_between_its_prior_and_what_was_seen(counts: list[int], alpha: float) -> None:
    law = posterior(PRIOR, counts, alpha)
    assert law.sum() == pytest.approx(1.0)
    if sum(counts):
        seen = np.array(counts) / sum(counts)
        slack = 1e-12
        assert (law >= np.minimum(PRIOR, seen) - slack).all()
        assert (law <= np.maximum(PRIOR, seen) + slack).all()


def by_gamma(rows: list[list[int]], alpha: float) -> float:
    """The log marginal likelihood as the books write it."""
    total = 0.0
    for row in rows:
        total += math.lgamma(alpha) - math.lgamma(alpha + sum(row))
        total += sum(
            math.lgamma(alpha * p + c) - math.lgamma(alpha * p) for p, c in zip(PRIOR, row, strict=True)
        )
    return total


@given(grouped, strengths)
def test_the_marginal_likelihood_is_that_of_the_gamma_functions(rows: list[list[int]], alpha: float) -> None:
    assert log_marginal(groups_of(rows), alpha) == pytest.approx(by_gamma(rows, alpha), abs=1e-7)


@settings(max_examples=60)
@given(grouped)
def test_no_other_strength_is_likelier_than_the_fitted_one(rows: list[list[int]]) -> None:
    groups = groups_of(rows)
    found = fit_strength(groups)
    if found.alpha is None:
        assert found.at == "flat"
        assert max(sum(row) for row in rows) <= 1
        return
    best = log_marginal(groups, found.alpha)
    tried = np.geomspace(learning.LEAST, learning.MOST, 200)
    assert all(log_marginal(groups, float(alpha)) <= best + 1e-9 for alpha in tried)
    if found.at == "inside":
        assert learning.LEAST < found.alpha < learning.MOST
    else:
        assert found.alpha == {"lower": learning.LEAST, "upper": learning.MOST}[found.at]


def test_the_strength_is_found_to_nine_digits_where_the_curve_is_flat_near_its_top() -> None:
    rows = learning_table.world(20.0, drift=False, seed=3)
    groups = [Group(learning_table.TABLE, np.bincount(row, minlength=7)) for row in rows]
    found = fit_strength(groups)
    assert found.at == "inside" and found.alpha is not None
    low, high = found.alpha * (1 - 1e-9), found.alpha * (1 + 1e-9)
    steps = learning._Steps.of(groups)
    assert steps.slope(math.log(low))[0] > 0 > steps.slope(math.log(high))[0]


def test_groups_that_cannot_tell_or_contradict_their_table_say_so() -> None:
    assert fit_strength([]).at == "flat"
    assert fit_strength([Group(PRIOR, [0, 0, 1, 0, 0])] * 30).at == "flat"
    assert fit_strength([Group([1.0], [9])] * 3).at == "flat"
    assert fit_strength([Group(PRIOR, [0, 0, 9, 0, 0]), Group(PRIOR, [9, 0, 0, 0, 0])]).at == "lower"
    assert fit_strength([Group(PRIOR, [1, 2, 4, 2, 1])] * 3).at == "upper"
    impossible = [Group([0.0, 1.0], [1, 1])]
    assert fit_strength(impossible) == learning.Strength(None, "impossible")
    assert log_marginal(impossible, 1.0) == -math.inf


def test_the_strength_stays_at_its_default_until_enough_groups_hold_enough() -> None:
    group = Group(PRIOR, [5, 5, 5, 3, 2])
    small = Group(PRIOR, [5, 5, 5, 3, 1])
    assert learning.strength_in_use([group] * 19 + [small] * 9) == (10.0, False)
    alpha, fitted = learning.strength_in_use([group] * 20)
    assert fitted
    assert alpha == fit_strength([group] * 20).alpha != 10.0


@given(counted, strengths)
def test_a_group_speaks_for_others_at_most_by_its_counts_and_the_less_the_more_it_strays(
    counts: list[int], alpha: float
) -> None:
    worth = spoken_for(PRIOR, counts, alpha)
    assert (worth <= np.array(counts) + 1e-12).all()
    assert (worth >= np.minimum(counts, 1) - 1e-12).all()
    assert (worth <= spoken_for(PRIOR, counts, alpha * 2) + 1e-12).all()


def test_each_further_outcome_speaks_only_as_far_as_it_was_not_foretold() -> None:
    assert spoken_for(PRIOR, [3, 0, 2, 0, 0], 10.0).tolist() == pytest.approx(
        [1 + 1 / 2 + 1 / 3, 0, 1 + 4 / 5, 0, 0]
    )


def test_groups_that_all_follow_their_table_speak_in_full() -> None:
    assert spoken_for(PRIOR, [3, 0, 7, 1, 0], 1e9).tolist() == pytest.approx([3, 0, 7, 1, 0], abs=1e-5)


@pytest.mark.parametrize(
    "call",
    [
        lambda: posterior([1, 1], [1], 1.0),
        lambda: posterior([1, 1], [1, 1], 0.0),
        lambda: posterior([1, 1], [1, -1], 1.0),
        lambda: faded([2], 2),
        lambda: faded([-1], 2),
        lambda: faded([1], 2, keep=0.0),
        lambda: Group([0.0, 0.0], [1, 1]),
        lambda: Group([0.5, 0.5], [1, 1, 1]),
        lambda: Group([0.5, 0.5], [1, 0.5]),
        lambda: Group([0.5, float("nan")], [1, 1]),
        lambda: log_marginal([], 0.0),
        lambda: spoken_for([1, 1], [1, 1], 0.0),
    ],
)
def test_what_makes_no_sense_is_refused(call: object) -> None:
    with pytest.raises(PlanningError):
        call()  # type: ignore[operator]


@pytest.mark.parametrize(("tau", "drift"), learning_table.SCENARIOS)
def test_the_fitted_strength_foretells_better_than_the_fixed_table(tau: float, drift: bool) -> None:
    """The short form of `learning_table`: one world of half the size."""
    row = learning_table.scenario(tau, drift, seed=1, groups=30, cases=160)
    for name in ("alpha fitted", "+ keep .98", "+ the others"):
        assert row.loss[name] < row.loss["fixed table"]


def test_the_true_strength_is_recovered_within_a_factor_of_one_and_a_half() -> None:
    assert learning_table.recovered(learning_table.strengths(worlds=5))


def test_a_wrong_table_is_mended_by_the_other_planners() -> None:
    """Planners alike, the table off by one size: who is new does better by the others than by the table."""
    rng = np.random.default_rng(5)
    truth = sizing.load_table([0.0, 0.01, 0.05, 0.25, 0.4, 0.24, 0.05])
    cells = np.array([rng.choice(7, size=60, p=truth) for _ in range(6)])
    counts = [np.bincount(row, minlength=7) for row in cells]
    worth = sum(spoken_for(learning_table.TABLE, one, 10.0) for one in counts[1:])
    shared = posterior(learning_table.TABLE, worth, learning.DEFAULT_STRENGTH)
    score = (counts[0] * np.log(shared)).sum(), (counts[0] * np.log(learning_table.TABLE)).sum()
    assert score[0] > score[1] + 5.0
