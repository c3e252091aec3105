"""One case against plain counts."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning.coverage import cover
from cases.planning.kinds import CaseDemand, Rule, SetNeed, SetOption, Shelf, SlotLaw
from cases.planning.sharing import assess
from tests.cases.planning.worlds import POOLS, random_world

FEMUR = SlotLaw("femoral", ("F3", "F4", "F5"), (2, 6, 2))


def test_what_is_there_is_covered_and_what_is_not_is_named() -> None:
    answer = cover(CaseDemand(1, (FEMUR,)), {"F4": 1})
    assert (answer.p_cover_low, answer.p_short_high) == pytest.approx((0.6, 0.4))
    assert [one.item for one in answer.missing] == ["F3", "F5"]
    assert [one.p for one in answer.missing] == pytest.approx([0.2, 0.2])


def test_the_one_more_that_helps_most_comes_first() -> None:
    answer = cover(CaseDemand(1, (SlotLaw("femoral", ("F3", "F4", "F5"), (1, 6, 3)),)), {"F4": 1})
    assert [more.item for more in answer.one_more] == ["F5", "F3"]
    assert answer.one_more[0].p_short_high == pytest.approx(0.1)


def test_a_size_counts_only_with_a_set_that_serves_it() -> None:
    band = SetNeed("sizer", (SetOption("D1", ((0, frozenset({0, 1})),)),))
    answer = cover(CaseDemand(1, (FEMUR,), (), (band,)), {"F3": 1, "F4": 1, "F5": 1, "D1": 1})
    assert answer.p_short_high == pytest.approx(0.2)
    assert {one.item: one.p for one in answer.unserved} == pytest.approx({"sizer": 0.2})
    assert answer.one_more == ()


def test_a_need_is_met_by_any_of_its_options() -> None:
    either = SetNeed("sizer", (SetOption("D1", ((0, frozenset({0})),)), SetOption("D2")))
    case = CaseDemand(1, (FEMUR,), (), (either,))
    units = {"F3": 1, "F4": 1, "F5": 1}
    assert cover(case, {**units, "D1": 1}).p_cover_low == pytest.approx(0.2)
    assert cover(case, {**units, "D2": 1}).p_cover_low == pytest.approx(1.0)
    assert {one.item for one in cover(case, units).missing} == {"D1", "D2"}


def test_two_needs_do_not_share_one_set() -> None:
    needs = (SetNeed("first", (SetOption("D1"), SetOption("D2"))), SetNeed("second", (SetOption("D1"),)))
    case = CaseDemand(1, (), (), needs)
    assert cover(case, {"D1": 1, "D2": 1}).p_cover_low == 1.0  # the first then takes D2
    alone = cover(case, {"D1": 1})
    assert alone.p_short_high == 1.0
    assert [one.item for one in alone.missing] == ["D1"]
    assert {more.item for more in alone.one_more} == {"D1", "D2"}
    assert cover(case, {"D1": 2}).p_cover_low == 1.0


def test_an_unused_slot_is_served_by_any_set() -> None:
    optional = SlotLaw("patella", ("P1",), (1,), use=0.5)
    need = SetNeed("set", (SetOption("D1", ((0, frozenset()),)),))
    assert cover(CaseDemand(1, (optional,), (), (need,)), {"P1": 1, "D1": 1}).p_cover_low == 0.5


def test_both_sides_on_one_item_need_two() -> None:
    case = CaseDemand(1, (SlotLaw("left", ("P1",), (1,)), SlotLaw("right", ("P1",), (1,))))
    assert cover(case, {"P1": 1}).p_short_high == 1.0
    assert cover(case, {"P1": 2}).p_short_high == 0.0


def test_unknown_outcomes_open_the_range_between_low_and_high() -> None:
    other = SlotLaw("tibial", ("T1", "T2"), (1, 1))
    rule = Rule(0, 1, frozenset({(0, 0), (1, 0)}), frozenset({(1, 1)}))
    answer = cover(CaseDemand(1, (FEMUR, other), (rule,)), {"F4": 1, "T1": 1, "T2": 1})
    # rows (F3,T1) .1, (F4,T1) .3, (F4,T2) .3 unknown: shares 1/7, 3/7, 3/7
    assert answer.p_unknown == pytest.approx(3 / 7)
    assert answer.p_short_low == pytest.approx(1 / 7)
    assert answer.p_short_high == pytest.approx(4 / 7)
    assert answer.p_cover_low + answer.p_short_high == pytest.approx(1.0)
    assert answer.p_cover_high + answer.p_short_low == pytest.approx(1.0)


def test_a_tiny_chance_of_short_keeps_its_digits() -> None:
    rare = SlotLaw("rare", ("R1", "R2"), (1.0, 1e-13))
    sure = SlotLaw("sure", ("S1", "S2"), (1.0, 3e-13))
    answer = cover(CaseDemand(1, (rare, sure)), {"R1": 1, "S1": 1})
    assert answer.p_short_high == pytest.approx(4e-13, rel=1e-9)


def test_edges() -> None:
    assert cover(CaseDemand(1, ()), {}).p_cover_low == 1.0
    assert cover(CaseDemand(1, (SlotLaw("one", ("A",), (1,)),)), {}).p_short_high == 1.0
    impossible = cover(CaseDemand(1, (SlotLaw("none", (), ()),)), {})
    assert impossible.impossible
    assert impossible.p_short_low == impossible.p_short_high == 1.0
    assert cover(CaseDemand(1, (FEMUR,)), {"F4": -3}).p_short_high == pytest.approx(1.0)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.data())
def test_more_stock_never_hurts_one_case_alone(seed: int, data: st.DataObject) -> None:
    case = random_world(seed)[0][0]
    names = [item for pool in POOLS.values() for item in pool] + ["D1", "D2", "D3"]
    counts = {item: data.draw(st.integers(0, 2)) for item in names}
    answer = cover(case, counts)
    assert answer.p_short_low <= answer.p_short_high + 1e-12
    if answer.impossible:
        return
    assert answer.p_cover_low + answer.p_short_high == pytest.approx(1.0, abs=1e-12)
    assert answer.p_short_high - answer.p_short_low <= answer.p_unknown + 1e-12
    helped = {more.item: more for more in answer.one_more}
    for item in names:
        richer = cover(case, {**counts, item: counts[item] + 1})
        assert richer.p_short_high <= answer.p_short_high + 1e-12
        assert richer.p_short_low <= answer.p_short_low + 1e-12
        if item in helped:
            assert helped[item].p_short_high == pytest.approx(richer.p_short_high, abs=1e-12)
        else:
            assert richer.p_short_high == pytest.approx(answer.p_short_high, abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_a_case_alone_on_a_plain_shelf_is_the_same_either_way(seed: int) -> None:
    case = random_world(4 * (seed // 4))[0][0]
    counts = {item: (seed >> n) % 3 for n, item in enumerate(i for pool in POOLS.values() for i in pool)}
    (shared,) = assess((case,), Shelf.plain(counts))
    alone = cover(case, counts)
    assert shared.p_short_high == pytest.approx(alone.p_short_high, abs=1e-12)
    assert [m.item for m in shared.one_more] == [m.item for m in alone.one_more]
