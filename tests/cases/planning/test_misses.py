"""The chances that a case misses an item, at every number of units."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import replenish
from cases.planning.kinds import PlanningError, Shelf
from cases.planning.misses import Draws, misses
from cases.planning.misses_pooled import NO_POOL
from cases.planning.sharing import assess
from cases.planning.spending import draws_of
from tests.cases.planning.shoppers import a_case


def some_draws(rng: random.Random, cases: int, items: int) -> Draws:
    pairs = [(c, i) for c in range(cases) for i in range(items) if rng.random() < 0.7] or [(0, 0)]
    one = [rng.random() * 0.6 for _ in pairs]
    two = [rng.random() * 0.3 * (rng.random() < 0.5) for _ in pairs]
    unbooked = [rng.random() * 2 * (rng.random() < 0.5) for _ in pairs]
    case, item = zip(*pairs, strict=True)
    return Draws(np.array(case), np.array(item), np.array(one), np.array(two), np.array(unbooked))


@settings(deadline=None, max_examples=60)
@given(st.randoms(use_true_random=False))
def test_each_miss_is_the_one_of_the_convolved_law(rng: random.Random) -> None:
    draws = some_draws(rng, 5, 3)
    table = misses(draws)
    for j in range(len(draws.case)):
        earlier = [k for k in range(j) if draws.item[k] == draws.item[j]]
        parts = [[1 - draws.one[k] - draws.two[k], draws.one[k], draws.two[k]] for k in earlier]
        law = replenish.demand(parts, float(draws.unbooked[j]))
        for units in range(table.width):
            wanted = draws.one[j] * law[units:].sum() + draws.two[j] * law[max(0, units - 1) :].sum()
            assert table.chance[j, units] == pytest.approx(wanted, abs=1e-12)
    assert table.chance[:, -1].max() < 1e-9


@settings(deadline=None, max_examples=40)
@given(st.randoms(use_true_random=False))
def test_units_kept_for_a_pool_serve_its_cases_first_whoever_comes(rng: random.Random) -> None:
    n = rng.randint(2, 4)
    one = np.array([rng.random() * 0.6 for _ in range(n)])
    two = np.array([rng.random() * 0.4 * (rng.random() < 0.5) for _ in range(n)])
    pool = np.array([rng.choice([NO_POOL, 0, 1]) for _ in range(n)])
    kept = {0: rng.randint(0, 3), 1: rng.randint(0, 2)}
    draws = Draws(np.arange(n), np.zeros(n, dtype=np.int64), one, two, np.zeros(n), pool, kept)
    table = misses(draws)
    for units in range(table.width):
        truth = [0.0] * n
        for taken in itertools.product(range(3), repeat=n):
            chance = float(np.prod([(1 - p - q, p, q)[k] for p, q, k in zip(one, two, taken, strict=True)]))
            left, free = dict(kept), units
            for case, asked in enumerate(taken):
                own = min(asked, left.get(int(pool[case]), 0))
                if own:
                    left[int(pool[case])] -= own
                free -= asked - own
                truth[case] += chance * (asked > own and free < 0)
        assert table.chance[:, units].tolist() == pytest.approx(truth, abs=1e-12)


@settings(deadline=None, max_examples=30)
@given(st.randoms(use_true_random=False), st.booleans())
def test_their_sum_is_never_less_than_the_chance_of_short(rng: random.Random, linked: bool) -> None:
    cases = [a_case(rng, n, linked=linked, extra=0.1) for n in range(3)]
    items, draws = draws_of(cases)
    there = np.array([rng.randint(0, 3) for _ in items])
    at_most = misses(draws).short(there)
    truth = assess(cases, Shelf.plain(dict(zip(items, there.tolist(), strict=True))))
    for bound, answer in zip(at_most.tolist(), truth, strict=True):
        assert answer.exact
        assert answer.p_short_high <= bound + 1e-12


def test_no_draws_and_draws_of_nothing() -> None:
    none = np.zeros(0, dtype=np.int64)
    empty = misses(Draws(none, none, np.zeros(0), np.zeros(0), np.zeros(0)))
    assert empty.chance.shape == (0, 1)
    assert empty.short(none).tolist() == []
    nothing = misses(Draws(np.array([0]), np.array([0]), np.zeros(1), np.zeros(1), np.zeros(1)))
    assert nothing.chance.tolist() == [[0.0]]


def test_what_is_no_chance_is_refused_by_case_and_item() -> None:
    one, nought = np.array([0.5, 1.5]), np.zeros(2)
    with pytest.raises(PlanningError, match="Case 1, item 3"):
        Draws(np.array([0, 1]), np.array([3, 3]), one, nought, nought)
    with pytest.raises(PlanningError, match="Case 0, item 0"):
        Draws(np.array([0]), np.array([0]), np.array([float("nan")]), np.zeros(1), np.zeros(1))
    with pytest.raises(PlanningError, match="one length"):
        Draws(np.array([0]), np.array([0]), one, nought, nought)
    with pytest.raises(PlanningError, match="Case 0, item 0"):
        Draws(np.array([0]), np.array([0]), np.array([0.5]), np.zeros(1), np.array([-1.0]))
