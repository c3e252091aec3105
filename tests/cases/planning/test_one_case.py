"""Sets, both sides, contingencies and waste in one sum: the planner beside every outcome enumerated."""

from __future__ import annotations

import random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cases.planning.coverage import cover, missed
from cases.planning.fit import joint
from cases.planning.kinds import CaseDemand, Rule, SetNeed, SetOption, SlotLaw
from cases.planning.splitting import together
from tests.cases.planning.brute import outcomes
from tests.cases.planning.brute_lists import most, served
from tests.cases.planning.test_picking import a_case

SEEDS = st.integers(0, 10_000)


def with_contingency(seed: int) -> CaseDemand:
    """One or two sides: a femoral with a constrained family beside it, an insert of the same kind, a patella
    that both sides draw on, a set for the constrained ones only, blocks in two bands for each side."""
    rng = random.Random(seed)
    slots: list[SlotLaw] = []
    rules: list[Rule] = []
    needs: list[SetNeed] = []
    for side in ("L", "R")[: rng.randint(1, 2)]:
        at, chance = len(slots), rng.choice([0.02, 0.2])
        weights = [rng.randint(1, 9) for _ in range(2)]
        spare = tuple(chance * w for w in weights)
        items = tuple(f"{side}{family}{size}" for family in "FC" for size in (1, 2))
        slots.append(SlotLaw(f"femoral {side}", items, (*map(float, weights), *spare)))
        slots.append(SlotLaw(f"insert {side}", ("I1", "I2", "X1", "X2"), (1, 1, chance, chance)))
        if rng.random() < 0.5:
            slots.append(
                SlotLaw(f"patella {side}", ("P1", "P2"), (2, 1), use=0.5, extra=rng.choice([0, 0.1]))
            )
        rules.append(Rule(at, at + 1, frozenset((n, n) for n in range(4))))
        none = SetOption("none", ((at, frozenset({0, 1})), (at + 1, frozenset({0, 1}))))
        needs.append(SetNeed(f"constrained {side}", (none, SetOption("D7"))))
        small, large = frozenset({0, 2}), frozenset({1, 3})
        needs.append(
            SetNeed(f"blocks {side}", (SetOption("D2", ((at, small),)), SetOption("D3", ((at, large),))))
        )
    return CaseDemand(1, tuple(slots), tuple(rules), tuple(needs))


def some_counts(case: CaseDemand, seed: int) -> dict[str, int]:
    rng = random.Random(seed)
    counts = {item: rng.randint(0, n) for item, n in most(case).items()}
    return {**counts, "none": 9}


@settings(max_examples=50, deadline=None)
@given(SEEDS, SEEDS)
def test_contingencies_bands_and_both_sides_agree_with_enumeration(seed: int, shelf: int) -> None:
    case = with_contingency(seed)
    counts = some_counts(case, shelf)
    answer = cover(case, counts)
    assert answer.p_cover_high == pytest.approx(float(served(case, counts)), abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(SEEDS, SEEDS)
def test_what_a_list_misses_agrees_with_enumeration(seed: int, shelf: int) -> None:
    case = a_case(seed)
    assume(outcomes(case))
    counts = some_counts(case, shelf)
    short = together(missed(rows, counts) for rows in joint(case).rows)
    assert short == pytest.approx(1.0 - float(served(case, counts)), abs=1e-12)


@settings(max_examples=50, deadline=None)
@given(SEEDS, SEEDS)
def test_the_best_next_one_gains_what_was_said_and_no_other_gains_more(seed: int, shelf: int) -> None:
    case = with_contingency(seed)
    counts = some_counts(case, shelf)
    answer = cover(case, counts)
    now = answer.p_short_high
    gains = {
        item: now - cover(case, {**counts, item: counts.get(item, 0) + 1}).p_short_high for item in most(case)
    }
    best = max(gains.values())
    if best <= 1e-12:
        assert answer.one_more == ()
        return
    said = answer.one_more[0]
    assert gains[said.item] == pytest.approx(best, abs=1e-9)
    assert now - said.p_short_high == pytest.approx(gains[said.item], abs=1e-12)


def test_a_contingency_counts_with_its_chance_and_needs_both_its_item_and_its_set() -> None:
    slot = SlotLaw("femoral", ("F1", "C1"), (0.9, 0.1))
    none = SetOption("none", ((0, frozenset({0})),))
    case = CaseDemand(1, (slot,), (), (SetNeed("constrained", (none, SetOption("D7"))),))
    there = {"F1": 1, "C1": 1, "none": 9}
    assert cover(case, there).p_short_high == pytest.approx(0.1)
    assert cover(case, {**there, "D7": 1}).p_short_high == pytest.approx(0.0)
    assert cover(case, {"F1": 1, "none": 9, "D7": 1}).p_short_high == pytest.approx(0.1)


def test_both_sides_that_surely_draw_one_item_miss_it_if_only_one_is_there() -> None:
    case = CaseDemand(1, (SlotLaw("left", ("P1",), (1,)), SlotLaw("right", ("P1",), (1,))))
    (rows,) = joint(case).rows
    assert missed(rows, {"P1": 1}) == 1.0
    assert missed(rows, {"P1": 2}) == 0.0
