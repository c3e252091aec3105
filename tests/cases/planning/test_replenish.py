"""How much of one item to keep."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import replenish
from cases.planning.kinds import PlanningError

PARTS = st.lists(st.lists(st.integers(0, 9), min_size=2, max_size=3).filter(sum), max_size=5)


@settings(deadline=None)
@given(PARTS)
def test_the_law_of_booked_demand_is_the_enumerated_one(parts: list[list[int]]) -> None:
    truth = {0: Fraction(1)}
    for part in parts:
        grown: dict[int, Fraction] = {}
        for total, p in truth.items():
            for k, weight in enumerate(part):
                grown[total + k] = grown.get(total + k, Fraction(0)) + p * Fraction(weight, sum(part))
        truth = grown
    law = replenish.demand([[w / sum(part) for w in part] for part in parts])
    assert law.tolist() == pytest.approx([float(truth.get(k, 0)) for k in range(len(law))], abs=1e-12)


@settings(deadline=None)
@given(PARTS, st.floats(0, 8), st.sampled_from([0.0, 0.5, 0.9, 0.99, 0.9999]))
def test_levels_are_the_least_that_do(parts: list[list[int]], rate: float, target: float) -> None:
    law = replenish.demand([[w / sum(part) for w in part] for part in parts], rate)
    units = replenish.level(law, target)
    assert replenish.describe(law, units).p_over <= 1 - target + 1e-12
    if units:
        assert replenish.describe(law, units - 1).p_over > 1 - target
    fill = replenish.fill_level(law, target)
    allowed = (1 - target) * replenish.mean(law)
    assert replenish.expected_short(law, fill) <= allowed + 1e-12
    if fill:
        assert replenish.expected_short(law, fill - 1) > allowed


def test_costs_choose_the_critical_fractile() -> None:
    law = replenish.demand([[0.5, 0.5], [0.5, 0.5]])
    costs = [replenish.expected_cost(law, units, 9.0, 1.0) for units in range(4)]
    assert replenish.cost_level(law, 9.0, 1.0) == costs.index(min(costs)) == 2


def test_far_tails_keep_their_digits() -> None:
    law = replenish.demand([[1 - 1e-4, 1e-4]] * 3)
    assert replenish.describe(law, 2).p_over == pytest.approx(1e-12, rel=1e-9)


def test_no_demand_needs_no_stock() -> None:
    law = replenish.demand([])
    assert law.tolist() == [1.0]
    assert replenish.level(law, 0.99) == replenish.fill_level(law, 0.99) == 0


@pytest.mark.parametrize(
    ("on_hand", "on_order", "wanted", "multiple", "order"),
    [(2, 1, 5, 1, 2), (2, 1, 5, 3, 3), (9, 0, 5, 3, 0), (0, 0, 0, 1, 0), (0, 0, 7, 5, 10)],
)
def test_an_order_fills_up_to_the_level_in_whole_multiples(
    on_hand: int, on_order: int, wanted: int, multiple: int, order: int
) -> None:
    assert replenish.suggest(on_hand, on_order, wanted, multiple) == order


def test_what_makes_no_sense_is_refused() -> None:
    for call in (
        lambda: replenish.demand([[0.5, 0.4]]),
        lambda: replenish.demand([[1.5, -0.5]]),
        lambda: replenish.demand([[1.0]], -1.0),
        lambda: replenish.poisson(float("nan")),
        lambda: replenish.level(replenish.demand([]), 1.1),
        lambda: replenish.fill_level(replenish.demand([]), -0.1),
        lambda: replenish.cost_level(replenish.demand([]), 0.0, 0.0),
        lambda: replenish.suggest(0, 0, 1, 0),
    ):
        with pytest.raises(PlanningError):
            call()


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.5, 0.9, 0.98, 0.999]), st.booleans(), st.booleans())
def test_many_items_at_once_get_the_levels_of_each_alone(
    seed: int, target: float, waste: bool, forecast: bool
) -> None:
    rng = np.random.default_rng(seed)
    one = rng.random((9, 12)) * 0.7
    two = rng.random((9, 12)) * 0.3 if waste else None
    rate = rng.random(9) * 5 if forecast else None
    found = replenish.levels(one, np.full(9, target), rate, two, width=4)
    for item in range(9):
        twice = np.zeros(12) if two is None else two[item]
        parts = [[1 - p - q, p, q] for p, q in zip(one[item], twice, strict=True)]
        law = replenish.demand(parts, 0.0 if rate is None else float(rate[item]))
        units = replenish.level(law, target)
        assert found.units[item] == units
        assert found.p_over[item] == pytest.approx(replenish.describe(law, units).p_over, rel=1e-9, abs=1e-17)


def test_far_tails_of_many_items_keep_their_digits() -> None:
    found = replenish.levels(np.full((2, 3), 1e-4), np.array([1 - 1e-11, 1 - 1e-7]), width=2)
    assert found.units.tolist() == [2, 1]
    assert found.p_over.tolist() == pytest.approx([1e-12, 3e-8 - 2e-12], rel=1e-9)


def test_many_items_are_checked_too() -> None:
    half = np.array([[0.5]])
    for call in (
        lambda: replenish.levels(np.array([[1.5]]), np.array([0.9])),
        lambda: replenish.levels(np.array([[float("nan")]]), np.array([0.9])),
        lambda: replenish.levels(half, np.array([1.1])),
        lambda: replenish.levels(half, np.array([0.9]), two=np.array([[0.6]])),
        lambda: replenish.levels(half, np.array([0.9]), np.array([-1.0])),
        lambda: replenish.levels(half, np.array([0.9]), np.array([1e4])),
    ):
        with pytest.raises(PlanningError):
            call()
