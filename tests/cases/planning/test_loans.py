"""Loans, orders and transfers at least cost, against trying every choice."""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import loans
from cases.planning.asks import asks
from cases.planning.coverage import cover
from cases.planning.fit import joint
from cases.planning.kinds import (
    NEVER,
    CaseDemand,
    PlanningError,
    Rule,
    SetNeed,
    SetOption,
    SetStock,
    Shelf,
    SlotLaw,
    UnitStock,
)
from cases.planning.loans import propose
from cases.planning.loans_cover import Action, Present, Wish, brought, short
from cases.planning.loans_programme import TIE
from cases.planning.loans_shared import propose_shared
from tests.cases.planning.shoppers import a_case, some_actions, some_present
from tests.cases.planning.worlds import random_world

TARGETS = st.sampled_from([0.8, 0.9, 0.95, 0.99])
HALF = SlotLaw("slot", ("A", "B"), (1, 1))


def cheapest(
    cases: Sequence[CaseDemand], present: Sequence[Present], actions: Sequence[Action], target: float
) -> tuple[float, set[int]]:
    """By trying every choice: the least cost for the cases that can be helped, and the others' refs."""
    wishes = [Wish.of(case, own) for case, own in zip(cases, present, strict=True)]
    allowed = 1.0 - target + TIE
    everything = [action.most for action in actions]
    able = [wish for wish in wishes if short(wish, brought(wish, actions, everything)) <= allowed]
    costs = [
        sum(action.cost * times for action, times in zip(actions, chosen, strict=True))
        for chosen in product(*(range(action.most + 1) for action in actions))
        if all(short(wish, brought(wish, actions, chosen)) <= allowed for wish in able)
    ]
    return min(costs), {wish.case.ref for wish in wishes if wish not in able}


@settings(deadline=None, max_examples=60)
@given(st.randoms(use_true_random=False), TARGETS, st.booleans(), st.booleans())
def test_the_proposal_costs_the_least_of_all_choices(
    rng: random.Random, target: float, linked: bool, in_parts: bool
) -> None:
    extra = rng.choice([0.0, 0.1])
    cases = [
        a_case(rng, n, slots=rng.randint(1, 3), linked=False, extra=extra)
        if not linked
        else a_case(rng, n, slots=rng.randint(2, 3), linked=True, extra=extra)
        for n in range(3)
    ]
    present = [some_present(rng, case, in_parts=in_parts) for case in cases]
    actions = some_actions(rng, cases, 5)
    found = propose(cases, present, actions, target, seconds=30.0)
    least, hopeless = cheapest(cases, present, actions, target)
    assert (found.method, found.proven) == ("programme", True)
    assert found.cost == pytest.approx(least)
    assert found.bound == pytest.approx(least) and found.gap == 0.0
    assert {one.ref for one in found.hopeless} == hopeless
    for one in found.cases:
        assert one.ref in hopeless or one.p_short <= 1 - target + 2 * TIE


@settings(deadline=None, max_examples=30)
@given(st.randoms(use_true_random=False), TARGETS, st.booleans())
def test_without_the_solver_the_greedy_reaches_the_target_and_says_what_it_is(
    rng: random.Random, target: float, linked: bool
) -> None:
    cases = [a_case(rng, n, linked=linked) for n in range(3)]
    present = [some_present(rng, case) for case in cases]
    actions = some_actions(rng, cases, 5)
    found = propose(cases, present, actions, target, solver=False)
    least, hopeless = cheapest(cases, present, actions, target)
    assert (found.method, found.proven, found.rounds) == ("greedy", False, 0)
    assert found.bound - 1e-9 <= least <= found.cost + 1e-9
    assert all(one.ref in hopeless or one.p_short <= 1 - target + 2 * TIE for one in found.cases)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10**6))
def test_the_check_is_that_of_coverage(seed: int) -> None:
    """With plain counts, on lists with every feature: both sides on one item, sets, wasted units."""
    cases, _shelf = random_world(seed)
    rng = random.Random(seed)
    for case in cases:
        law = joint(case)
        items = {item for slot in case.slots for item in slot.items}
        items |= {option.item for need in case.needs for option in need.options}
        counts = {item: rng.randint(0, 2) for item in sorted(items)}
        wish = Wish.of(case, {item: (1.0,) * n for item, n in counts.items()}, law)
        answer = cover(case, counts, law)
        fitting = short(wish, {})
        assert answer.p_short_low - 1e-12 <= fitting <= answer.p_short_high + 1e-12
        if not answer.p_unknown:
            assert fitting == pytest.approx(answer.p_short_high, abs=1e-12)
        if not law.impossible:
            assert [sum(ask.p for ask in part) for part in asks(law)] == pytest.approx([1.0] * len(law.parts))


