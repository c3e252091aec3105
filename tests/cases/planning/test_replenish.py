"""How much of one item to keep."""

from __future__ import annotations

from fractions import Fraction

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
