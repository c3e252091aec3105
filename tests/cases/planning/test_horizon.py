"""A horizon's bound and estimate: proven, close, and the same whichever way they are worked out."""

import doctest
import importlib
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import sharing
from cases.planning.fit import joint
from cases.planning.horizon import NEVER_AT_RISK, Outlook, outlook
from cases.planning.horizon_arrays import Arrays, Stock, lay_out
from cases.planning.horizon_patterns import nothing, pattern_of, slots_pattern
from cases.planning.horizon_shelf import arrays_of
from cases.planning.kinds import CaseDemand, PlanningError, Rule, SetNeed, SetOption, Shelf, SlotLaw
from cases.planning.simulate import simulate
from tests.cases.planning.horizons import a_case, a_horizon, below, horizon_arrays, horizon_in_blocks

SEEDS = st.integers(0, 10_000)


def stem(*weights: float, use: float = 1.0, extra: float = 0.0):
    items = np.arange(len(weights))
    return slots_pattern([("stem", items, np.array(weights), use, extra)])


def laid(patterns, stock: Stock, day=None) -> Arrays:
    n = len(patterns)
    days = np.arange(n) if day is None else np.array(day)
    return lay_out(patterns, np.arange(n), stock, ref=np.arange(n), day=days, start=days, end=days)


def same(one: Outlook, two: Outlook) -> None:
    for name in ("at_most", "about"):
        for side in ("low", "high", "fitting"):
            a, b = getattr(getattr(one, name), side), getattr(getattr(two, name), side)
            assert a.tobytes() == b.tobytes()
    assert one.missing_at_most.tobytes() == two.missing_at_most.tobytes()
    assert one.missing_about.tobytes() == two.missing_about.tobytes()
    assert one.second.tails.tobytes() == two.second.tails.tobytes()


# Proven


@settings(max_examples=40, deadline=None)
@given(SEEDS)
def test_the_bound_is_never_below_what_is_played(seed):
    arrays = horizon_arrays(seed)
    assert not len(below(outlook(arrays).at_most.fitting, arrays))


@settings(max_examples=40, deadline=None)
@given(SEEDS)
def test_the_bound_holds_where_blocks_of_one_case_want_the_same_sets(seed):
    arrays = horizon_in_blocks(seed)
    assert not len(below(outlook(arrays).at_most.fitting, arrays))


@pytest.mark.parametrize("blocks", [1, 2, 3])
def test_blocks_that_each_ask_for_either_of_two_sets_may_take_both(blocks):
    number = {"D1": 0, "D2": 1}
    either = joint(CaseDemand(1, (), (), (SetNeed("saw", (SetOption("D1"), SetOption("D2"))),)))
    second = joint(CaseDemand(2, (), (), (SetNeed("saw", (SetOption("D2"),)),)))
    patterns = [pattern_of([(either, 0)] * blocks, number), pattern_of([(second, -1)], number)]
    arrays = laid(patterns, Stock.plain(np.array([1, 1])))
    played = simulate(arrays, 50).p_short
    assert played.tolist() == [float(blocks > 2), float(blocks == 2)]
    assert (outlook(arrays).at_most.high >= played).all()


@settings(max_examples=30, deadline=None)
@given(SEEDS)
def test_the_bound_is_never_below_the_exact_answer(seed):
    cases, shelf = a_horizon(seed, cases=4)
    found = outlook(arrays_of(cases, shelf)[0])
    for n, answer in enumerate(sharing.assess(cases, shelf)):
        if answer.exact:
            assert found.at_most.high[n] >= answer.p_short_high - 1e-12


@settings(max_examples=60, deadline=None)
@given(SEEDS)
def test_all_chances_lie_between_nought_and_one_and_the_estimate_under_the_bound(seed):
    found = outlook(horizon_arrays(seed))
    for one in (found.at_most, found.about):
        for values in (one.low, one.high, one.fitting):
            assert ((values >= 0) & (values <= 1)).all()
        assert (one.low <= one.high + 1e-15).all()
    assert (found.about.high <= found.at_most.high).all()
    assert ((found.missing_at_most >= 0) & (found.missing_at_most <= 1)).all()


