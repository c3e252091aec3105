"""Errors of two slots that go together, and what a rule's weights make of the joint law."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.planning import fit
from cases.planning.kinds import CaseDemand, PlanningError, Rule, SlotLaw
from cases.planning.learning_pairs import (
    ENOUGH_CASES,
    ODDS,
    Association,
    associate,
    factors,
    together,
)
from tests.cases.planning.learning_table import TABLE

laws = st.lists(st.integers(0, 20), min_size=1, max_size=9).filter(any).map(lambda w: np.array(w) / sum(w))
places = st.integers(0, len(ODDS) - 1)


def certain_of(place: int) -> Association:
    weights = np.zeros(len(ODDS))
    weights[place] = 1.0
    return Association(100, 1.0, weights)


def errors(correlation: float, cases: int, seed: int = 1) -> np.ndarray:
    """Errors of two slots, as cells of the table, (cases, 2): cut from two normals that go together."""
    rng = np.random.default_rng(seed)
    drawn = rng.standard_normal((cases, 2))
    drawn[:, 1] = correlation * drawn[:, 0] + math.sqrt(1 - correlation**2) * drawn[:, 1]
    upto = np.vectorize(NormalDist().cdf)(drawn)
    return np.minimum(np.searchsorted(TABLE.cumsum(), upto), TABLE.size - 1)


def found_for(cells: np.ndarray) -> Association:
    foretold = np.repeat(TABLE[None, :], len(cells), axis=0)
    return associate(foretold, foretold, cells[:, 0], cells[:, 1])


@given(laws, laws, places)
def test_what_each_slot_says_by_itself_is_left_as_it_is(a: np.ndarray, b: np.ndarray, place: int) -> None:
    both = together(a, b, certain_of(place))
    assert (both >= 0).all()
    assert both.sum(axis=1).tolist() == pytest.approx(a.tolist(), abs=1e-9)
    assert both.sum(axis=0).tolist() == pytest.approx(b.tolist(), abs=1e-9)


@given(laws.filter(lambda p: len(p) > 1), laws.filter(lambda p: len(p) > 1), places)
def test_the_odds_are_the_same_at_every_cut(a: np.ndarray, b: np.ndarray, place: int) -> None:
    both = together(a, b, certain_of(place))
    for i in range(1, len(a)):
        for j in range(1, len(b)):
            quarters = both[:i, :j].sum(), both[i:, j:].sum(), both[:i, j:].sum(), both[i:, :j].sum()
            if min(quarters) > 1e-3:
                odds = quarters[0] * quarters[1] / (quarters[2] * quarters[3])
                assert odds == pytest.approx(ODDS[place], rel=1e-6)


@given(laws, laws)
def test_odds_of_one_are_independence(a: np.ndarray, b: np.ndarray) -> None:
    (one,) = np.flatnonzero(np.isclose(ODDS, 1.0))
    assert np.allclose(factors(a, b, certain_of(int(one))), 1.0)


def test_errors_that_go_together_are_found_and_used() -> None:
    found = found_for(errors(0.8, 120))
    assert found.used
    assert found.gain > 20
    assert found.odds > 5
    rise = factors(TABLE, TABLE, found)
    assert rise[4, 4] > 1 > rise[4, 2]


def test_fewer_than_fifty_cases_decide_nothing() -> None:
    cells = errors(0.8, ENOUGH_CASES)
    few, enough = found_for(cells[:-1]), found_for(cells)
    assert few.gain > 0
    assert not few.used
    assert enough.used


def test_errors_that_are_independent_are_left_so() -> None:
    found = [found_for(errors(0.0, 300, seed)) for seed in range(12)]
    assert sum(one.used for one in found) <= 3
    assert sum(one.gain for one in found) < 0
    assert all(0.3 < one.odds < 3 for one in found)


def test_the_gain_is_what_foretelling_case_by_case_would_add_up_to() -> None:
    """Prequential: before each case the odds are weighed by the cases before it only."""
    cells = errors(0.6, 40)
    total = 0.0
    for n in range(len(cells)):
        before = found_for(cells[:n])
        both = together(TABLE, TABLE, before)
        i, j = cells[n]
        total += math.log(both[i, j] / (TABLE[i] * TABLE[j]))
    assert found_for(cells).gain == pytest.approx(total, abs=1e-9)


def test_no_case_leaves_the_first_belief() -> None:
    found = associate(np.zeros((0, 7)), np.zeros((0, 7)), [], [])
    assert found.gain == pytest.approx(0.0)
    assert not found.used


def a_case(rules: tuple[Rule, ...], use: float = 1.0) -> CaseDemand:
    slots = (
        SlotLaw("femoral", ("F1", "F2"), (0.5, 0.5)),
        SlotLaw("tibial", ("T1", "T2"), (0.5, 0.5), use=use),
    )
    return CaseDemand(1, slots, rules)


ALL = frozenset((i, j) for i in range(2) for j in range(2))


@pytest.mark.parametrize("turned", [False, True])
def test_the_weights_of_a_rule_multiply_the_chances_of_its_pairs(turned: bool) -> None:
    weight = ((2.0, 0.5), (1.0, 1.0))
    if turned:
        weight = tuple(zip(*weight, strict=True))
    a, b = (1, 0) if turned else (0, 1)
    law = fit.joint(a_case((Rule(a, b, ALL, weight=weight),)))
    (part,) = law.parts
    chances = {(int(i), int(j)): p for (i, j), p in zip(part.rows, part.p, strict=True)}
    assert chances == pytest.approx({(0, 0): 2 / 4.5, (0, 1): 0.5 / 4.5, (1, 0): 1 / 4.5, (1, 1): 1 / 4.5})


def test_an_unused_slot_is_not_weighed() -> None:
    law = fit.joint(a_case((Rule(0, 1, ALL, weight=((2.0, 2.0), (2.0, 2.0))),), use=0.5))
    (part,) = law.parts
    unused = part.p[part.rows[:, 1] == -1].sum()
    assert unused == pytest.approx(0.5 / (0.5 + 2.0 * 0.5))


@pytest.mark.parametrize(
    "weight", [((1.0, 1.0),), ((1.0,), (1.0,)), ((1.0, -1.0), (1.0, 1.0)), ((math.nan,),)]
)
def test_weights_that_do_not_fit_the_slots_are_refused(weight: tuple[tuple[float, ...], ...]) -> None:
    with pytest.raises(PlanningError):
        a_case((Rule(0, 1, ALL, weight=weight),))


@pytest.mark.parametrize(
    "call",
    [
        lambda: associate(np.ones((2, 3)) / 3, np.ones((1, 3)) / 3, [0, 0], [0]),
        lambda: associate(np.ones((1, 3)) / 3, np.ones((1, 3)) / 3, [3], [0]),
        lambda: associate(np.full((1, 3), np.nan), np.ones((1, 3)) / 3, [0], [0]),
        lambda: together([0, 0], [1], certain_of(0)),
    ],
)
def test_what_makes_no_sense_is_refused(call: object) -> None:
    with pytest.raises(PlanningError):
        call()  # type: ignore[operator]
