"""Unbroken runs beside every run there is: they reach the target, hold the minimum, and none is cheaper."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cases.planning import boxes, running
from cases.planning.bringing import BY_NUMBER, Box, Costs, Run, SlotRanks
from cases.planning.brought import counts_of
from cases.planning.kinds import CaseDemand, PlanningError, Rule, SetNeed, SetOption, SlotLaw
from cases.planning.picking import shortest
from tests.cases.planning.brute_lists import best_runs, outcomes, served
from tests.cases.planning.test_picking import a_case, some_costs, some_shelf

SEEDS = st.integers(0, 10_000)
TARGETS = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99])


@dataclass(frozen=True)
class Question:
    """A case, its ranks, what is there, and the minimum asked for."""

    case: CaseDemand
    ranks: tuple[SlotRanks, ...]
    there: dict[str, int]
    costs: Costs
    each_way: int

    @property
    def shared(self) -> bool:
        items = [item for slot in self.case.slots for item in slot.items]
        designs = [item for need in self.case.needs for item in {o.item for o in need.options}]
        return len(set(items)) < len(items) or len(set(designs)) < len(designs)

    def asked(self, target: float, *, bare: bool = False) -> Run:
        ranks = [SlotRanks(one.sizes, one.seconds) for one in self.ranks] if bare else self.ranks
        return running.runs(
            self.case, ranks, self.there, self.there, target=target, each_way=self.each_way, costs=self.costs
        )


def a_question(seed: int) -> Question:
    """Up to two slots, one of them with second measures at times; sets, waste, both sides, empty shelves."""
    rng = random.Random(seed)
    case = a_case(seed)
    keep = [need for need in case.needs if all(s < 2 for option in need.options for s, _ in option.serves)]
    rules = tuple(rule for rule in case.rules if max(rule.a, rule.b) < 2)
    case = replace(case, slots=case.slots[:2], rules=rules, needs=tuple(keep))
    costs = BY_NUMBER if rng.random() < 0.5 else some_costs(case, seed)
    pooled = len({item for slot in case.slots for item in slot.items}) < sum(len(s.items) for s in case.slots)
    ranks = tuple(_ranks(rng, len(slot.items), second=not pooled) for slot in case.slots)
    there = some_shelf(case, seed)
    for need in case.needs:
        # Sets are there for all that may want them, or not at all: who goes without is asked for below.
        there.update((o.item, min(there[o.item], 1) * len(case.needs)) for o in need.options)
    return Question(case, ranks, there, costs, rng.randint(0, 1))


def _ranks(rng: random.Random, n: int, *, second: bool) -> SlotRanks:
    low = rng.randrange(n)
    planned = rng.choice([None, (low, min(n - 1, low + rng.randint(0, 1)))])
    if second and n > 2 and rng.random() < 0.3:
        return SlotRanks((0, 0, 1)[:n], (0, 1, 0)[:n], planned, rng.random() < 0.5)
    return SlotRanks.in_order(n, planned)


def possible(question: Question) -> bool:
    """Whether something fits, and something is there for every slot and every need."""
    case, there = question.case, question.there
    stocked = all(
        any(w > 0 and there[item] > 0 for item, w in zip(slot.items, slot.weights, strict=True))
        for slot in case.slots
    )
    equipped = all(any(there[option.item] > 0 for option in need.options) for need in case.needs)
    return bool(outcomes(case)) and stocked and equipped and served(case, there) > 0


# No cheaper run


@settings(max_examples=60, deadline=None)
@given(SEEDS, TARGETS)
def test_no_cheaper_unbroken_runs_reach_the_target(seed: int, target: float) -> None:
    question = a_question(seed)
    assume(possible(question))
    case, there = question.case, question.there
    bare, found = question.asked(target, bare=True), question.asked(target)
    least = running.minimum(case, question.ranks, question.each_way, dict(enumerate(bare.boxes)))
    full = float(served(case, there))
    # Sides that cannot both have enough bring what each would bring alone.
    assume(not question.shared or full >= target)
    goal = target if full >= target - 1e-12 else target * full
    for run, minimum in ((bare, {}), (found, least)):
        assert float(served(case, counts_of(case, run))) >= goal - 1e-9
        cost = best_runs(case, question.ranks, there, target, minimum, question.costs)
        assert 0 <= run.cost - cost <= run.gap
        assert run.proven == (run.gap == 0)


@settings(max_examples=60, deadline=None)
@given(SEEDS, TARGETS)
def test_runs_are_unbroken_hold_the_minimum_and_say_what_is_for_it_alone(seed: int, target: float) -> None:
    question = a_question(seed)
    assume(possible(question))
    case, found = question.case, question.asked(target)
    bare = question.asked(target, bare=True)
    least = running.minimum(case, question.ranks, question.each_way, dict(enumerate(bare.boxes)))
    for slot, minimum in least.items():
        box = found.boxes[slot]
        assert box is not None
        assert box.hull(minimum) == box
    left = dict(question.there)
    for slot, own, box, row in zip(case.slots, question.ranks, found.boxes, found.items, strict=True):
        inside = []
        for n, item in enumerate(slot.items):
            if box is not None and box.holds(own.sizes[n], own.seconds[n]) and left[item] > 0:
                left[item] -= 1
                inside.append(n)
        assert [one.index for one in row] == inside
    assert found.for_minimum == sum(one.quantity for row in found.items for one in row if one.minimum)
    if not question.shared:
        assert bare.cost == found.computed <= found.cost


@settings(max_examples=40, deadline=None)
@given(SEEDS, TARGETS)
def test_gaps_between_sizes_never_cost_more_than_an_unbroken_run(seed: int, target: float) -> None:
    question = a_question(seed)
    assume(possible(question))
    case, there, run = question.case, question.there, question.asked(target, bare=True)
    assume(not question.shared or served(case, there) >= target)
    free = shortest(case, target, available=there, sets=there, costs=question.costs)
    assert free.cost - free.gap <= run.cost


@settings(max_examples=25, deadline=None)
@given(SEEDS, TARGETS)
def test_what_is_kept_for_the_next_case_changes_no_answer(seed: int, target: float) -> None:
    question = a_question(seed)
    assume(possible(question))
    known: dict = {}

    def again() -> Run:
        return running.runs(
            question.case,
            question.ranks,
            question.there,
            question.there,
            target=target,
            each_way=question.each_way,
            costs=question.costs,
            known=known,
        )

    first = again()
    assert known
    assert again() == first == question.asked(target)


# Plain examples

FEMUR = SlotLaw("femoral", ("F1", "F2", "F3", "F4", "F5", "F6"), (1, 3, 60, 30, 5, 1))


def plenty(case: CaseDemand, n: int = 2) -> dict[str, int]:
    return {item: n for slot in case.slots for item in slot.items}


def bring(case: CaseDemand, *ranks: SlotRanks, target: float = 0.95, sets=None, **more) -> Run:
    return running.runs(case, ranks, more.pop("there", plenty(case)), sets or {}, target=target, **more)


def names(case: CaseDemand, run: Run, slot: int = 0) -> list[str]:
    return [case.slots[slot].items[one.index] for one in run.items[slot]]


def test_a_size_between_two_likely_ones_comes_along() -> None:
    case = CaseDemand(1, (SlotLaw("stem", ("S1", "S2", "S3", "S4", "S5"), (50, 0, 45, 5, 0)),))
    found = bring(case, SlotRanks.in_order(5, (2, 2)), target=0.9)
    assert names(case, found) == ["S1", "S2", "S3", "S4"]
    assert [one.minimum for one in found.items[0]] == [False, False, False, True]
    assert (found.computed, found.cost, found.for_minimum) == (3, 4, 1)


def test_one_size_each_way_is_cut_at_the_ends() -> None:
    case = CaseDemand(1, (SlotLaw("cup", ("C1", "C2", "C3"), (1, 0, 0)),))
    assert names(case, bring(case, SlotRanks.in_order(3, (0, 0)))) == ["C1", "C2"]
    assert names(case, bring(case, SlotRanks.in_order(3, (1, 1)), each_way=2)) == ["C1", "C2", "C3"]
    assert names(case, bring(case, SlotRanks.in_order(3, (0, 0)), each_way=0)) == ["C1"]


def insert_of(sizes: int, heights: int) -> SlotLaw:
    items = tuple(f"I{s}x{t}" for s in range(1, sizes + 1) for t in range(heights))
    return SlotLaw("insert", items, (9.0, *(1.0,) * (heights - 1)) * sizes)


def test_every_thickness_that_fits_the_run_is_brought() -> None:
    femur = SlotLaw("femoral", ("F1", "F2", "F3", "F4"), (0, 0, 1, 0))
    fits = Rule(0, 1, frozenset((s, 2 * s + t) for s in range(4) for t in range(2)))
    case = CaseDemand(1, (femur, insert_of(4, 2)), (fits,))
    found = bring(
        case, SlotRanks.in_order(4, (2, 2)), SlotRanks.in_order(8, seconds=2, all_seconds=True), target=0.8
    )
    assert names(case, found, 1) == ["I2x0", "I2x1", "I3x0", "I3x1", "I4x0", "I4x1"]
    assert [one.minimum for one in found.items[1]] == [True, True, False, True, True, True]


def test_a_slot_that_is_hardly_ever_used_brings_nothing() -> None:
    case = CaseDemand(1, (FEMUR, SlotLaw("augment", ("A1", "A2"), (1, 1), use=0.01)))
    found = bring(case, SlotRanks.in_order(6), SlotRanks.in_order(2))
    assert found.boxes[1] is None
    assert found.items[1] == ()


BLOCKS = SetNeed(
    "blocks",
    (SetOption("small", ((0, frozenset({0, 1, 2})),)), SetOption("large", ((0, frozenset({2, 3, 4, 5})),))),
)


def test_sets_serve_every_size_that_is_brought() -> None:
    case = CaseDemand(1, (FEMUR,), (), (BLOCKS,))
    both = {"small": 1, "large": 1}
    large = bring(case, SlotRanks.in_order(6), target=0.9, sets=both)
    assert (names(case, large), large.sets) == (["F3", "F4"], ((0, ("large",)),))
    wide = bring(case, SlotRanks.in_order(6, (2, 2)), target=0.9, sets=both)
    assert (names(case, wide), wide.sets) == (["F2", "F3", "F4"], ((0, ("small", "large")),))


def test_a_run_that_needs_one_set_is_shorter_than_one_of_as_many_sizes_that_needs_two() -> None:
    bands = SetOption("small", ((0, frozenset({0, 1, 2})),)), SetOption("large", ((0, frozenset({3, 4, 5})),))
    case = CaseDemand(1, (FEMUR,), (), (SetNeed("blocks", bands),))
    found = bring(case, SlotRanks.in_order(6), target=0.62, sets={"small": 1, "large": 1})
    assert (names(case, found), found.sets, found.cost) == (["F2", "F3"], ((0, ("small",)),), 3)


def test_bringing_nothing_for_an_optional_slot_may_beat_a_size_that_waste_may_use_up() -> None:
    knee = SlotLaw("femoral", ("F1", "F2", "F3"), (7, 8, 8), use=0.5, extra=0.1)
    case = CaseDemand(1, (knee, SlotLaw("patellar", ("P1", "P2"), (7, 3), use=0.8)))
    ranks = SlotRanks.in_order(3), SlotRanks.in_order(2)
    there = {"F1": 2, "F2": 2, "F3": 1, "P1": 1, "P2": 1}
    rules = (Rule(1, 0, frozenset({(0, 1), (1, 0), (1, 2), (0, 0), (1, 1), (0, 2)})),)
    case = replace(case, rules=rules)
    found = bring(case, *ranks, target=0.5, there=there)
    assert found.proven
    assert found.cost == best_runs(case, ranks, there, 0.5, {}, BY_NUMBER) == 2
    assert found.boxes[0] is None


def test_a_run_keeps_to_the_sizes_that_the_sets_there_serve() -> None:
    case = CaseDemand(1, (FEMUR,), (), (BLOCKS,))
    found = bring(case, SlotRanks.in_order(6), target=0.95, sets={"small": 1})
    assert names(case, found) == ["F2", "F3"]


def test_what_nothing_is_there_for_does_not_empty_the_other_runs() -> None:
    case = CaseDemand(1, (FEMUR, SlotLaw("tibial", ("T1", "T2"), (1, 1))), (), (BLOCKS,))
    there = {item: 1 for item in FEMUR.items}
    found = bring(case, SlotRanks.in_order(6), SlotRanks.in_order(2), target=0.9, there=there)
    assert names(case, found) == ["F3", "F4"]
    assert found.items[1] == ()
    assert found.sets == ((0, ()),)
    assert found.cost == 2


def test_two_needs_that_accept_one_set_each_get_their_own() -> None:
    first = SetNeed("left drill", (SetOption("A"), SetOption("B")))
    second = SetNeed("right drill", (SetOption("A"),))
    case = CaseDemand(1, (FEMUR,), (), (first, second))
    assert bring(case, SlotRanks.in_order(6), sets={"A": 1, "B": 1}).sets == ((0, ("B",)), (1, ("A",)))
    assert bring(case, SlotRanks.in_order(6), sets={"A": 2, "B": 1}).sets == ((0, ("A",)), (1, ("A",)))
    assert bring(case, SlotRanks.in_order(6), sets={"A": 1}).sets == ((0, ("A",)), (1, ()))


def test_both_sides_bring_a_run_each_and_no_more_than_there_are() -> None:
    law = ("P1", "P2", "P3"), (2.0, 96.0, 2.0)
    case = CaseDemand(1, (SlotLaw("left", *law), SlotLaw("right", *law)))
    ranks = [SlotRanks.in_order(3, (1, 1))] * 2
    assert counts_of(case, bring(case, *ranks)) == {"P1": 2, "P2": 2, "P3": 2}
    scarce = bring(case, *ranks, there={"P1": 1, "P2": 2, "P3": 1})
    assert counts_of(case, scarce) == {"P1": 1, "P2": 2, "P3": 1}


def test_a_second_unit_is_brought_where_it_is_cheaper_than_a_longer_run() -> None:
    case = CaseDemand(1, (replace(FEMUR, extra=0.1),))
    found = bring(case, SlotRanks.in_order(6), target=0.85)
    assert [(one.index, one.quantity) for one in found.items[0]] == [(2, 2), (3, 1)]
    dear = Costs({"F3": (1, 4)})
    longer = bring(case, SlotRanks.in_order(6), target=0.85, costs=dear)
    assert [(one.index, one.quantity) for one in longer.items[0]] == [(2, 1), (3, 1), (4, 1)]


def test_a_cheaper_run_lies_where_units_cost_less() -> None:
    even = SlotLaw("even", ("A", "B", "C", "D"), (25, 25, 25, 25))
    case = CaseDemand(1, (even,))
    assert names(case, bring(case, SlotRanks.in_order(4), target=0.7)) == ["A", "B", "C"]
    costs = Costs({"A": (3,)})
    assert names(case, bring(case, SlotRanks.in_order(4), target=0.7, costs=costs)) == ["B", "C", "D"]


@pytest.mark.parametrize("seed", range(12))
def test_too_many_boxes_are_trimmed_end_by_end_and_the_gap_is_said(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    question = a_question(seed)
    if not possible(question):
        return
    exact = question.asked(0.9)
    monkeypatch.setattr(boxes, "MOST_BOXES", 0)
    quick = question.asked(0.9)
    assert quick.cost - exact.cost <= quick.gap
    assert not quick.proven or quick.cost == exact.cost
    full = float(served(question.case, question.there))
    if question.shared and full < 0.9:
        return
    goal = 0.9 if full >= 0.9 - 1e-12 else 0.9 * full
    assert float(served(question.case, counts_of(question.case, quick))) >= goal - 1e-9


def test_an_impossible_case_is_refused() -> None:
    other = SlotLaw("tibial", ("T1",), (1,))
    case = CaseDemand(1, (FEMUR, other), (Rule(0, 1, frozenset()),))
    with pytest.raises(PlanningError, match="no combination"):
        bring(case, SlotRanks.in_order(6), SlotRanks.in_order(1))


def test_a_box_is_around_both() -> None:
    assert Box((1, 2), (0, 0)).hull(Box((3, 4), (1, 1))) == Box((1, 4), (0, 1))