@settings(max_examples=40, deadline=None)
@given(SEEDS, st.integers(0, 12))
def test_more_stock_never_raises_the_bound(seed, item):
    arrays = horizon_arrays(seed)
    item %= len(arrays.stock.on_hand)
    more = arrays.stock.on_hand + (np.arange(len(arrays.stock.on_hand)) == item)
    better = outlook(replace(arrays, stock=replace(arrays.stock, on_hand=more)))
    assert (better.at_most.high <= outlook(arrays).at_most.high + 1e-12).all()


def test_for_slots_that_share_nothing_the_first_case_and_the_bound_of_units_never_short_are_exact():
    cases = [
        CaseDemand(n, (SlotLaw("stem", ("S0", "S1"), (1, 3)), SlotLaw("cup", ("C0", "C1"), (1, 1))), day=n,
                   start=n, end=n)
        for n in range(2)
    ]  # fmt: skip
    shelf = Shelf.plain({"S1": 2, "C0": 2, "C1": 2})
    found = outlook(arrays_of(cases, shelf)[0])
    assert found.at_most.high == pytest.approx([0.25, 0.25], abs=1e-15)


def test_both_sides_on_one_item_add_up():
    both = CaseDemand(1, tuple(SlotLaw(f"tibial {side}", ("T0", "T1"), (1, 3)) for side in ("left", "right")))
    found = outlook(arrays_of([both], Shelf.plain({"T0": 1, "T1": 1}))[0])
    assert found.at_most.high[0] == pytest.approx(1 / 16 + 9 / 16, abs=1e-12)
    assert found.about.high[0] == pytest.approx(1 / 16 + 9 / 16, abs=1e-12)


def test_a_unit_is_back_the_next_morning_at_the_earliest():
    one = Stock.plain(np.array([1]), back=np.array([1]))
    patterns = [stem(1.0)] * 3
    found = outlook(laid(patterns, one, day=[1, 1, 2])).at_most.high
    assert found.tolist() == [0.0, 1.0, 0.0]
    for bad in (0, -2):
        with pytest.raises(PlanningError):
            Stock.plain(np.array([1]), back=np.array([bad]))


def test_a_short_chance_keeps_its_digits():
    sure = Stock.plain(np.array([3]))
    found = outlook(laid([stem(1.0, use=1e-4)] * 4, sure)).at_most.high[-1]
    assert found == pytest.approx(1e-16, rel=1e-9)


# The estimate


def test_the_estimate_is_near_what_is_played_where_service_is_good():
    errors: list[float] = []
    for seed in range(24):
        arrays = horizon_arrays(seed)
        plenty = replace(arrays, stock=replace(arrays.stock, on_hand=arrays.stock.on_hand + 2))
        found, share = outlook(plenty), simulate(plenty, 4_000).p_short
        good = found.at_most.fitting < 0.2
        errors += (found.about.fitting - share)[good].tolist()
    assert len(errors) > 90
    assert abs(np.mean(errors)) < 0.004
    assert np.sqrt(np.mean(np.square(errors))) < 0.012


# Sameness


@settings(max_examples=30, deadline=None)
@given(SEEDS)
def test_what_is_worked_out_again_for_one_changed_case_is_the_same_as_all(seed):
    cases, shelf = a_horizon(seed)
    before = outlook(arrays_of(cases, shelf)[0])
    lots = np.random.default_rng(seed)
    at = int(lots.integers(len(cases)))
    old = cases[at]
    other = a_case(lots, old.ref, old.day, old.start)
    assert len(before.about.high) == len(cases)
    for changed in ([*cases[:at], other, *cases[at + 1 :]], [*cases[:at], *cases[at + 1 :]]):
        arrays = arrays_of(changed, shelf)[0]
        same(outlook(arrays, before), outlook(arrays))


