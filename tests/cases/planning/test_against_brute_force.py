"""Small lists with every feature, against every outcome enumerated in fractions."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import pytest

from cases.planning import flows, sharing
from cases.planning.kinds import NEVER, CaseDemand, Shelf, UnitStock
from tests.cases.planning.brute import Drawn, Enumerated, Past, meet, run
from tests.cases.planning.fortnight import fortnight
from tests.cases.planning.worlds import random_world

CLOSE = 1e-12
SEEDS = [seed for seed in range(48) if seed != 24]  # 24 has too many histories to be worth its time


@cache
def world(seed: int) -> tuple[tuple[CaseDemand, ...], Shelf, Enumerated]:
    """A small world and all its histories."""
    cases, shelf = random_world(seed)
    return cases, shelf, run(cases, shelf)


@pytest.mark.parametrize("seed", SEEDS)
def test_each_case_finds_what_enumeration_finds(seed: int) -> None:
    cases, shelf, (truths, _, _, _) = world(seed)
    for truth, found in zip(truths, sharing.assess(cases, shelf), strict=True):
        assert found.exact
        assert found.impossible == (not truth.possible)
        assert found.p_short_low == pytest.approx(float(truth.short_low), abs=CLOSE)
        assert found.p_short_high == pytest.approx(float(truth.short_high), abs=CLOSE)
        assert found.p_cover_high == pytest.approx(float(1 - truth.short_low), abs=CLOSE)
        assert found.p_cover_low == pytest.approx(float(1 - truth.short_high), abs=CLOSE)
        assert found.p_unknown == pytest.approx(float(truth.unknown), abs=CLOSE)
        missing = {one.item: one.p for one in found.missing}
        assert missing == pytest.approx({i: float(p) for i, p in truth.missing.items()}, abs=CLOSE)
        unserved = {one.item: one.p for one in found.unserved}
        assert unserved == pytest.approx({n: float(p) for n, p in truth.unserved.items()}, abs=CLOSE)


@pytest.mark.parametrize("seed", SEEDS[::2])
def test_the_list_as_a_whole_agrees_with_enumeration(seed: int) -> None:
    cases, shelf, (_, first, spread, careful) = world(seed)
    found = sharing.serve_list(cases, shelf)
    assert found.exact
    assert found.p_all == pytest.approx(float(spread[0]), abs=CLOSE)
    assert found.p_all_cautious == pytest.approx(float(careful), abs=CLOSE)
    assert found.p_any_short == pytest.approx(float(1 - spread[0]), abs=CLOSE)
    assert found.p_first_short == pytest.approx([float(p) for p in first], abs=CLOSE)
    assert found.dist_short == pytest.approx([float(p) for p in spread], abs=CLOSE)
    assert found.exp_short == pytest.approx(float(sum(n * p for n, p in enumerate(spread))), abs=CLOSE)


@pytest.mark.parametrize("seed", SEEDS[::3])
def test_bounds_are_never_below_the_truth(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flows, "MOST_MOVES", 0)
    cases, shelf, (truths, _, spread, careful) = world(seed)
    for truth, found in zip(truths, sharing.assess(cases, shelf), strict=True):
        assert found.exact == (not truth.possible)
        assert found.p_short_low >= float(truth.short_low) - CLOSE
        assert found.p_short_high >= float(truth.short_high) - CLOSE
        assert found.p_cover_low <= float(1 - truth.short_high) + CLOSE
        missing = {one.item: one.p for one in found.missing}
        for item, p in truth.missing.items() if truth.possible else ():
            if p:
                assert missing[item] >= float(p) - CLOSE
    whole = sharing.serve_list(cases, shelf)
    if not whole.exact:
        assert whole.p_all <= float(spread[0]) + CLOSE
        assert whole.p_all_cautious <= float(careful) + CLOSE


@pytest.mark.parametrize("seed", [1, 2, 3, 5, 7])
def test_one_more_is_one_more_held_for_the_case(seed: int) -> None:
    cases, shelf = random_world(seed)
    for position, found in enumerate(sharing.assess(cases, shelf)):
        for more in [m for m in found.one_more if m.item not in shelf.sets][:2]:
            old = shelf.units.get(more.item, UnitStock())
            held = {**old.held, found.ref: (*old.held.get(found.ref, ()), NEVER)}
            richer = Shelf({**shelf.units, more.item: replace(old, held=held)}, shelf.sets)
            truth = run(cases, richer)[0][position]
            assert more.p_short_low == pytest.approx(float(truth.short_low), abs=CLOSE)
            assert more.p_short_high == pytest.approx(float(truth.short_high), abs=CLOSE)


@pytest.mark.parametrize("seed", [1, 4, 9])
def test_what_if_is_the_truth_on_the_richer_shelf(seed: int) -> None:
    cases, shelf = random_world(seed)
    for item in ("F2", "D1"):
        truths = run(cases, shelf.with_more(item))[0]
        found = sharing.what_if(cases, shelf, item)
        assert [a.p_short_high for a in found] == pytest.approx(
            [float(t.short_high) for t in truths], abs=CLOSE
        )


def test_bounds_of_a_long_list_are_not_below_a_simulation() -> None:
    cases, shelf = _in_ten_minutes(*fortnight(seed=3, n=24, scale=1.5))
    found = sharing.assess(cases, shelf)
    assert any(not answer.exact for answer in found)
    runs, short = 150, [0] * len(cases)
    rng = random.Random(7)
    for _ in range(runs):
        past = Past()
        for position, case in enumerate(cases):
            drawn, asked = _drawn(rng, case)
            new, _, _ = meet(case, drawn, asked, shelf, past, cases)
            short[position] += new is None
            past = past if new is None else new
    for answer, count in zip(found, short, strict=True):
        share = count / runs
        error = (max(share * (1 - share), 0.004) / runs) ** 0.5
        assert answer.p_short_high >= share - 4 * error
        if answer.exact:
            assert answer.p_short_high == pytest.approx(share, abs=4 * error)


def _in_ten_minutes(cases: tuple[CaseDemand, ...], shelf: Shelf) -> tuple[tuple[CaseDemand, ...], Shelf]:
    """The same with time in steps of ten minutes: the plain way looks at every step."""
    slow = tuple(replace(case, start=case.start // 10, end=case.end // 10) for case in cases)
    sets = {item: replace(stock, turnaround=stock.turnaround // 10) for item, stock in shelf.sets.items()}
    return slow, Shelf(shelf.units, sets)


def _drawn(rng: random.Random, case: CaseDemand) -> tuple[Drawn, dict[str, int]]:
    """One outcome and what it asks for: slots drawn apart until the rules are met."""
    while True:
        drawn = tuple(
            rng.choices(range(len(slot.items)), slot.weights)[0] if rng.random() < slot.use else None
            for slot in case.slots
        )
        if all(
            drawn[rule.a] is None or drawn[rule.b] is None or (drawn[rule.a], drawn[rule.b]) in rule.allow
            for rule in case.rules
        ):
            break
    asked: dict[str, int] = {}
    for slot, index in zip(case.slots, drawn, strict=True):
        if index is not None:
            asked[slot.items[index]] = asked.get(slot.items[index], 0) + 1 + (rng.random() < slot.extra)
    return drawn, asked
