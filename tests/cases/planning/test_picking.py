"""The list to bring: shortest by trying every list, unbroken, not below the minimum, with its sets."""

from __future__ import annotations

import random
from itertools import product

import pytest

from cases.planning import leaving, picking
from cases.planning.coverage import cover
from cases.planning.kinds import CaseDemand, PlanningError, Rule, SetNeed, SetOption, SlotLaw
from tests.cases.planning.worlds import random_world

FEMUR = SlotLaw("femoral", ("F1", "F2", "F3", "F4", "F5", "F6"), (1, 3, 60, 30, 5, 1))


def everything(case: CaseDemand) -> dict[str, int]:
    """Two units of all that its slots name, per slot."""
    most: dict[str, int] = {}
    for slot in case.slots:
        for item in slot.items:
            most[item] = most.get(item, 0) + (2 if slot.extra else 1)
    return most


@pytest.mark.parametrize("seed", range(40))
def test_no_shorter_list_reaches_the_target(seed: int) -> None:
    rng = random.Random(seed)
    case = random_world(seed)[0][0]
    case = CaseDemand(1, case.slots[:2], tuple(r for r in case.rules if max(r.a, r.b) < 2))
    target = rng.choice([0.5, 0.8, 0.9, 0.95, 0.99, 1.0])
    try:
        best = picking.shortest(case, target)
    except PlanningError:
        assert cover(case, {}).impossible
        return
    most = everything(case)
    truth: dict[int, float] = {}
    fitting = CaseDemand(1, case.slots, tuple(Rule(r.a, r.b, r.allow | r.unknown) for r in case.rules))
    for numbers in product(*(range(n + 1) for n in most.values())):
        size = sum(numbers)
        if size <= sum(n for _, n in best.units):
            short = cover(fitting, dict(zip(most, numbers, strict=True))).p_short_high
            truth[size] = min(short, truth.get(size, 1.0))
    needed = min(size for size, short in truth.items() if short <= 1 - target + 1e-12)
    assert best.proven
    assert sum(n for _, n in best.units) == needed
    assert best.p_short == pytest.approx(truth[needed], abs=1e-12)
    assert cover(fitting, dict(best.units)).p_short_high == pytest.approx(best.p_short, abs=1e-12)


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


def test_a_search_cut_short_says_by_how_much_it_may_be_too_long(monkeypatch: pytest.MonkeyPatch) -> None:
    slots = (FEMUR, SlotLaw("tibial", tuple(f"T{n}" for n in range(6)), (2, 5, 40, 40, 10, 3)))
    near = Rule(0, 1, frozenset((i, j) for i in range(6) for j in range(6) if abs(i - j) < 3))
    case = CaseDemand(1, slots, (near,))
    exact = picking.shortest(case, 0.8)
    assert exact.proven
    monkeypatch.setattr(leaving, "MOST_NODES", 1)
    quick = picking.shortest(case, 0.8)
    more = sum(n for _, n in quick.units) - sum(n for _, n in exact.units)
    assert 0 <= more <= quick.gap
    assert quick.p_short <= 0.2 + 1e-12