def test_a_tangent_is_added_where_the_first_answer_misses_by_the_exact_sums() -> None:
    """Two slots at .9 each: the sum of covers passes the tangent at 1, their product .81 misses .82."""
    slots = tuple(SlotLaw(f"s{n}", (f"A{n}", f"B{n}"), (90, 10)) for n in range(2))
    case = CaseDemand(1, slots)
    there = [{f"A{n}": (1.0,) for n in range(2)}]
    orders = [Action("B0", "order", 5.0, {"B0": 1}), Action("B1", "order", 6.0, {"B1": 1})]
    found = propose([case], there, orders, 0.81)
    assert (found.chosen, found.rounds) == ((), 1)
    found = propose([case], there, orders, 0.815)
    assert (found.chosen, found.proven) == ((("B0", 1),), True)
    assert found.rounds == 2
    # The tangent sends the search past all that is cheap and does not help.
    decoys = [Action(f"other {n}", "order", 0.1, {f"other {n}": 1}) for n in range(12)]
    assert propose([case], there, [*decoys, *orders], 0.815).rounds == 2


def test_what_comes_too_late_for_a_case_does_not_count_for_it() -> None:
    case = CaseDemand(1, (HALF,), day=4)
    early, late = (Action(f"{day}", "loan", 10.0 - day, {"A": 1, "B": 1}, arrives=day) for day in (4, 5))
    found = propose([case], [{}], [early, late], 0.9)
    assert (found.chosen, found.rounds) == ((("4", 1),), 1)


def test_a_case_that_nothing_mends_is_named_and_the_others_are_mended() -> None:
    lost = CaseDemand(7, (SlotLaw("slot", ("A", "X"), (1, 1)),))
    found = propose(
        [lost, CaseDemand(8, (HALF,))], [{}, {"A": (1.0,)}], [Action("b", "order", 3.0, {"B": 1})], 0.9
    )
    assert [(one.ref, one.p_short) for one in found.hopeless] == [(7, 1.0)]
    assert (found.chosen, found.cost, found.proven) == ((("b", 1),), 3.0, True)
    assert [one.p_short for one in found.cases] == [1.0, 0.0]


def test_one_that_two_slots_ask_for_must_come_twice() -> None:
    both = CaseDemand(1, (SlotLaw("left", ("A",), (1,)), SlotLaw("right", ("A",), (1,))))
    found = propose([both], [{}], [Action("A", "order", 4.0, {"A": 1}, most=3)], 0.9)
    assert found.chosen == (("A", 2),)
    assert propose([both], [{"A": (1.0,)}], [Action("A", "order", 4.0, {"A": 1}, most=3)], 0.9).cost == 4.0


def test_a_lent_set_serves_only_the_sizes_it_serves() -> None:
    band = SetNeed("sizer", (SetOption("D1", ((0, frozenset({0})),)), SetOption("D2")))
    case = CaseDemand(1, (HALF,), needs=(band,))
    there = [{"A": (1.0,), "B": (1.0,)}]
    lent = [Action("small", "loan", 5.0, {"D1": 1}), Action("all", "loan", 8.0, {"D2": 1})]
    assert propose([case], there, lent, 0.5).chosen == (("small", 1),)
    assert propose([case], there, lent, 0.9).chosen == (("all", 1),)


def test_faint_outcomes_are_charged_as_lost_unless_that_leaves_no_answer() -> None:
    faint = [f"f{n}" for n in range(20)]
    weights = (1.0 - 20 * 9e-7, *(9e-7 for _ in faint))
    case = CaseDemand(1, (SlotLaw("slot", ("A", *faint), weights),))
    orders = [Action(item, "order", 1.0, {item: 1}) for item in ("A", *faint)]
    charged = propose([case], [{}], orders, 0.99)
    assert charged.chosen == (("A", 1),)
    assert charged.charged == pytest.approx(20 * 9e-7)
    strict = propose([case], [{}], orders, 1.0 - 5e-6)
    assert (strict.method, strict.charged) == ("programme", 0.0)
    assert strict.cost == 1.0 + 15


def test_without_the_solver_the_greedy_answers_with_the_bound_of_what_must_be_done() -> None:
    case = CaseDemand(1, (HALF,))
    orders = [
        Action("a", "order", 2.0, {"A": 1}),
        Action("b", "order", 3.0, {"B": 1}),
        Action("once more", "order", 9.0, {"A": 1}),
    ]
    found = propose([case], [{}], orders, 0.9, solver=False)
    assert (found.method, found.cost, found.bound, found.gap) == ("greedy", 5.0, 3.0, 0.4)


