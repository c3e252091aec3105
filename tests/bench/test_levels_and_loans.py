"""Levels, budgets and loans: times beside the slower way to the same answer. Nothing here asserts a time."""

import random
from collections.abc import Sequence

import numpy as np

from cases.planning import replenish
from cases.planning.budget import best_purchase
from cases.planning.buying import Purse
from cases.planning.kinds import CaseDemand, Rule, SlotLaw
from cases.planning.loans import propose
from cases.planning.loans_cover import Action, Present
from cases.planning.misses import Draws, misses
from cases.planning.spending import spend
from cases.planning.targets import levels_for_cases
from tests.bench.conftest import median_of, tell, timed
from tests.cases.planning.shoppers import a_case, a_shop, items_of, near

ITEMS, CASES = 600, 40
LOTS = 100_000


def test_levels_of_600_items_over_40_cases() -> None:
    rng = np.random.default_rng(1)
    one, target = rng.random((ITEMS, CASES)) * 0.2, np.full(ITEMS, 0.98)
    batch = median_of(lambda: replenish.levels(one, target), 15)
    alone, units = timed(
        lambda: [replenish.level(replenish.demand([(1 - p, p) for p in row]), 0.98) for row in one]
    )
    lots, drawn = timed(lambda: (rng.random((LOTS, CASES)) < one[0]).sum(axis=1))
    print()
    tell(f"{ITEMS} items x {CASES} cases, all at once", batch)
    tell("the same one by one", alone, f"{alone / batch:.0f} times as long")
    tell(f"one item by {LOTS} draws of lots", lots, f"{lots * ITEMS / batch:.0f} times as long for all")
    assert replenish.levels(one, target).units.tolist() == units
    assert np.quantile(drawn, 0.98) <= units[0] + 1


def a_site(cases: int, items: int, slots: int = 4, sizes: int = 7) -> Draws:
    """Cases that each draw one of seven neighbouring sizes in four families."""
    rng = np.random.default_rng(2)
    families = max(1, items // (slots * 10))
    rows: dict[tuple[int, int], float] = {}
    for case in range(cases):
        family = int(rng.integers(families))
        for slot in range(slots):
            first = (family * slots + slot) * 10 + int(rng.integers(4))
            for size, weight in enumerate(rng.dirichlet(np.ones(sizes)).tolist()):
                rows[case, first + size] = weight
    keys = sorted(rows)
    case_of, item_of = (np.array([key[n] for key in keys]) for n in (0, 1))
    chance, nought = np.array([rows[key] for key in keys]), np.zeros(len(keys))
    return Draws(case_of, item_of, chance, nought, nought)


def test_levels_for_every_case_of_a_site() -> None:
    print()
    for cases, items in ((40, 200), (100, 600), (400, 600)):
        draws = a_site(cases, items)
        table = misses(draws)
        built = median_of(lambda draws=draws: misses(draws), 5)
        chosen, found = timed(lambda table=table: levels_for_cases(table, np.full(table.draws.cases, 0.05)))
        one = np.zeros((draws.items, draws.cases))
        one[draws.item, draws.case] = draws.one
        by_item = table.short(replenish.levels(one, np.full(draws.items, 0.98)).units)
        tell(f"{cases} cases, {len(draws.case)} pairs: table of misses", built)
        tell(
            "levels with which every case reaches 95 %",
            chosen,
            f"{found.units.sum()} units; with 98 % per item cases are short in up to {by_item.max():.2f}",
        )


def test_a_budget_over_a_list_and_over_a_site() -> None:
    rng = random.Random(3)
    cases = [a_case(rng, n, slots=2, sizes=3, linked=True) for n in range(3)]
    stock, offers = a_shop(rng, cases)
    every, best = timed(lambda: best_purchase(cases, stock, offers, 8.0))
    search, guess = timed(lambda: best_purchase(cases, stock, offers, 8.0, most_plans=0))
    print()
    tell(f"three cases, {best.plans} plans, every one tried", every, f"{best.value:.4f} served")
    tell("the same by the heuristic", search, f"{guess.value:.4f}, at most {guess.bound:.4f}")
    table = misses(a_site(CASES, 200))
    items = table.draws.items
    start = np.random.default_rng(4).integers(0, 4, items)
    purse = Purse(np.ones(items), np.full(items, 3), 30.0)
    whole, found = timed(lambda: spend(table, start, purse))
    tell(
        f"{CASES} cases, {items} items, 30 units to buy",
        whole,
        f"{found.before:.2f} to {found.served:.2f} served, at most {found.bound:.2f}",
    )


def a_loan_desk(
    cases: int, loans: int, *, linked: bool, sizes: int = 8, families: int = 7
) -> tuple[Sequence[CaseDemand], Sequence[Present], Sequence[Action]]:
    """Cases of four slots over seven families, six in ten items owned, loan sets of about half a family."""
    rng = random.Random(5)
    rules: tuple[Rule, ...] = (near(sizes),) if linked else ()
    booked = []
    for n in range(cases):
        family = rng.randrange(families)
        slots = tuple(
            SlotLaw(
                f"s{slot}",
                tuple(f"{family}.{slot}.{k}" for k in range(sizes)),
                tuple(float(rng.randint(1, 19)) for _ in range(sizes)),
            )
            for slot in range(4)
        )
        booked.append(CaseDemand(n, slots, rules, start=n, end=n, day=rng.randint(1, 5)))
    items = items_of(booked)
    present = [
        {item: (1.0,) for slot in case.slots for item in slot.items if rng.random() < 0.6} for case in booked
    ]
    actions = []
    for n in range(loans):
        own = [item for item in items if item.startswith(f"{n % families}.") and rng.random() < 0.6]
        actions.append(Action(f"loan {n}", "loan", float(rng.randint(50, 200)), dict.fromkeys(own, 1)))
    return booked, present, actions


def test_loans_at_least_cost() -> None:
    print()
    for cases, loans in ((6, 16), (20, 20), (40, 40)):
        for linked in (False, True):
            given = a_loan_desk(cases, loans, linked=linked)
            exact, best = timed(lambda given=given: propose(*given, 0.9))
            greedy, guess = timed(lambda given=given: propose(*given, 0.9, solver=False))
            items = len(items_of(given[0]))
            kind = "linked" if linked else "independent"
            tell(
                f"{cases} cases, {loans} loans, {items} items, {kind}",
                exact,
                f"{best.method}, cost {best.cost:.0f}, gap {best.gap:.3f}, {best.rounds} round(s)",
            )
            tell(
                "the same by the greedy", greedy, f"cost {guess.cost / max(best.cost, 1):.3f} times as great"
            )
            assert best.cost <= guess.cost + 1e-6
