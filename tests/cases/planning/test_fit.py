"""Slots joined by rules: what stays possible, with which chance, in which parts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import fit
from cases.planning.kinds import (
    UNUSED,
    CaseDemand,
    PlanningError,
    Rule,
    SetNeed,
    SetOption,
    SlotLaw,
    TooManyOutcomesError,
)
from tests.cases.planning.brute import outcomes
from tests.cases.planning.worlds import random_world

A = SlotLaw("a", ("A1", "A2"), (1, 3))
B = SlotLaw("b", ("B1", "B2"), (1, 1))


def test_a_rule_removes_what_does_not_fit_and_the_rest_is_shared_anew() -> None:
    law = fit.joint(CaseDemand(1, (A, B), (Rule(0, 1, frozenset({(0, 0), (1, 1)})),)))
    (part,) = law.parts
    assert part.rows.tolist() == [[0, 0], [1, 1]]
    assert part.p.tolist() == [0.25, 0.75]


def test_the_same_rule_twice_or_turned_round_changes_nothing() -> None:
    rule, turned = Rule(0, 1, frozenset({(0, 1), (1, 0)})), Rule(1, 0, frozenset({(1, 0), (0, 1)}))
    once = fit.joint(CaseDemand(1, (A, B), (rule,)))
    twice = fit.joint(CaseDemand(1, (A, B), (rule, rule, turned)))
    assert once.parts[0].p.tolist() == twice.parts[0].p.tolist()


def test_two_rules_on_one_pair_must_both_hold() -> None:
    rules = (Rule(0, 1, frozenset({(0, 0), (1, 1)})), Rule(0, 1, frozenset({(1, 1), (1, 0)})))
    assert fit.joint(CaseDemand(1, (A, B), rules)).parts[0].rows.tolist() == [[1, 1]]


def test_no_combination_left_is_an_impossible_case_and_no_division() -> None:
    law = fit.joint(CaseDemand(1, (A, B), (Rule(0, 1, frozenset()),)))
    assert law.impossible
    assert law.parts == ()
    assert fit.marginals(law) == ()
    assert fit.demand_laws(law) == {}


def test_a_slot_that_must_be_used_but_has_no_items_is_impossible() -> None:
    assert fit.joint(CaseDemand(1, (SlotLaw("empty", (), ()),))).impossible
    optional = fit.joint(CaseDemand(1, (SlotLaw("empty", (), (), use=0.0),)))
    assert optional.parts[0].rows.tolist() == [[UNUSED]]


def test_unused_meets_every_rule_and_so_becomes_likelier() -> None:
    optional = SlotLaw("b", ("B1",), (1,), use=0.5)
    law = fit.joint(CaseDemand(1, (A, optional), (Rule(0, 1, frozenset({(0, 0)})),)))
    # used: .25 * .5; unused: .5; so P(used) = .125 / .625
    assert fit.marginals(law)[1].tolist() == pytest.approx([0.2])


def test_an_unknown_pair_stays_and_is_marked_unless_another_rule_refuses_it() -> None:
    known = Rule(0, 1, frozenset({(0, 0)}), frozenset({(1, 1)}))
    (part,) = fit.joint(CaseDemand(1, (A, B), (known,))).parts
    assert part.unknown.tolist() == [False, True]
    refusing = Rule(1, 0, frozenset({(0, 0)}))
    (part,) = fit.joint(CaseDemand(1, (A, B), (known, refusing))).parts
    assert part.rows.tolist() == [[0, 0]]


def test_slots_without_a_bond_stand_in_parts_of_their_own() -> None:
    law = fit.joint(
        CaseDemand(1, (A, B, SlotLaw("c", ("C1",), (1,))), (Rule(0, 2, frozenset({(0, 0), (1, 0)})),))
    )
    assert [part.slots for part in law.parts] == [(0, 2), (1,)]


def test_slots_that_may_draw_the_same_item_stand_together() -> None:
    left, right = SlotLaw("left", ("P1", "P2"), (1, 1)), SlotLaw("right", ("P2", "P3"), (1, 1))
    law = fit.joint(CaseDemand(1, (left, right)))
    assert [part.slots for part in law.parts] == [(0, 1)]
    assert fit.demand_laws(law)["P2"].tolist() == [0.25, 0.5, 0.25]


def test_needs_join_the_slots_their_designs_serve() -> None:
    banded = SetNeed("set", (SetOption("D1", ((0, frozenset({0})), (1, frozenset({1})))), SetOption("D2")))
    law = fit.joint(CaseDemand(1, (A, B), (), (banded, SetNeed("other", (SetOption("D3"),)))))
    assert [(part.slots, part.needs) for part in law.parts] == [((0, 1), (0,)), ((), (1,))]
    # D1 serves (A1, B2) only: .25 * .5
    assert fit.demand_laws(law)["D1"].tolist() == [0.875, 0.125]


def test_a_second_unit_is_part_of_the_demand() -> None:
    wasteful = SlotLaw("a", ("A1", "A2"), (1, 3), use=0.8, extra=0.25)
    asked = fit.demand_laws(fit.joint(CaseDemand(1, (wasteful,))))
    assert asked["A2"].tolist() == pytest.approx([0.4, 0.45, 0.15])


def test_more_combinations_than_can_be_listed_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fit, "MOST_ROWS", 3)
    everything = frozenset((i, j) for i in range(2) for j in range(2))
    with pytest.raises(TooManyOutcomesError, match="more than 3 combinations"):
        fit.joint(CaseDemand(1, (A, B), (Rule(0, 1, everything),)))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_the_joint_law_is_the_enumerated_one(seed: int) -> None:
    for case in random_world(seed)[0]:
        law = fit.joint(case)
        truth = outcomes(case)
        assert law.impossible == (not truth)
        if law.impossible:
            continue
        for part in law.parts:
            assert part.p.sum() == pytest.approx(1.0, abs=1e-12)
            assert (part.p > 0).all()
        for slot, shares in enumerate(fit.marginals(law)):
            for index, share in enumerate(shares):
                exact = sum(p for drawn, _, p in truth if drawn[slot] == index)
                assert share == pytest.approx(float(exact), abs=1e-12)
        unknown = 1.0 - np.prod([part.p[~part.unknown].sum() for part in law.parts])
        assert unknown == pytest.approx(float(sum(p for _, odd, p in truth if odd)), abs=1e-12)


@pytest.mark.parametrize(
    ("items", "weights", "words"),
    [
        (("A1",), (-1.0,), "not negative"),
        (("A1",), (float("nan"),), "finite"),
        (("A1", "A2"), (0.0, 0.0), "all weights are zero"),
        (("A1", "A1"), (1.0, 1.0), "listed twice"),
        (("A1", "A2"), (1.0,), "2 items but 1 weights"),
    ],
)
def test_weights_that_make_no_law_are_refused(
    items: tuple[str, ...], weights: tuple[float, ...], words: str
) -> None:
    with pytest.raises(PlanningError, match=words):
        SlotLaw("a", items, weights)


def test_chances_and_rules_that_make_no_sense_are_refused() -> None:
    with pytest.raises(PlanningError, match="chance between 0 and 1"):
        SlotLaw("a", ("A1",), (1.0,), use=1.5)
    with pytest.raises(PlanningError, match="names a slot that is not there"):
        CaseDemand(1, (A,), (Rule(0, 1, frozenset()),))
    with pytest.raises(PlanningError, match="names a slot that is not there"):
        CaseDemand(1, (A,), (), (SetNeed("set", (SetOption("D", ((3, frozenset()),)),)),))
    with pytest.raises(PlanningError, match="ends before it starts"):
        CaseDemand(1, (A,), start=5, end=4)
