"""Budgets: every plan where there are few, a heuristic under a proven bound where there are many."""

from __future__ import annotations

import random
from itertools import product
from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import ceiling, spending
from cases.planning.budget import Offer, affordable, best_purchase
from cases.planning.buying import Purse
from cases.planning.kinds import CaseDemand, PlanningError, Rule, SetNeed, SetOption, Shelf, SlotLaw
from cases.planning.misses import misses
from cases.planning.sharing import serve_list
from cases.planning.spending import AtLeast, draws_of, spend
from cases.planning.spending_programme import linear_ceiling
from cases.planning.worth import WholeList
from tests.cases.planning.shoppers import a_case, a_shop

Aim = Literal["served", "all"]
AIMS: tuple[Aim, ...] = ("served", "all")


def a_list(rng: random.Random) -> list[CaseDemand]:
    linked = rng.random() < 0.5
    return [a_case(rng, n, linked=linked, extra=rng.choice([0.0, 0.1])) for n in range(3)]


@settings(deadline=None, max_examples=25)
@given(st.randoms(use_true_random=False))
def test_many_shelves_side_by_side_are_worth_what_each_is_alone(rng: random.Random) -> None:
    cases = a_list(rng)
    whole = WholeList.of(cases)
    shelves = np.array([[rng.randint(0, 2) for _ in whole.items] for _ in range(5)])
    worth = whole.worth(shelves)
    for n, shelf in enumerate(shelves.tolist()):
        alone = serve_list(cases, Shelf.plain(dict(zip(whole.items, shelf, strict=True))))
        assert worth.served[n] == pytest.approx(3 - alone.exp_short, abs=1e-12)
        assert worth.p_all[n] == pytest.approx(alone.p_all, abs=1e-12)


@settings(deadline=None, max_examples=12)
@given(st.randoms(use_true_random=False), st.integers(2, 9), st.sampled_from(AIMS))
def test_the_heuristic_never_beats_every_plan_nor_passes_its_bound(
    rng: random.Random, budget: int, aim: Aim
) -> None:
    cases = a_list(rng)
    stock, offers = a_shop(rng, cases)
    best = best_purchase(cases, stock, offers, float(budget), aim=aim)
    guess = best_purchase(cases, stock, offers, float(budget), aim=aim, most_plans=0)
    assert (best.every_plan, guess.every_plan) == (True, False)
    assert best.gap == 0.0
    assert guess.before - 1e-12 <= guess.value <= best.value + 1e-12
    assert best.value <= guess.bound + 1e-9
    assert max(best.cost, guess.cost) <= budget
    most = {offer.item: offer.most for offer in offers}
    assert all(n <= most[item] for item, n in (*best.adds, *guess.adds))


def test_the_heuristic_seldom_falls_short_and_never_by_all() -> None:
    rng, low = random.Random(11), 0
    for turn in range(14):
        cases = a_list(rng)
        stock, offers = a_shop(rng, cases)
        aim, budget = AIMS[turn % 2], float(rng.randint(3, 9))
        best = best_purchase(cases, stock, offers, budget, aim=aim)
        guess = best_purchase(cases, stock, offers, budget, aim=aim, most_plans=0)
        low += guess.value < best.value - 1e-9
        assert guess.value > 0.5 * best.value or best.value == 0.0
    assert low <= 2


def test_three_empty_slots_are_filled_together() -> None:
    slots = tuple(SlotLaw(f"s{n}", (f"I{n}",), (1,)) for n in range(3))
    offers = [Offer(f"I{n}", 1.0, 1) for n in range(3)] + [Offer("other", 1.0, 3)]
    for plans in (0, 100):
        found = best_purchase([CaseDemand(1, slots)], {}, offers, 3.0, most_plans=plans)
        assert (found.value, found.cost) == (1.0, 3.0)


def test_nothing_is_bought_that_adds_nothing() -> None:
    case = CaseDemand(1, (SlotLaw("s", ("A", "B"), (1, 0)),))
    found = best_purchase([case], {"A": 1}, [Offer("A", 1.0, 5), Offer("B", 1.0, 5)], 9.0)
    assert (found.adds, found.cost, found.value) == ((), 0.0, 1.0)


def test_an_impossible_case_is_never_served() -> None:
    bad = CaseDemand(1, (SlotLaw("a", ("A",), (1,)), SlotLaw("b", ("B",), (1,))), (Rule(0, 1, frozenset()),))
    good = CaseDemand(2, (SlotLaw("a", ("A",), (1,)),), start=1, end=1)
    for plans in (0, 100):
        found = best_purchase(
            [bad, good], {}, [Offer("A", 1.0, 2), Offer("B", 1.0, 1)], 5.0, most_plans=plans
        )
        assert found.value == 1.0
    items, draws = draws_of([bad, good])
    there = np.array([5 if item else 0 for item in items])
    assert AtLeast(misses(draws), there).worth(np.zeros_like(there)) == 1.0


