"""The shortest list for a target: no shorter one reaches it, whatever is tried."""

from __future__ import annotations

import heapq
import math
import random
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cases.planning import leaving, picking, units
from cases.planning.bringing import BY_NUMBER, Costs
from cases.planning.coverage import cover
from cases.planning.kinds import CaseDemand, PlanningError, Rule, SetNeed, SetOption, SlotLaw
from tests.cases.planning.brute_lists import best_list, most, served
from tests.cases.planning.worlds import random_world

FEMUR = SlotLaw("femoral", ("F1", "F2", "F3", "F4", "F5", "F6"), (1, 3, 60, 30, 5, 1))
SEEDS = st.integers(0, 10_000)
TARGETS = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 1.0])


def a_case(seed: int) -> CaseDemand:
    """Linked or not, both sides or not, sets that serve bands and may stand in for one another."""
    case = random_world(seed)[0][0]
    return CaseDemand(1, case.slots, case.rules, case.needs)


def some_shelf(case: CaseDemand, seed: int) -> dict[str, int]:
    """All that the case may ask for, less a little here and there."""
    rng = random.Random(seed)
    return {i: n if rng.random() < 0.6 else rng.randint(0, n) for i, n in most(case).items()}


def some_costs(case: CaseDemand, seed: int) -> Costs:
    rng = random.Random(seed)
    items = {item for slot in case.slots for item in slot.items}
    sets = {option.item for need in case.needs for option in need.options}
    return Costs(
        {item: (rng.randint(1, 3), rng.randint(1, 3)) for item in sorted(items)},
        {item: rng.randint(0, 3) for item in sorted(sets)},
    )


def wasteful(case: CaseDemand) -> bool:
    return any(slot.extra for slot in case.slots)


def small(case: CaseDemand) -> bool:
    return math.prod(n + 1 for n in most(case).values()) <= 700


# No shorter list


@settings(max_examples=40, deadline=None)
@given(SEEDS, TARGETS, st.booleans())
def test_no_cheaper_list_reaches_the_target(seed: int, target: float, by_number: bool) -> None:
    case = a_case(seed)
    there = some_shelf(case, seed)
    assume(small(case) and served(case, there) > 0)
    costs = BY_NUMBER if by_number else some_costs(case, seed)
    found = picking.shortest(case, target, available=there, sets=there, costs=costs)
    cost, best, full = best_list(case, target, there, costs)
    if found.proven:
        assert found.cost == cost
        assert found.p_short == pytest.approx(float(1 - best), abs=1e-12) or wasteful(case)
    # Only second units in several slots leave a doubt: their losses are added up.
    assert found.proven or wasteful(case)
    assert 0 <= found.cost - cost <= found.gap
    assert float(served(case, dict((*found.units, *found.sets)))) == pytest.approx(
        1 - found.p_short, abs=1e-12
    )
    assert found.reached == (float(full) >= target - 1e-9)


def by_gain(case: CaseDemand, target: float) -> int:
    """How many items a list has that grows by the greatest gain: best for independent slots of equal cost."""
    rest = [sorted(w / sum(slot.weights) for w in slot.weights) for slot in case.slots]
    sums = [1.0 - slot.use if slot.use < 1 else rest[s].pop() for s, slot in enumerate(case.slots)]
    n = sum(slot.use >= 1 for slot in case.slots)

    def gain(s: int) -> tuple[float, int]:
        return -math.log1p(case.slots[s].use * rest[s][-1] / sums[s]), s

    queue = [gain(s) for s, ranked in enumerate(rest) if ranked]
    heapq.heapify(queue)
    while math.prod(sums) < target - 1e-12:
        _, s = heapq.heappop(queue)
        sums[s] += case.slots[s].use * rest[s].pop()
        n += 1
        if rest[s]:
            heapq.heappush(queue, gain(s))
    return n