def test_out_of_time_all_is_done_and_nothing_is_claimed_of_what_it_must_cost() -> None:
    case = CaseDemand(1, (HALF,))
    orders = [Action(name, "order", 2.0, {name[0]: 1}) for name in ("A", "B", "A too")]
    found = propose([case], [{}], orders, 0.9, seconds=0.0)
    assert (found.method, found.cost, found.bound, found.proven) == ("greedy", 6.0, 0.0, False)
    assert found.cases[0].p_short == 0.0


def test_nothing_to_do_costs_nothing() -> None:
    found = propose(
        [CaseDemand(1, (HALF,))], [{"A": (1.0,), "B": (1.0,)}], [Action("a", "order", 2.0, {"A": 1})], 0.9
    )
    assert (found.chosen, found.cost, found.gap) == ((), 0.0, 0.0)
    assert propose([], [], [], 0.9).proven


def test_the_solver_is_used_where_it_is_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    given = ([CaseDemand(1, (HALF,))], [{}], [Action("all", "loan", 2.0, {"A": 1, "B": 1})], 0.9)
    assert propose(*given).method == "programme"
    monkeypatch.setattr(loans, "installed", lambda: False)
    assert propose(*given).method == "greedy"


def test_two_cases_that_want_the_one_unit_on_the_shelf_are_both_served() -> None:
    """Alone, each finds it; in order the second does not, so what the first leaves is fed back."""
    cases = [CaseDemand(n, (SlotLaw("slot", ("A",), (1,)),), start=n, end=n, day=2) for n in (1, 2)]
    shelf = Shelf(units={"A": UnitStock((NEVER,))})
    found = propose_shared(cases, shelf, [Action("a", "order", 4.0, {"A": 1}, arrives=1)], 0.9)
    assert found.fed_back
    assert (found.proposal.chosen, found.missed) == ((("a", 1),), ())
    assert [answer.p_short_high for answer in found.answers] == [0.0, 0.0]
    enough = Shelf(units={"A": UnitStock((NEVER, NEVER))})
    alone = propose_shared(cases, enough, [Action("a", "order", 4.0, {"A": 1}, arrives=1)], 0.9)
    assert (alone.fed_back, alone.proposal.chosen) == (False, ())


def test_a_lent_unit_that_the_first_case_takes_is_told_as_missed_by_the_second() -> None:
    cases = [CaseDemand(n, (SlotLaw("slot", ("A",), (1,)),), start=n, end=n, day=2) for n in (1, 2)]
    found = propose_shared(cases, Shelf(), [Action("a", "loan", 4.0, {"A": 1}, arrives=1)], 0.9)
    assert found.proposal.cases[1].p_short == 0.0
    assert found.missed == (2,)


def test_a_lent_set_comes_on_its_day_and_goes_round() -> None:
    need = (SetNeed("set", (SetOption("D1"),)),)
    cases = [CaseDemand(n, (), needs=need, start=1440 * n, end=1440 * n + 60, day=n) for n in (1, 2, 3)]
    shelf = Shelf(sets={"D1": SetStock(0, 600)})
    found = propose_shared(cases, shelf, [Action("set", "loan", 9.0, {"D1": 1}, arrives=2)], 0.9)
    assert [one.ref for one in found.proposal.hopeless] == [1]
    assert [answer.p_short_high for answer in found.answers] == [1.0, 0.0, 0.0]
    assert found.missed == (1,)


def test_nonsense_is_refused() -> None:
    case = CaseDemand(1, (HALF,))
    twice = [Action("a", "order", 1.0, {"A": 1})] * 2
    for call in (
        lambda: Action("a", "order", -1.0, {"A": 1}),
        lambda: Action("a", "order", float("nan"), {"A": 1}),
        lambda: Action("a", "order", 1.0, {"A": 0}),
        lambda: Action("a", "order", 1.0, {"A": 1}, most=-1),
        lambda: propose([case], [{}], [], 0.0),
        lambda: propose([case], [{}], [], 1.1),
        lambda: propose([case], [], [], 0.9),
        lambda: propose([case], [{}], twice, 0.9),
    ):
        with pytest.raises(PlanningError):
            call()


def test_an_impossible_case_is_hopeless() -> None:
    bad = CaseDemand(1, (HALF, SlotLaw("b", ("C",), (1,))), (Rule(0, 1, frozenset()),))
    found = propose([bad], [{}], [Action("a", "order", 1.0, {"A": 1})], 0.9)
    assert [one.p_short for one in found.hopeless] == [1.0]
    assert found.chosen == ()
