"""Levels with which every case reaches its target, and what an item's own target leaves."""

from __future__ import annotations

import random
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import replenish
from cases.planning.kinds import CaseDemand, PlanningError, Shelf, SlotLaw
from cases.planning.misses import Draws, misses
from cases.planning.sharing import assess
from cases.planning.spending import draws_of
from cases.planning.targets import levels_for_cases
from tests.cases.planning.shoppers import a_case


@settings(deadline=None, max_examples=40)
@given(st.randoms(use_true_random=False), st.sampled_from([0.2, 0.05, 0.01]), st.booleans())
def test_every_case_reaches_its_target_by_the_exact_sums(
    rng: random.Random, allowed: float, linked: bool
) -> None:
    cases = [a_case(rng, n, linked=linked, extra=0.05) for n in range(3)]
    items, draws = draws_of(cases)
    found = levels_for_cases(misses(draws), np.full(3, allowed))
    shelf = Shelf.plain(dict(zip(items, found.units.tolist(), strict=True)))
    for answer, at_most in zip(assess(cases, shelf), found.short.tolist(), strict=True):
        assert answer.p_short_high <= at_most + 1e-12 <= allowed + 1e-11


@settings(deadline=None, max_examples=25)
@given(st.randoms(use_true_random=False), st.sampled_from([0.3, 0.1, 0.02]))
def test_no_unit_is_there_in_vain_and_seldom_one_too_many(rng: random.Random, allowed: float) -> None:
    _, draws = draws_of([a_case(rng, n, slots=1, sizes=4) for n in range(3)])
    table = misses(draws)
    limit = np.full(3, allowed)
    units = levels_for_cases(table, limit).units
    for item in np.flatnonzero(units).tolist():
        less = units.copy()
        less[item] -= 1
        assert (table.short(less) > limit).any()
    able = [
        sum(plan)
        for plan in product(range(4), repeat=4)
        if (table.short(np.array(plan)) <= limit + 1e-12).all()
    ]
    assert min(able) <= units.sum() <= min(able) + 1


@pytest.mark.parametrize(("seed", "allowed"), [(9, 0.2), (16, 0.2), (58, 0.1), (90, 0.05)])
def test_on_a_busy_site_too_there_is_no_unit_in_vain(seed: int, allowed: float) -> None:
    rng = random.Random(seed)
    _, draws = draws_of([a_case(rng, n, slots=2, sizes=7, family=rng.randrange(3)) for n in range(12)])
    table = misses(draws)
    limit = np.full(12, allowed)
    units = levels_for_cases(table, limit).units
    for item in np.flatnonzero(units).tolist():
        less = units.copy()
        less[item] -= 1
        assert (table.short(less) > limit).any()


def test_an_items_own_target_is_too_weak_for_a_case_of_four_slots() -> None:
    """Each item at 98 % of its own demand: cases miss far more often. The cases' own target is kept."""
    rng = np.random.default_rng(7)
    cases = [
        CaseDemand(
            n,
            tuple(
                SlotLaw(
                    f"s{s}", tuple(f"{s}.{k}" for k in range(7)), tuple(rng.dirichlet(np.ones(7)).tolist())
                )
                for s in range(4)
            ),
            start=n,
            end=n,
        )
        for n in range(12)
    ]
    _items, draws = draws_of(cases)
    table = misses(draws)
    one = np.zeros((draws.items, 12))
    one[draws.item, draws.case] = draws.one
    each = replenish.levels(one, np.full(draws.items, 0.98))
    by_item = table.short(each.units)
    by_case = levels_for_cases(table, np.full(12, 0.02))
    assert by_item[-1] > 0.05
    assert (by_case.short <= 0.02 + 1e-11).all()
    assert by_case.units.sum() > each.units.sum()


def test_what_can_still_be_ordered_later_is_not_bought_yet_but_its_share_is_kept() -> None:
    case, item = np.array([0, 1, 1]), np.array([0, 0, 1])
    chance, nought = np.array([0.5, 0.5, 0.5]), np.zeros(3)
    table = misses(Draws(case, item, chance, nought, nought))
    found = levels_for_cases(table, np.array([0.1, 0.1]), put_off=np.array([False, True, False]))
    assert found.in_the_end.tolist() == [2, 1]
    assert found.units.tolist() == [1, 1]


def test_a_case_that_takes_two_is_not_helped_by_one() -> None:
    nought = np.zeros(1)
    table = misses(Draws(np.array([0]), np.array([0]), nought, np.array([0.9]), nought))
    assert levels_for_cases(table, np.array([0.05])).units.tolist() == [2]
    assert levels_for_cases(table, np.array([0.95])).units.tolist() == [0]


def test_what_is_kept_anyway_is_kept_and_dear_items_are_spared() -> None:
    chance, nought = np.array([0.1, 0.1]), np.zeros(2)
    table = misses(Draws(np.array([0, 0]), np.array([0, 1]), chance, nought, nought))
    either = levels_for_cases(table, np.array([0.15]), cost=np.array([9.0, 1.0]))
    assert either.units.tolist() == [0, 1]
    assert levels_for_cases(table, np.array([0.15]), least=np.array([3, 0])).units.tolist() == [3, 0]


def test_a_case_that_is_allowed_nothing_is_refused() -> None:
    nought = np.zeros(1)
    table = misses(Draws(np.array([0]), np.array([0]), np.array([0.5]), nought, nought))
    with pytest.raises(PlanningError, match="allowed some chance"):
        levels_for_cases(table, np.zeros(1))
    with pytest.raises(PlanningError, match="above nought"):
        levels_for_cases(table, np.ones(1), cost=np.zeros(1))