@settings(max_examples=60, deadline=None)
@given(SEEDS, st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_independent_slots_need_what_adding_by_gain_needs(seed: int, target: float) -> None:
    rng = random.Random(seed)
    slots = tuple(_slot(rng, s) for s in range(rng.randint(1, 4)))
    case = CaseDemand(1, slots)
    found = picking.shortest(case, target)
    assert found.proven
    assert found.cost == by_gain(case, target)


def _slot(rng: random.Random, s: int) -> SlotLaw:
    n = rng.randint(2, 9)
    weights = tuple(rng.uniform(0.01, 1.0) ** 3 for _ in range(n))
    return SlotLaw(f"slot {s}", tuple(f"{s}:{i}" for i in range(n)), weights, use=rng.choice([1.0, 1.0, 0.6]))


@settings(max_examples=30, deadline=None)
@given(SEEDS, TARGETS)
def test_the_order_of_independent_slots_changes_nothing(seed: int, target: float) -> None:
    rng = random.Random(seed)
    slots = [_slot(rng, s) for s in range(4)]
    turned = list(slots)
    rng.shuffle(turned)
    one = picking.shortest(CaseDemand(1, tuple(slots)), target)
    two = picking.shortest(CaseDemand(1, tuple(turned)), target)
    assert sorted(one.units) == sorted(two.units)
    assert one.cost == two.cost
    assert one.p_short == pytest.approx(two.p_short, abs=1e-12)


# Plain examples


def test_the_likeliest_of_one_slot_come_first() -> None:
    assert picking.shortest(CaseDemand(1, (FEMUR,)), 0.9).units == (("F3", 1), ("F4", 1))
    assert picking.shortest(CaseDemand(1, (FEMUR,)), 0.0).units == ()
    assert len(picking.shortest(CaseDemand(1, (FEMUR,)), 1.0).units) == 6


def test_equal_chances_give_the_same_list_every_time_lowest_rank_first() -> None:
    even = CaseDemand(1, (SlotLaw("even", ("A", "B", "C", "D"), (1, 1, 1, 1)),))
    assert picking.shortest(even, 0.5).units == (("A", 1), ("B", 1))


def test_a_target_met_to_the_last_bit_is_met() -> None:
    law = SlotLaw("slot", ("A", "B", "C", "D"), (0.9, 0.05, 0.04, 0.01))
    assert len(picking.shortest(CaseDemand(1, (law,)), 0.99).units) == 3


def test_linked_slots_leave_out_what_goes_together() -> None:
    insert = SlotLaw("insert", tuple(f"I{n}" for n in range(1, 7)), (1,) * 6)
    same = Rule(0, 1, frozenset((n, n) for n in range(6)))
    best = picking.shortest(CaseDemand(1, (FEMUR, insert), (same,)), 0.9)
    assert [item for item, _ in best.units] == ["F3", "F4", "I3", "I4"]


def test_a_second_unit_is_listed_where_waste_would_break_the_target() -> None:
    wasteful = CaseDemand(1, (replace(FEMUR, extra=0.1),))
    assert picking.shortest(wasteful, 0.8).units == (("F3", 1), ("F4", 1))
    assert picking.shortest(wasteful, 0.85).units == (("F3", 2), ("F4", 1))


def test_a_set_that_only_rare_sizes_need_is_left_out_with_them() -> None:
    need = SetNeed(
        "blocks",
        (SetOption("small", ((0, frozenset({0, 1, 2, 3})),)), SetOption("large", ((0, frozenset({4, 5})),))),
    )
    case = CaseDemand(1, (FEMUR,), (), (need,))
    assert picking.shortest(case, 0.9).sets == (("small", 1),)
    both = picking.shortest(case, 0.95)
    assert both.sets == (("small", 1), ("large", 1))
    assert "F5" in dict(both.units)


def test_one_set_for_all_sizes_stands_in_for_two() -> None:
    need = SetNeed(
        "sizer",
        (
            SetOption("small", ((0, frozenset({0, 1, 2})),)),
            SetOption("large", ((0, frozenset({3, 4, 5})),)),
            SetOption("every"),
        ),
    )
    case = CaseDemand(1, (FEMUR,), (), (need,))
    assert picking.shortest(case, 0.95).sets == (("every", 1),)
    dear = Costs(sets={"every": 5})
    assert picking.shortest(case, 0.95, costs=dear).sets == (("small", 1), ("large", 1))
    assert not picking.shortest(case, 0.95, sets={"small": 1}).reached


def test_both_sides_share_what_one_of_them_may_draw() -> None:
    law = ("P1", "P2", "P3"), (2.0, 96.0, 2.0)
    case = CaseDemand(1, (SlotLaw("left", *law), SlotLaw("right", *law)))
    assert picking.shortest(case, 0.98).units == (("P1", 1), ("P2", 2), ("P3", 1))


def test_a_contingency_comes_only_for_a_target_above_its_chance() -> None:
    plain = tuple(f"F{n}" for n in range(3))
    family = SlotLaw("femoral", (*plain, "C0", "C1", "C2"), (19, 57, 19, 1, 3, 1))
    need = SetNeed("more constrained", (SetOption("none", ((0, frozenset({0, 1, 2})),)), SetOption("spare")))
    case = CaseDemand(1, (family,), (), (need,))
    costs = Costs(sets={"none": 0})
    loose = picking.shortest(case, 0.94, costs=costs)
    assert (loose.units, loose.sets) == (tuple((item, 1) for item in plain), (("none", 1),))
    strict = picking.shortest(case, 0.97, costs=costs)
    assert ("C1", 1) in strict.units
    assert ("spare", 1) in strict.sets


def test_dear_units_are_left_out_first() -> None:
    even = SlotLaw("even", ("A", "B", "C", "D"), (26, 25, 25, 24))
    costs = Costs({"A": (3,)})
    assert picking.shortest(CaseDemand(1, (even,)), 0.7, costs=costs).units == (("B", 1), ("C", 1), ("D", 1))


def test_where_the_shelf_cannot_give_the_target_it_is_asked_for_the_same_share() -> None:
    there = {item: 1 for item in FEMUR.items if item != "F3"}
    best = picking.shortest(CaseDemand(1, (FEMUR,)), 0.9, available=there)
    assert not best.reached
    assert best.p_short == pytest.approx(1 - 0.38)
    assert [item for item, _ in best.units] == ["F2", "F4", "F5"]


# Cut short


def linked() -> CaseDemand:
    slots = (FEMUR, SlotLaw("tibial", tuple(f"T{n}" for n in range(6)), (2, 5, 40, 40, 10, 3)))
    near = Rule(0, 1, frozenset((i, j) for i in range(6) for j in range(6) if abs(i - j) < 3))
    return CaseDemand(1, slots, (near,))


def test_a_search_cut_short_says_by_how_much_it_may_be_too_long(monkeypatch: pytest.MonkeyPatch) -> None:
    exact = [picking.shortest(linked(), target) for target in (0.6, 0.8, 0.9)]
    monkeypatch.setattr(leaving, "MOST_STATES", 1)
    monkeypatch.setattr(leaving, "LEAST_STATES", 1)
    for target, best in zip((0.6, 0.8, 0.9), exact, strict=True):
        quick = picking.shortest(linked(), target)
        assert best.proven
        assert 0 <= quick.cost - best.cost <= quick.gap
        assert quick.p_short <= 1 - target + 1e-12


@pytest.mark.parametrize("seed", range(0, 40, 2))
def test_a_case_too_large_to_list_still_gets_a_list_that_reaches_the_target(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = a_case(seed)
    if cover(case, {}).impossible:
        return
    exact = picking.shortest(case, 0.9)
    monkeypatch.setattr(units, "MOST_LISTED", 0)
    summed = picking.shortest(case, 0.9)
    assert 0 <= summed.cost - exact.cost <= summed.gap
    assert summed.p_short <= 0.1 + 1e-9 or not summed.reached
    real = float(served(case, dict((*summed.units, *summed.sets))))
    assert real == pytest.approx(1 - summed.p_short, abs=1e-12)


def test_more_choices_of_sets_than_are_tried_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(picking, "MOST_SET_TRIALS", 1)
    need = SetNeed("blocks", (SetOption("one", ((0, frozenset({2, 3})),)), SetOption("other")))
    best = picking.shortest(CaseDemand(1, (FEMUR,), (), (need,)), 0.9)
    assert dict(best.sets) == {"one": 1, "other": 1}
    assert not best.proven
    assert best.gap >= 1


def test_targets_and_cases_that_make_no_sense_are_refused() -> None:
    with pytest.raises(PlanningError, match="target must be"):
        picking.shortest(CaseDemand(1, (FEMUR,)), 1.5)
    other = replace(FEMUR, items=tuple(f"T{n}" for n in range(6)))
    with pytest.raises(PlanningError, match="no combination"):
        picking.shortest(CaseDemand(1, (FEMUR, other), (Rule(0, 1, frozenset()),)), 0.9)
    with pytest.raises(PlanningError, match="cost of item F1"):
        Costs({"F1": (0,)})