def test_a_case_too_large_to_list_still_gets_a_list_that_reaches_the_target(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for seed in range(40):
        case = random_world(seed)[0][0]
        case = CaseDemand(1, case.slots, case.rules)
        if cover(case, {}).impossible:
            continue
        monkeypatch.setattr(leaving, "MOST_LISTED", 20_000)
        exact = picking.shortest(case, 0.9)
        monkeypatch.setattr(leaving, "MOST_LISTED", 0)
        summed = picking.shortest(case, 0.9)
        more = sum(n for _, n in summed.units) - sum(n for _, n in exact.units)
        assert 0 <= more <= summed.gap + exact.gap
        assert summed.p_short <= 0.1 + 1e-12
        fitting = CaseDemand(1, case.slots, tuple(Rule(r.a, r.b, r.allow | r.unknown) for r in case.rules))
        assert cover(fitting, dict(summed.units)).p_short_high == pytest.approx(summed.p_short, abs=1e-12)


def test_the_list_is_an_unbroken_run_and_not_below_the_minimum() -> None:
    gappy = SlotLaw("stem", ("S1", "S2", "S3", "S4", "S5"), (50, 0, 45, 5, 0))
    picked = picking.pick_list(CaseDemand(1, (gappy,)), 0.9, planned={0: (2, 2)})
    assert [(line.item, line.why) for line in picked.lines] == [
        ("S1", "computed"),
        ("S2", "run"),
        ("S3", "computed"),
        ("S4", "minimum"),
    ]
    assert [line.item for line in picked.added] == ["S4"]
    assert picked.reached
    assert picked.p_short_high == pytest.approx(0.0)


def test_one_size_each_way_is_cut_at_the_ends() -> None:
    sure = SlotLaw("cup", ("C1", "C2", "C3"), (1, 0, 0))
    picked = picking.pick_list(CaseDemand(1, (sure,)), 0.95)
    assert [line.item for line in picked.lines] == ["C1", "C2"]
    wide = picking.pick_list(CaseDemand(1, (sure,)), 0.95, planned={0: (1, 1)}, each_way=2)
    assert [line.item for line in wide.lines] == ["C1", "C2", "C3"]
    none = picking.pick_list(CaseDemand(1, (sure,)), 0.95, each_way=0)
    assert [line.item for line in none.lines] == ["C1"]


def test_every_thickness_that_fits_the_run_is_brought() -> None:
    femur = SlotLaw("femoral", ("F1", "F2", "F3", "F4"), (0, 0, 1, 0))
    insert = SlotLaw("insert", tuple(f"I{s}-{t}" for s in (1, 2, 3, 4) for t in (8, 10)), (9, 1) * 4)
    fits = Rule(0, 1, frozenset((s, 2 * s + t) for s in range(4) for t in range(2)))
    picked = picking.pick_list(CaseDemand(1, (femur, insert), (fits,)), 0.95, bring_all=frozenset({1}))
    brought = [line.item for line in picked.lines if line.slot == 1]
    assert brought == ["I2-8", "I2-10", "I3-8", "I3-10", "I4-8", "I4-10"]
    assert picked.p_short_high == pytest.approx(0.0)


def test_the_fewest_sets_that_serve_the_target_are_brought() -> None:
    need = SetNeed(
        "sizer",
        (
            SetOption("D-small", ((0, frozenset({0, 1, 2})),)),
            SetOption("D-large", ((0, frozenset({3, 4, 5})),)),
            SetOption("D-all"),
        ),
    )
    case = CaseDemand(1, (FEMUR,), (), (need,))
    assert [line.item for line in picking.pick_list(case, 0.95).lines if line.why == "set"] == ["D-all"]
    without = picking.pick_list(case, 0.95, sets={"D-small": 1, "D-large": 1})
    assert [line.item for line in without.lines if line.why == "set"] == ["D-small", "D-large"]
    loose = picking.pick_list(case, 0.6, sets={"D-small": 1, "D-large": 1})
    assert [line.item for line in loose.lines if line.why == "set"] == ["D-small"]
    bare = picking.pick_list(case, 0.95, sets={})
    assert not bare.reached
    assert bare.p_short_high == pytest.approx(1.0)


def test_both_sides_on_one_item_bring_two_where_the_list_needs_two() -> None:
    law = ("P1", "P2", "P3"), (1.0, 98.0, 1.0)
    case = CaseDemand(1, (SlotLaw("left", *law), SlotLaw("right", *law)))
    picked = picking.pick_list(case, 0.95)
    assert {line.item: line.count for line in picked.lines} == {"P1": 1, "P2": 2, "P3": 1}


def test_unknown_pairs_are_brought_and_shown_apart() -> None:
    other = SlotLaw("tibial", ("T1", "T2"), (1, 1))
    rule = Rule(0, 1, frozenset({(2, 0)}), frozenset({(2, 1)}))
    picked = picking.pick_list(CaseDemand(1, (FEMUR, other), (rule,)), 0.95)
    assert picked.reached
    assert (picked.p_short_low, picked.p_short_high) == pytest.approx((0.0, 0.5))


def test_targets_and_cases_that_make_no_sense_are_refused() -> None:
    with pytest.raises(PlanningError, match="target must be"):
        picking.shortest(CaseDemand(1, (FEMUR,)), 1.5)
    with pytest.raises(PlanningError, match="no combination"):
        picking.shortest(CaseDemand(1, (FEMUR, FEMUR), (Rule(0, 1, frozenset()),)), 0.9)