@settings(max_examples=30, deadline=None)
@given(SEEDS)
def test_a_changed_shelf_worked_out_again_is_the_same_as_all(seed):
    arrays = horizon_arrays(seed)
    before = outlook(arrays)
    assert len(before.about.high) == len(arrays.ref)
    stock = replace(arrays.stock, on_hand=np.maximum(0, arrays.stock.on_hand - 1))
    changed = replace(arrays, stock=stock)
    same(outlook(changed, before), outlook(changed))
    same(outlook(arrays, before), before)


@settings(max_examples=20, deadline=None)
@given(SEEDS)
def test_the_order_of_independent_slots_changes_nothing(seed):
    lots = np.random.default_rng(seed)
    slots = [
        (name, np.arange(3) + 3 * n, lots.random(3) + 0.01, float(lots.choice([1.0, 0.6])), 0.1)
        for n, name in enumerate(("cup", "liner", "stem"))
    ]
    stock = Stock.plain(lots.integers(0, 3, 9))
    one = outlook(laid([slots_pattern(slots)] * 4, stock))
    two = outlook(laid([slots_pattern(slots[::-1])] * 4, stock))
    assert np.allclose(one.at_most.high, two.at_most.high, atol=1e-12)
    assert np.allclose(one.about.high, two.about.high, atol=1e-12)


def test_the_same_horizon_gives_the_same_bytes():
    one, two = horizon_arrays(5), horizon_arrays(5)
    assert one.seed() == two.seed() != horizon_arrays(6).seed()
    same(outlook(one), outlook(two))
    assert simulate(one, 500).short.tolist() == simulate(two, 500).short.tolist()


# What-ifs


@settings(max_examples=20, deadline=None)
@given(SEEDS)
def test_one_more_and_one_fewer_of_every_item_is_what_the_bound_then_says(seed):
    lots = np.random.default_rng(seed)
    slots = [(name, np.arange(3) + 3 * n, lots.random(3) + 0.01, 1.0, 0.1) for n, name in enumerate("ab")]
    stock = Stock.plain(lots.integers(1, 3, 6))
    arrays = laid([slots_pattern(slots)] * 5, stock)
    found, ifs = outlook(arrays), outlook(arrays).bound_what_ifs
    for item in range(6):
        for step, told in ((1, ifs.more), (-1, ifs.fewer)):
            on_hand = stock.on_hand + step * (np.arange(6) == item)
            then = outlook(replace(arrays, stock=replace(stock, on_hand=on_hand)))
            gained = then.at_most.fitting.sum() - found.at_most.fitting.sum()
            assert told[item] == pytest.approx(gained, abs=1e-9)


@settings(max_examples=20, deadline=None)
@given(SEEDS)
def test_one_more_never_harms_and_one_fewer_never_helps(seed):
    found = outlook(horizon_arrays(seed))
    for ifs, now in ((found.bound_what_ifs, found.at_most), (found.what_ifs, found.about)):
        case = found.arrays.pair_case
        assert (ifs.with_more.fitting <= ifs.with_fewer.fitting + 1e-9).all()
        assert (ifs.kept.fitting <= ifs.with_more.fitting + 1e-9).all()
        assert (ifs.more <= 1e-9 + 0 * now.fitting.sum()).all() or ifs is found.what_ifs
        assert len(case) == len(ifs.kept.high)


def test_the_first_case_at_risk_is_the_one_by_which_the_chances_add_up_to_the_threshold():
    found = outlook(laid([stem(1.0, use=0.5)] * 4, Stock.plain(np.array([1]))))
    # 0, then 1/4 of a half, ...: .25 by the second case, .625 by the third.
    assert found.missing_at_most.tolist() == [0.0, 0.25, 0.375, 0.4375]
    assert found.first_at_risk(0.2)[0] == 1
    assert found.first_at_risk(0.3)[0] == 2
    assert found.first_at_risk(9.0)[0] == NEVER_AT_RISK