def test_a_long_list_is_valued_by_a_bound_and_says_so() -> None:
    rng = random.Random(4)
    cases = [a_case(rng, n, slots=4, sizes=7) for n in range(12)]
    stock, offers = a_shop(rng, cases, 5)
    found = best_purchase(cases, stock, offers, 12.0)
    assert (found.every_plan, found.exact_value, found.plans) == (False, False, 0)
    assert found.before < found.value <= found.bound <= 12.0
    truth = serve_list(cases, Shelf.plain({i: stock[i] + dict(found.adds).get(i, 0) for i in stock}))
    assert found.value <= 12 - truth.exp_short + 1e-9 or not truth.exact


def test_affordable_plans_are_all_of_them_or_none_of_them() -> None:
    purse = Purse(np.array([2.0, 3.0]), np.array([2, 2]), 7.0)
    plans = affordable(purse, 100)
    assert plans is not None
    assert plans.tolist() == [list(p) for p in product(range(3), repeat=2) if 2 * p[0] + 3 * p[1] <= 7]
    assert affordable(purse, 3) is None
    assert affordable(Purse(np.ones(40), np.full(40, 10**9), 50.0), 1000) is None


@pytest.mark.parametrize("solver", [True, False])
@settings(deadline=None, max_examples=20)
@given(rng=st.randoms(use_true_random=False))
def test_spending_is_the_best_of_all_plans_by_its_own_count(solver: bool, rng: random.Random) -> None:
    cases = [a_case(rng, n, slots=2, sizes=2) for n in range(4)]
    items, draws = draws_of(cases)
    table = misses(draws)
    start = np.array([rng.randint(0, 2) for _ in items])
    purse = Purse(
        np.array([float(rng.randint(1, 3)) for _ in items]), np.full(len(items), 2), float(rng.randint(1, 8))
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(spending, "installed", lambda: solver)
        found = spend(table, start, purse)
    plans = affordable(purse, 10**5)
    assert plans is not None
    value = AtLeast(table, start)
    best = max(value.worth(plan) for plan in plans)
    assert found.solver == solver
    assert found.served <= best + 1e-9 <= found.bound + 2e-9 + 2e-6
    assert best <= linear_ceiling(table, start, purse) + 1e-9
    assert purse.price(found.plan) == pytest.approx(found.cost) and found.cost <= purse.budget
    if solver:
        assert found.exact and found.served == pytest.approx(best, abs=1e-5)


@settings(deadline=None, max_examples=20)
@given(st.randoms(use_true_random=False), st.booleans())
def test_moves_asked_in_one_go_are_worth_what_they_are_one_by_one(rng: random.Random, together: bool) -> None:
    items, draws = draws_of([a_case(rng, n) for n in range(4)])
    value = AtLeast(misses(draws), np.array([rng.randint(0, 2) for _ in items]), together=together)
    plan = np.array([rng.randint(0, 1) for _ in items])
    moves = [((n, 1),) for n in range(len(items))]
    moves += [((0, 1), (3, 2)), ((1, -1 if plan[1] else 1), (4, 1), (5, 1))]
    for move, worth in zip(moves, value.after(plan, moves).tolist(), strict=True):
        moved = plan.copy()
        for item, n in move:
            moved[item] += n
        assert worth == pytest.approx(value.worth(moved), abs=1e-12)


def test_without_the_solver_the_ceiling_is_each_case_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = random.Random(2)
    cases = a_list(rng)
    stock, offers = a_shop(rng, cases)
    with_solver = best_purchase(cases, stock, offers, 4.0, most_plans=0)
    monkeypatch.setattr(ceiling, "installed", lambda: False)
    without = best_purchase(cases, stock, offers, 4.0, most_plans=0)
    assert with_solver.value <= with_solver.bound <= without.bound + 1e-9 <= 3.0 + 1e-9


def test_the_ceiling_knows_that_one_purse_cannot_mend_two_cases() -> None:
    """Each takes one unit of its own item, or two; one of each is there, and one more can be bought."""
    cases = [
        CaseDemand(n, (SlotLaw("s", (f"I{n}",), (1,), use=0.2, extra=0.5),), start=n, end=n) for n in (1, 2)
    ]
    offers = [Offer(f"I{n}", 1.0, 1) for n in (1, 2)]
    found = best_purchase(cases, {"I1": 1, "I2": 1}, offers, 1.0, most_plans=0)
    assert found.value == pytest.approx(1.9)
    assert 1.9 <= found.bound <= 1.951


def test_nonsense_is_refused() -> None:
    case = CaseDemand(1, (SlotLaw("s", ("A",), (1,)),))
    needy = CaseDemand(1, case.slots, needs=(SetNeed("set", (SetOption("D"),)),))
    for call in (
        lambda: Offer("A", 0.0, 1),
        lambda: Offer("A", float("nan"), 1),
        lambda: Offer("A", 1.0, -1),
        lambda: best_purchase([case], {}, [], -1.0),
        lambda: best_purchase([case], {}, [Offer("A", 1.0, 1), Offer("A", 2.0, 1)], 1.0),
        lambda: best_purchase([needy], {}, [], 1.0),
        lambda: draws_of([needy]),
    ):
        with pytest.raises(PlanningError):
            call()
