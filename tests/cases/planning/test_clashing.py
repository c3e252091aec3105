"""An impossible case names the rules that clash: without any one of them it would be possible."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import fit
from cases.planning.clashing import RefusedPair, clashes
from cases.planning.fit import joint
from cases.planning.kinds import CaseDemand, Rule, SlotLaw

FEMORAL = SlotLaw("femoral", ("F1", "F2", "F3"), (1, 5, 0))
TIBIAL = SlotLaw("tibial", ("T1", "T2", "T3"), (0, 0, 1))
INSERT = SlotLaw("insert", ("I1", "I2", "I3"), (1, 1, 1))
NEAR = Rule(0, 1, frozenset((i, j) for i in range(3) for j in range(3) if i == j))


def impossible(case: CaseDemand, numbers: tuple[int, ...]) -> bool:
    return joint(replace(case, rules=tuple(case.rules[n] for n in numbers))).impossible


def test_the_rule_that_refuses_every_predicted_pair_is_named_with_the_likeliest_pair() -> None:
    any_insert = Rule(0, 2, frozenset((i, j) for i in range(3) for j in range(3)))
    (clash,) = clashes(CaseDemand(1, (FEMORAL, TIBIAL, INSERT), (any_insert, NEAR)))
    assert clash.rules == (1,)
    assert clash.slots == (0, 1)
    assert clash.in_play == ((0, 1), (2,))
    assert clash.refused == (RefusedPair(1, 0, 1, 1, 2),)


def test_rules_that_only_clash_together_are_named_together() -> None:
    with_femoral = Rule(2, 0, frozenset((j, i) for i in range(3) for j in range(3) if i == j))
    with_tibial = Rule(2, 1, frozenset((j, i) for i in range(3) for j in range(3) if i == j))
    (clash,) = clashes(CaseDemand(1, (FEMORAL, TIBIAL, INSERT), (with_femoral, with_tibial)))
    assert clash.rules == (0, 1)
    assert clash.slots == (0, 1, 2)
    assert len(clash.refused) == 2


def test_two_clashes_that_have_nothing_to_do_with_each_other_are_both_named() -> None:
    stem, head = SlotLaw("stem", ("S1",), (1,)), SlotLaw("head", ("H1",), (1,))
    none = Rule(2, 3, frozenset())
    found = clashes(CaseDemand(1, (FEMORAL, TIBIAL, stem, head), (NEAR, none)))
    assert [clash.rules for clash in found] == [(0,), (1,)]


def test_an_optional_slot_and_a_pair_without_a_rule_do_not_clash() -> None:
    optional = replace(TIBIAL, use=0.5)
    assert clashes(CaseDemand(1, (FEMORAL, optional), (NEAR,))) == ()
    unknown = replace(NEAR, unknown=frozenset({(0, 2)}))
    assert clashes(CaseDemand(1, (FEMORAL, TIBIAL), (unknown,))) == ()


def test_a_slot_without_items_clashes_with_no_rule() -> None:
    assert clashes(CaseDemand(1, (SlotLaw("none", (), ()), FEMORAL), ())) == ()


def test_rules_whose_rest_is_too_large_to_list_are_kept(monkeypatch) -> None:
    monkeypatch.setattr(fit, "MOST_ROWS", 8)
    (clash,) = clashes(CaseDemand(1, (FEMORAL, TIBIAL, INSERT), (NEAR,)))
    assert clash.rules == (0,)


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10_000))
def test_each_clash_is_minimal_and_without_them_all_the_case_is_possible(seed: int) -> None:
    rng = random.Random(seed)
    slots = tuple(
        SlotLaw(f"s{n}", tuple(f"{n}:{i}" for i in range(2)), (1.0, float(rng.randint(0, 1))))
        for n in range(4)
    )
    rules = tuple(
        Rule(a, b, frozenset((i, j) for i in range(2) for j in range(2) if rng.random() < 0.45))
        for a, b in rng.sample(list(combinations(range(4), 2)), rng.randint(1, 5))
    )
    case = CaseDemand(1, slots, rules)
    found = clashes(case)
    assert bool(found) == joint(case).impossible
    for clash in found:
        assert impossible(case, clash.rules)
        for number in clash.rules:
            assert not impossible(case, tuple(n for n in clash.rules if n != number))
    named = {number for clash in found for number in clash.rules}
    assert not impossible(case, tuple(n for n in range(len(rules)) if n not in named))