# Edges and errors


def test_a_horizon_without_cases_and_one_with_an_impossible_case():
    nobody = np.empty(0, dtype=np.int64)
    for items in (0, 2):
        arrays = lay_out([], nobody, Stock.plain(np.zeros(items)), ref=nobody, day=nobody, start=nobody,
                         end=nobody)  # fmt: skip
        assert outlook(arrays).what_ifs.more.tolist() == [0.0] * items
        assert simulate(arrays, 3).p_short.tolist() == []
    found = outlook(laid([nothing(), stem(1.0)], Stock.plain(np.array([1]))))
    assert found.at_most.high.tolist() == [1.0, 0.0]


def test_an_impossible_law_is_a_case_that_is_short_and_takes_nothing():
    clash = CaseDemand(
        7, (SlotLaw("cup", ("C",), (1,)), SlotLaw("head", ("H",), (1,))), (Rule(0, 1, frozenset()),)
    )
    after = CaseDemand(8, (SlotLaw("cup", ("C",), (1,)),))
    found = outlook(arrays_of([clash, after], Shelf.plain({"C": 1, "H": 1}))[0])
    assert found.at_most.high.tolist() == [1.0, 0.0]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"combo_p": np.array([np.nan, 1.0, 0.5, 0.5])}, "Case 0, stem"),
        ({"combo_p": np.array([0.5, 0.5, -0.5, 1.5])}, "Case 1, stem"),
        ({"combo_p": np.array([0.5, 0.5, 0.0, 0.0])}, "Case 1, stem: all its chances are nought"),
        ({"combo_p": np.array([0.5, 0.4, 0.5, 0.5])}, "Case 0, stem: its chances do not sum to 1"),
        ({"chance": np.array([[0.5], [0.5], [np.inf], [0.5]])}, "Case 1"),
        ({"day": np.array([2, 1])}, "Case 1 stands after case 0"),
        ({"ref": np.array([0, 0])}, "same reference"),
        ({"end": np.array([2**40, 2**40])}, "Case 0: its end is out of range"),
        ({"pair_item": np.array([0, 1, 0, 9])}, "Case 1 draws an item"),
    ],
)
def test_bad_numbers_are_refused_by_case_and_slot(change, says):
    arrays = laid([stem(1.0, 1.0)] * 2, Stock.plain(np.array([1, 1])))
    with pytest.raises(PlanningError, match=says):
        replace(arrays, **change)


def test_chances_that_are_all_nought_name_their_slot():
    for weights in ((0.0, 0.0), (1.0, np.nan), (1.0, -1.0)):
        with pytest.raises(PlanningError, match="Slot stem"):
            stem(*weights)


def test_too_many_at_once_and_too_many_units_are_refused():
    wide = CaseDemand(1, tuple(SlotLaw(f"screw {n}", ("W",), (1,)) for n in range(9)))
    with pytest.raises(PlanningError, match="more than 8"):
        arrays_of([wide], Shelf.plain({"W": 9}))
    with pytest.raises(PlanningError, match="between 0 and"):
        Stock.plain(np.array([2**15 + 1]))


def test_every_array_of_an_outlook_is_of_the_cases_and_pairs():
    found = outlook(horizon_arrays(1))
    assert {len(getattr(found.at_most, own.name)) for own in fields(found.at_most)} == {6}
    assert len(found.missing_about) == len(found.arrays.pair_case)


@pytest.mark.parametrize("name", ["horizon", "horizon_arrays", "horizon_shelf"])
def test_the_examples_of_the_docstrings_run(name):
    found = doctest.testmod(importlib.import_module(f"cases.planning.{name}"))
    assert found.attempted > 0 and not found.failed
