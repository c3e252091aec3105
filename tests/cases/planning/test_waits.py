"""Waits as laws, against every minute followed by itself."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.planning.durations import Law
from cases.planning.kinds import PlanningError
from cases.planning.waits import Machine, carried, last_of, left_of, load_starts, not_before

LAWS = st.builds(
    lambda first, weights: Law.histogram([first + 3 * n for n in range(len(weights))], weights),
    st.integers(0, 20), st.lists(st.integers(0, 3), min_size=1, max_size=4).filter(any),
)  # fmt: skip
RUNS = st.lists(st.tuples(st.integers(0, 40), st.integers(0, 9)), max_size=5).map(sorted)


def rows(law: Law) -> dict[int | None, float]:
    found: dict[int | None, float] = {law.first + n: float(p) for n, p in enumerate(law.p) if p > 0}
    return {**found, None: law.never} if law.never > 0 else found


def followed(law: Law, step) -> dict[int | None, float]:  # type: ignore[no-untyped-def]
    found: dict[int | None, float] = {}
    for minute, chance in rows(law).items():
        at = step(minute) if minute is not None else None
        found[at] = found.get(at, 0.0) + chance
    return found


@given(LAWS, st.integers(-5, 40))
def test_not_before_is_the_later_of_the_two(law: Law, minute: int) -> None:
    assert rows(not_before(law, minute)) == pytest.approx(followed(law, lambda at: max(at, minute)))


@given(LAWS, RUNS)
def test_what_is_carried_arrives_with_the_next_run_or_never(law: Law, runs: list[tuple[int, int]]) -> None:
    def step(at: int) -> int | None:
        return next((leaves + minutes for leaves, minutes in runs if leaves >= at), None)

    found = carried(law, [leaves for leaves, _m in runs], [leaves + m for leaves, m in runs])
    assert rows(found) == pytest.approx(followed(law, step))


@given(st.lists(LAWS, min_size=1, max_size=3))
def test_the_last_of_several_is_their_greatest(laws: list[Law]) -> None:
    expected: dict[int | None, float] = {}
    for combination in product(*[rows(law).items() for law in laws]):
        chance = 1.0
        for _minute, p in combination:
            chance *= p
        last = max(minute for minute, _p in combination if minute is not None)
        expected[last] = expected.get(last, 0.0) + chance
    found = {minute: p for minute, p in rows(last_of(laws)).items() if p > 1e-12}
    assert found == pytest.approx(expected)


def test_the_last_of_one_that_never_comes_never_comes() -> None:
    never = carried(Law.point(5), [], [])
    assert last_of([Law.point(1), never]).when(0.5) is None
    assert last_of([Law(3, Law.point(3).p * 0.5, 0.5), Law.point(4)]).never == pytest.approx(0.5)


@given(LAWS, st.integers(0, 40), st.sampled_from([0.01, 0.1, 1.0]))
def test_what_is_left_is_that_of_the_stages_that_lasted_longer_and_of_one_begun_anew(
    law: Law, passed: int, afresh: float
) -> None:
    weights: dict[int | None, float] = {}
    for minute, p in rows(law).items():
        assert minute is not None
        if minute > passed:
            weights[minute - passed] = weights.get(minute - passed, 0.0) + p
        anew = max(1, minute)
        weights[anew] = weights.get(anew, 0.0) + p * afresh
    total = sum(weights.values())
    found = left_of(law, passed, afresh)
    assert rows(found) == pytest.approx({minute: w / total for minute, w in weights.items()})
    assert found.first >= 1


@given(
    st.lists(
        st.builds(Machine, st.integers(0, 60), st.integers(1, 90), st.integers(1, 4)), min_size=1, max_size=3
    ),
    st.integers(0, 12),
)
def test_nobody_in_the_queue_starts_before_a_machine_is_free_or_after_one_stands_idle(
    machines: list[Machine], packs: int
) -> None:
    starts = load_starts(machines, packs)
    assert len(starts) == packs and starts == sorted(starts)
    for minute in set(starts):
        # So many could be in machines by this minute, each machine loading whenever it is free.
        room = sum(
            one.capacity * ((minute - one.free_at) // one.minutes + 1)
            for one in machines
            if minute >= one.free_at
        )
        begun = sum(start <= minute for start in starts)
        assert begun == min(packs, room)


def test_without_machines_nobody_starts() -> None:
    assert load_starts([], 3) == []


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Machine(0, 0, 1),
        lambda: Machine(0, 1, 0),
        lambda: left_of(Law.point(3), 1, 0.0),
        lambda: last_of([]),
        lambda: carried(Law.point(1), [5, 4], [6, 7]),
        lambda: carried(Law.point(1), [5], [6, 7]),
    ],
)
def test_waits_that_make_no_sense_are_refused(wrong: object) -> None:
    with pytest.raises(PlanningError):
        wrong()  # type: ignore[operator]
