"""From a prediction to chances per size."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.planning import sizing
from cases.planning.kinds import PlanningError


@given(
    st.lists(st.integers(0, 50), min_size=3, max_size=7).filter(lambda w: len(w) % 2 == 1 and sum(w) > 0),
    st.integers(1, 6),
    st.data(),
)
def test_mass_beyond_an_end_is_folded_on_to_it(weights: list[int], n: int, data: st.DataObject) -> None:
    low = data.draw(st.integers(0, n - 1))
    high = data.draw(st.integers(low, n - 1))
    expected = [Fraction(0)] * n
    for m in range(low, high + 1):
        for cell, weight in enumerate(weights):
            size = min(max(m + cell - len(weights) // 2, 0), n - 1)
            expected[size] += Fraction(weight, sum(weights) * (high - low + 1))
    found = sizing.spread(low, high, weights, n)
    assert found.tolist() == pytest.approx([float(p) for p in expected], abs=1e-12)
    assert found.sum() == pytest.approx(1.0, abs=1e-12)


def test_weights_of_a_range_are_kept() -> None:
    assert sizing.spread(1, 2, [0, 1, 0], 4, weights=[3, 1]).tolist() == [0, 0.75, 0.25, 0]


def test_a_confidence_puts_just_that_chance_on_the_range() -> None:
    found = sizing.spread(2, 3, [1, 2, 4, 2, 1], 6, confidence=0.9)
    assert found[2:4].tolist() == pytest.approx([0.45, 0.45])
    assert found.sum() == pytest.approx(1.0)
    plain = sizing.spread(2, 3, [1, 2, 4, 2, 1], 6)
    assert found[1] / found[0] == pytest.approx(plain[1] / plain[0])
    assert sizing.spread(0, 1, [1, 2, 1], 2, confidence=0.8).tolist() == [0.5, 0.5]
    assert sizing.spread(0, 0, [1, 2, 1], 1).tolist() == [1.0]


def test_tables_are_lifted_to_a_floor_and_sum_to_one() -> None:
    table = sizing.load_table([0, 1, 3])
    assert table.tolist() == pytest.approx(np.array([0.005, 0.25, 0.75]) / 1.005)
    for prior in sizing.PRIORS.values():
        assert len(prior.offsets) == 7
        assert sum(prior.offsets) == pytest.approx(1.0, abs=0.006)  # as printed, to three places
        assert sizing.load_table(prior.offsets).min() > 0.0049
        assert prior.source


@pytest.mark.parametrize(
    "call",
    [
        lambda: sizing.spread(2, 1, [1], 5),
        lambda: sizing.spread(0, 5, [1], 5),
        lambda: sizing.spread(0, 0, [1, 1], 5),
        lambda: sizing.spread(0, 0, [-1, 2, 0], 5),
        lambda: sizing.spread(0, 0, [0, 0, 0], 5),
        lambda: sizing.spread(0, 1, [1], 5, weights=[1]),
        lambda: sizing.spread(0, 1, [1], 5, confidence=0.0),
        lambda: sizing.load_table([1, 2]),
        lambda: sizing.load_table([float("nan")]),
    ],
)
def test_what_makes_no_sense_is_refused(call: object) -> None:
    with pytest.raises(PlanningError):
        call()  # type: ignore[operator]
