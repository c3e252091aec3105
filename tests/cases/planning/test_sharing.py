"""Lists that share stock: order, holds, dates, sets that come back, and what is said of long ones."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import flows, sharing
from cases.planning.fit import joint
from cases.planning.kinds import (
    NEVER,
    CaseDemand,
    PlanningError,
    Rule,
    SetHold,
    SetNeed,
    SetOption,
    SetStock,
    Shelf,
    SlotLaw,
    UnitStock,
)
from tests.cases.planning.fortnight import fortnight
from tests.cases.planning.worlds import random_world

SURE = SlotLaw("slot", ("A",), (1,))
HALF = SlotLaw("slot", ("A", "B"), (1, 1))
NEED = (SetNeed("set", (SetOption("D1"),)),)


def case(ref: int, slot: SlotLaw = SURE, **more: object) -> CaseDemand:
    """A case of one slot."""
    return CaseDemand(ref, (slot,), **more)  # type: ignore[arg-type]


def shorts(cases: tuple[CaseDemand, ...], shelf: Shelf) -> list[float]:
    """P(short) per case."""
    return [answer.p_short_high for answer in sharing.assess(cases, shelf)]


def test_the_first_case_takes_the_only_unit() -> None:
    first, second = sharing.assess((case(1), case(2)), Shelf.plain({"A": 1}))
    assert (first.p_short_high, second.p_short_high) == (0.0, 1.0)
    assert second.competitors == (1,)
    assert second.one_more[0].item == "A"
    assert second.one_more[0].p_short_high == 0.0
    assert first.competitors == ()


def test_a_short_case_takes_nothing() -> None:
    both = CaseDemand(1, (SURE, SlotLaw("other", ("Z",), (1,))))
    assert shorts((both, case(2)), Shelf.plain({"A": 1})) == [1.0, 0.0]


def test_a_held_unit_counts_for_its_case_only_and_is_taken_first() -> None:
    held = Shelf({"A": UnitStock(free=(), held={2: (NEVER,)})})
    assert shorts((case(1), case(2)), held) == [1.0, 0.0]
    spare = Shelf({"A": UnitStock(free=(NEVER,), held={1: (NEVER,)})})
    found = sharing.assess((case(1), case(2)), spare)
    assert [answer.p_short_high for answer in found] == [0.0, 0.0]


def test_a_unit_held_for_a_list_counts_for_its_cases() -> None:
    shelf = Shelf({"A": UnitStock(list_held={7: (NEVER,)})})
    cases = (case(1, list_ref=8), case(2, list_ref=7), case(3, list_ref=7))
    assert shorts(cases, shelf) == [1.0, 0.0, 1.0]


def test_a_unit_is_usable_on_its_expiry_day_and_not_after() -> None:
    shelf = Shelf({"A": UnitStock(free=(5,))})
    assert shorts((case(1, day=5),), shelf) == [0.0]
    assert shorts((case(1, day=6),), shelf) == [1.0]


def test_the_first_expired_goes_first() -> None:
    # The first case takes the unit that would expire, so the second still finds one.
    shelf = Shelf({"A": UnitStock(free=(NEVER, 5))})
    assert shorts((case(1, day=5), case(2, day=6)), shelf) == [0.0, 0.0]


def test_an_arrival_counts_from_its_day() -> None:
    shelf = Shelf({"A": UnitStock(arrivals=(4,))})
    assert shorts((case(1, day=3),), shelf) == [1.0]
    assert shorts((case(1, day=4),), shelf) == [0.0]


def test_a_set_back_at_the_very_minute_is_back() -> None:
    shelf = Shelf(sets={"D1": SetStock(1, turnaround=30)})
    first = CaseDemand(1, (), (), NEED, start=0, end=60)
    assert shorts((first, CaseDemand(2, (), (), NEED, start=90, end=100)), shelf) == [0.0, 0.0]
    late = CaseDemand(2, (), (), NEED, start=89, end=100)
    assert shorts((first, late), shelf) == [0.0, 1.0]
    assert sharing.assess((first, late), shelf)[1].competitors == (1,)


def test_a_held_set_is_free_to_others_if_it_is_back_before_its_hold() -> None:
    hold = SetHold(100, 190, case_ref=2)
    shelf = Shelf(sets={"D1": SetStock(1, 30, (hold,))})
    held_for = CaseDemand(2, (), (), NEED, start=100, end=160)
    in_time = CaseDemand(1, (), (), NEED, start=0, end=70)
    too_long = CaseDemand(1, (), (), NEED, start=0, end=71)
    assert shorts((in_time, held_for), shelf) == [0.0, 0.0]
    assert shorts((too_long, held_for), shelf) == [1.0, 0.0]


def test_a_set_that_becomes_ready_in_time_counts() -> None:
    shelf = Shelf(sets={"D1": SetStock(0, 30, due=(50,))})
    assert shorts((CaseDemand(1, (), (), NEED, start=50, end=60),), shelf) == [0.0]
    assert shorts((CaseDemand(1, (), (), NEED, start=49, end=60),), shelf) == [1.0]


def test_linked_slots_and_sets_together_match_a_count_by_hand() -> None:
    # One A; case 1 draws A or B evenly (B plenty), case 2 needs A: short where case 1 drew A.
    assert shorts((case(1, HALF), case(2)), Shelf.plain({"A": 1, "B": 5})) == [0.0, 0.5]


def test_an_impossible_case_is_short_and_takes_nothing() -> None:
    none = CaseDemand(1, (SURE, HALF), (Rule(0, 1, frozenset()),))
    first, second = sharing.assess((none, case(2)), Shelf.plain({"A": 1, "B": 1}))
    assert first.impossible
    assert (first.p_short_low, first.p_short_high, second.p_short_high) == (1.0, 1.0, 0.0)
    whole = sharing.serve_list((none, case(2)), Shelf.plain({"A": 1, "B": 1}))
    assert (whole.p_all, whole.p_first_short, whole.dist_short) == (0.0, (1.0, 0.0), (0.0, 1.0, 0.0))


def test_no_cases_no_stock_no_items() -> None:
    assert sharing.assess((), Shelf()) == ()
    assert sharing.serve_list((), Shelf()).p_all == 1.0
    assert shorts((CaseDemand(1, ()),), Shelf()) == [0.0]
    assert shorts((case(1),), Shelf()) == [1.0]


def test_cases_out_of_order_and_doubled_references_are_refused() -> None:
    with pytest.raises(PlanningError, match="starts before it"):
        sharing.assess((case(1, start=10, end=20), case(2, start=9, end=20)), Shelf())
    with pytest.raises(PlanningError, match="starts before it"):
        sharing.assess((case(1, day=3), case(2, day=2)), Shelf())
    with pytest.raises(PlanningError, match="same reference"):
        sharing.assess((case(1), case(1)), Shelf())


def test_shelves_that_make_no_sense_are_refused() -> None:
    with pytest.raises(PlanningError, match="both as units and as sets"):
        Shelf({"A": UnitStock()}, {"A": SetStock(1, 0)})
    with pytest.raises(PlanningError, match="must not be negative"):
        SetStock(-1, 0)
    with pytest.raises(PlanningError, match="Only adding"):
        Shelf().with_more("A", -1)
    with pytest.raises(PlanningError, match="More than"):
        UnitStock(free=(NEVER,) * 40_000)


def test_a_fortnight_is_answered_in_full_the_same_every_time() -> None:
    cases, shelf = fortnight(n=60)
    found = sharing.assess(cases, shelf)
    assert found == sharing.assess(cases, shelf)
    assert [answer.ref for answer in found] == [one.ref for one in cases]
    assert any(answer.exact for answer in found)
    assert any(not answer.exact for answer in found)
    for answer in found:
        assert 0.0 <= answer.p_short_low <= answer.p_short_high <= 1.0
        assert answer.missing or answer.p_short_high == 0.0
        assert set(answer.competitors) <= set(range(answer.ref))


def test_a_whole_fortnight_as_one_list_gets_a_bound_and_says_so() -> None:
    whole = sharing.serve_list(*fortnight(n=40))
    assert not whole.exact
    assert whole.dist_short == ()
    assert 0.0 <= whole.p_all <= 1.0


def test_few_earlier_cases_are_enough_for_an_exact_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    cases, shelf = fortnight(n=12, scale=3.0)
    monkeypatch.setattr(flows, "BUDGET", 0)
    found = sharing.assess(cases, shelf)
    assert sum(answer.exact for answer in found) >= 3
    monkeypatch.setattr(sharing, "CIRCLE_BUDGET", 0)
    bounds = sharing.assess(cases, shelf)
    assert not any(answer.exact for answer in bounds)
    for exact, bound in zip(found, bounds, strict=True):
        assert bound.p_short_high >= exact.p_short_high - 1e-12


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_the_answers_of_a_list_hang_together(seed: int) -> None:
    cases, shelf = random_world(seed)
    found = sharing.assess(cases, shelf)
    whole = sharing.serve_list(cases, shelf)
    assert sum(whole.dist_short) == pytest.approx(1.0, abs=1e-12)
    assert whole.p_all + sum(whole.p_first_short) == pytest.approx(1.0, abs=1e-12)
    assert whole.p_first_short[0] <= found[0].p_short_high + 1e-12
    assert whole.p_all_cautious <= whole.p_all + 1e-12
    for answer in found:
        assert answer.p_short_low <= answer.p_short_high + 1e-12
        assert answer.p_cover_low + answer.p_short_high == pytest.approx(1.0, abs=1e-12)
        chances = [one.p for one in answer.missing]
        assert chances == pytest.approx(sorted(chances, reverse=True), rel=1e-8)
        for more in answer.one_more:
            assert more.p_short_high <= answer.p_short_high + 1e-12


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["F1", "F2", "T1", "T2", "P1"]))
def test_more_units_never_make_it_likelier_that_some_case_is_short(seed: int, item: str) -> None:
    cases, shelf = random_world(4 * seed)  # no sets: which set is taken first may matter
    poorer = sharing.serve_list(cases, shelf)
    richer = sharing.serve_list(cases, shelf.with_more(item))
    assert richer.p_all >= poorer.p_all - 1e-12


def test_more_stock_can_make_a_later_case_shorter() -> None:
    # With one more B, case 1 is served and takes the A that case 2 would have found.
    both = CaseDemand(1, (SURE, SlotLaw("other", ("B",), (1,))))
    assert shorts((both, case(2)), Shelf.plain({"A": 1})) == [1.0, 0.0]
    assert shorts((both, case(2)), Shelf.plain({"A": 1, "B": 1})) == [0.0, 1.0]


def test_chances_that_all_ask_for_more_than_there_is() -> None:
    tails = sharing.over_demand((case(1, HALF), case(2, HALF)), {"A": 1, "B": 2, "C": 0})
    assert tails == pytest.approx({"A": 0.25, "B": 0.0, "C": 0.0})


def test_laws_at_hand_give_the_same_answers_as_laws_worked_out_anew() -> None:
    cases, shelf = fortnight(3)
    laws = [joint(case) for case in cases]
    assert sharing.assess(cases, shelf, laws) == sharing.assess(cases, shelf)


def test_help_is_not_looked_for_where_a_bound_is_good_enough() -> None:
    cases, shelf = fortnight(3)
    every = sharing.assess(cases, shelf)
    bounds = sorted(answer.p_short_high for answer in every if not answer.exact and answer.one_more)
    enough = bounds[len(bounds) // 2]
    some = sharing.assess(cases, shelf, good_enough=enough)
    for before, after in zip(every, some, strict=True):
        good = not before.exact and before.p_short_high <= enough
        assert after == (replace(before, one_more=()) if good else before)


def test_of_a_long_list_the_cases_short_are_counted_at_most_not_as_one() -> None:
    """Far too many histories for the exact sums: twenty cases with nothing there are twenty short."""
    slots = tuple(SlotLaw(f"s{n}", tuple(f"{n}.{k}" for k in range(8)), (1,) * 8) for n in range(4))
    cases = tuple(CaseDemand(n, slots, start=n, end=n) for n in range(20))
    counts = {item: 9 for slot in slots for item in slot.items} | {"0.0": 0}
    found = sharing.serve_list(cases, Shelf.plain(counts))
    assert not found.exact
    # Each is short where it draws what is not there, one time in eight.
    assert 20 / 8 <= found.exp_short <= 20
    bad = CaseDemand(99, (SURE, SlotLaw("other", ("B",), (1,))), (Rule(0, 1, frozenset()),), start=99, end=99)
    assert sharing.serve_list((*cases, bad), Shelf.plain(counts)).exp_short == pytest.approx(
        found.exp_short + 1
    )
