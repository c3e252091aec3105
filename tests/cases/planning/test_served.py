"""How surely a list among other lists is served: exact, between proven bounds, or played."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import flows, served, sharing
from cases.planning.kinds import CaseDemand, Rule, Shelf, SlotLaw
from cases.planning.served import Means, all_served
from tests.cases.planning.brute_served import listed_served
from tests.cases.planning.fortnight import fortnight
from tests.cases.planning.worlds import random_world

CLOSE = 1e-12
SEEDS = st.integers(0, 47).filter(lambda seed: seed != 24)  # 24 has too many histories to be worth its time


def listed_of(cases: tuple[CaseDemand, ...], seed: int) -> set[int]:
    """Some of the cases, the last of them always."""
    return {case.ref for n, case in enumerate(cases) if seed >> n & 1} | {cases[-1].ref}


@given(SEEDS, st.integers(0, 15))
@settings(max_examples=30, deadline=None)
def test_a_list_among_others_is_served_as_surely_as_enumeration_says(seed: int, some: int) -> None:
    cases, shelf = random_world(seed)
    listed = listed_of(cases, some)
    found = all_served(cases, shelf, of=listed)
    truth, shorts = listed_served(cases, shelf, listed)
    assert found.all_served.means is Means.EXACT
    assert found.all_served.low == found.all_served.high == pytest.approx(float(truth), abs=CLOSE)
    assert {ref: one.high for ref, one in found.short.items()} == pytest.approx(shorts, abs=CLOSE)


@given(SEEDS, st.integers(0, 15))
@settings(max_examples=30, deadline=None)
def test_a_bracket_contains_what_enumeration_says(seed: int, some: int) -> None:
    cases, shelf = random_world(seed)
    listed = listed_of(cases, some)
    with pytest.MonkeyPatch.context() as beyond:
        beyond.setattr(served, "MOST_IN_CIRCLE", 0)
        beyond.setattr(sharing, "MOST_IN_CIRCLE", 0)
        found = all_served(cases, shelf, of=listed, wide=1.0)
    truth, shorts = listed_served(cases, shelf, listed)
    assert found.all_served.low <= float(truth) + CLOSE
    assert found.all_served.high >= float(truth) - CLOSE
    for ref, one in found.short.items():
        assert one.low - CLOSE <= shorts[ref] <= one.high + CLOSE


def test_a_whole_list_is_what_serve_list_says() -> None:
    cases, shelf = random_world(3)
    whole = sharing.serve_list(cases, shelf)
    assert all_served(cases, shelf).all_served.low == pytest.approx(whole.p_all_cautious, abs=CLOSE)


def test_the_upper_side_multiplies_over_the_sizes_of_a_slot_and_takes_the_least_over_linked_slots() -> None:
    thirds = (1.0, 1.0, 1.0)
    femoral, insert = SlotLaw("f", ("F1", "F2", "F3"), thirds), SlotLaw("i", ("I1", "I2", "I3"), thirds)
    same = Rule(0, 1, frozenset((n, n) for n in range(3)))
    shelf = Shelf.plain(dict.fromkeys((*femoral.items, *insert.items), 1))
    # Two cases: a size is asked for twice with chance 1/9.
    alone = [CaseDemand(ref, (femoral,)) for ref in (1, 2)]
    assert at_most(alone, shelf) == pytest.approx((8 / 9) ** 3)
    apart = [CaseDemand(ref, (femoral, insert)) for ref in (1, 2)]
    assert at_most(apart, shelf) == pytest.approx((8 / 9) ** 6)
    linked = [replace(case, rules=(same,)) for case in apart]
    assert at_most(linked, shelf) == pytest.approx((8 / 9) ** 3)
    # The truth of the linked list: another size than the first.
    assert all_served(linked, shelf).all_served.low == pytest.approx(2 / 3)


def at_most(cases: list[CaseDemand], shelf: Shelf) -> float:
    agenda = served.Agenda(cases, shelf)
    return served.fits_at_most(agenda, agenda.visits(range(len(cases))))


def test_a_long_list_is_played_out_with_a_fixed_seed() -> None:
    cases, shelf = fortnight(seed=3, n=14, scale=1.0)
    listed = {case.ref for case in cases[-6:]}
    found = all_served(cases, shelf, of=listed)
    assert found.all_served.means is Means.PLAYED
    assert (found.draws, found.seed) == (served.DRAWS, served.SEED)
    assert 0 < found.all_served.width < 0.035
    assert found == all_served(cases, shelf, of=listed)
    bracket = all_served(cases, shelf, of=listed, wide=1.0).all_served
    assert bracket.means is Means.BRACKET
    assert bracket.low <= found.all_served.low <= found.all_served.high <= bracket.high


def test_what_is_played_lies_about_the_exact_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    cases, shelf = random_world(15)
    exact = all_served(cases, shelf).all_served
    assert exact.means is Means.EXACT
    assert 0.3 < exact.low < 0.5
    monkeypatch.setattr(served, "MOST_IN_CIRCLE", 0)
    monkeypatch.setattr(sharing, "MOST_IN_CIRCLE", 0)
    played = all_served(cases, shelf, wide=0.0).all_served
    assert played.means is Means.PLAYED
    assert played.low - 0.02 <= exact.low <= played.high + 0.02


def test_an_impossible_case_leaves_its_list_unserved() -> None:
    sure = SlotLaw("slot", ("A",), (1,))
    none = CaseDemand(1, (sure, sure), (Rule(0, 1, frozenset()),), list_ref=5)
    other = CaseDemand(2, (sure,), list_ref=6)
    shelf = Shelf.plain({"A": 1})
    assert all_served([none, other], shelf, of={1}).all_served.high == 0.0
    assert all_served([none, other], shelf, of={2}).all_served.low == 1.0
    assert all_served([], Shelf()).all_served.low == 1.0


def test_beyond_what_can_be_afforded_there_is_no_exact_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flows, "MOST_MOVES", 0)
    cases, shelf = random_world(15)
    assert all_served(cases, shelf, wide=1.0).all_served.means is Means.BRACKET
