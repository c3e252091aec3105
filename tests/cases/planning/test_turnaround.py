"""Identical sets over a day against a plain trial of every sequence of loads."""

from __future__ import annotations

from functools import cache
from itertools import combinations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cases.planning.kinds import PlanningError
from cases.planning.turnaround import AT_ONCE, KindOfSet, Round, Wait, fewest_sets, over_a_day, shared_day


def served_by_some_loads(
    cases: list[tuple[int, int]], ready: list[int], way: Round, ends: list[int] | None = None
) -> bool:
    """Every sequence of loads, minute by minute: each time any load of what is there may go on."""
    ends = ends or [end for _, end in cases]
    order = sorted(range(len(cases)), key=lambda i: (cases[i][0], i))
    last = max(start for start, _ in cases)

    @cache
    def go(
        minute: int, next_case: int, there: int, at_machine: int, loads: tuple[tuple[int, int], ...]
    ) -> bool:
        # there: usable sets. at_machine: sets waiting. loads: (usable from, how many).
        if minute > last:
            return True
        there += sum(count for usable, count in loads if usable == minute) + ready.count(minute)
        loads = tuple(load for load in loads if load[0] != minute)
        while next_case < len(order) and cases[order[next_case]][0] == minute:
            if not there:
                return False
            there, next_case = there - 1, next_case + 1
        used = order[:next_case]
        at_machine += sum(ends[i] + way.decon == minute for i in used)
        busy = sum(usable - way.after > minute for usable, _ in loads)
        free = sum(machine <= minute for machine in way.free_at) - busy
        for loaded in range(min(free * way.cap, at_machine) + 1):
            new, left = [], loaded
            while left > 0:
                new.append((minute + way.cycle + way.after, min(way.cap, left)))
                left -= way.cap
            if go(minute + 1, next_case, there, at_machine - loaded, (*loads, *new)):
                return True
        return False

    return go(0, 0, sum(minute < 0 for minute in ready), 0, ())


@st.composite
def days(draw: st.DrawFn) -> tuple[list[tuple[int, int]], list[int], Round]:
    """A morning, and an afternoon that lives on what comes back of it; at times with hardly any set."""
    cases = []
    for early, late, most in ((1, 4, 3), (9, 22, 3)):
        for _ in range(draw(st.integers(1, most))):
            start = draw(st.integers(early, late))
            cases.append((start, start + draw(st.integers(1, 4))))
    few = st.lists(st.sampled_from([AT_ONCE, AT_ONCE, 6, 13]), max_size=3)
    ready = draw(st.one_of(st.just([AT_ONCE] * 3), st.just([AT_ONCE] * 2), few))
    machines = draw(st.sampled_from([(0,), (0,), (7,), (0, 0), (4, 9)]))
    way = Round(
        decon=draw(st.integers(0, 3)), cycle=draw(st.integers(1, 5)), cap=draw(st.integers(1, 3)),
        after=draw(st.integers(0, 2)), free_at=machines,
    )  # fmt: skip
    return cases, ready, way


@settings(max_examples=300, deadline=None)
@given(days())
def test_the_recursion_agrees_with_a_trial_of_all_loads(
    day: tuple[list[tuple[int, int]], list[int], Round],
) -> None:
    cases, ready, way = day
    found = over_a_day(cases, ready, way)
    assert found.feasible == served_by_some_loads(cases, ready, way)
    order = sorted(range(len(cases)), key=lambda i: (cases[i][0], i))
    if found.wait is not None:
        reach = order.index(found.wait.case)
        before = [cases[i] for i in order[:reach]]
        assert not before or served_by_some_loads(before, ready, way)
        with_it = [cases[i] for i in order[: reach + 1]]
        assert not served_by_some_loads(with_it, ready, way)
        if found.wait.until is not None:
            later = (found.wait.until, found.wait.until + 1)
            assert served_by_some_loads([*before, later], ready, way)
            assert not served_by_some_loads([*before, (later[0] - 1, later[1])], ready, way)
    enough = found.sets_needed
    assert served_by_some_loads(cases, [AT_ONCE] * enough, way)
    assert enough == 0 or not served_by_some_loads(cases, [AT_ONCE] * (enough - 1), way)


# Two loads in a row decide; a machine that is busy hides for a while that a set is late.
@example(([(1, 3), (1, 7), (10, 11), (12, 13)], [AT_ONCE] * 2, Round(0, 4, 1)))
@example(([(1, 2), (1, 3), (20, 21), (20, 21)], [AT_ONCE] * 2, Round(0, 3, 1, 0, (7,))))
@settings(max_examples=300, deadline=None)
@given(days())
def test_a_set_may_leave_as_late_as_said_and_no_later(
    day: tuple[list[tuple[int, int]], list[int], Round],
) -> None:
    cases, ready, way = day
    found = over_a_day(cases, ready, way)
    for number, leave in enumerate(found.latest_leave or ()):
        ends = [end for _, end in cases]
        ends[number] = 60 if leave is None else leave
        assert served_by_some_loads(cases, ready, way, ends)
        if leave is not None:
            assert leave >= cases[number][1]
            ends[number] = leave + 1
            assert not served_by_some_loads(cases, ready, way, ends)


@settings(deadline=None)
@given(days())
def test_without_a_queue_the_fewest_are_the_greatest_overlap(
    day: tuple[list[tuple[int, int]], list[int], Round],
) -> None:
    cases, _, way = day
    alone = Round(way.decon, way.cycle, 0, way.after)
    overlap = max(sum(a <= start < b + alone.shortest for a, b in cases) for start, _ in cases)
    assert fewest_sets(cases, alone) == overlap


def test_a_set_in_the_washer_counts_from_its_minute_on() -> None:
    way = Round(decon=60)
    assert over_a_day([(480, 500)], [480], way).feasible
    assert over_a_day([(480, 500)], [481], way).wait == Wait(0, 481, None)
    assert over_a_day([(480, 500)], [], way).wait == Wait(0, None, None)
    queued = Round(60, 30, 4)
    assert over_a_day([(480, 500)], [481], queued).wait == Wait(0, 481, None)
    assert over_a_day([(480, 500)], [], queued).wait == Wait(0, None, None)


def test_an_empty_day_needs_nothing() -> None:
    found = over_a_day([], [], Round(60, 30, 4))
    assert (found.wait, found.sets_needed, found.latest_leave) == (None, 0, ())


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Round(-1),
        lambda: Round(10, 0, 2),
        lambda: Round(10, 30, 2, 0, ()),
        lambda: over_a_day([(480, 480)], [0], Round(10)),
        lambda: KindOfSet(((480, 480),), (), 10),
        lambda: KindOfSet((), (), -1),
        lambda: shared_day([], (), 60, 2),
    ],
)
def test_what_could_not_be_is_refused(wrong: object) -> None:
    with pytest.raises(PlanningError):
        wrong()  # type: ignore[operator]


# Several kinds before the same machines


def returns_in_time(returns: list[tuple[int, int]], free_at: tuple[int, ...], cycle: int, cap: int) -> bool:
    """Every load of every subset of what is there, at every minute."""
    last = max((due for _, due in returns), default=0)

    @cache
    def go(minute: int, left: frozenset[int], machines: tuple[int, ...]) -> bool:
        if not left:
            return True
        if minute > last or any(returns[i][1] < minute + cycle for i in left):
            return False
        there = [i for i in left if returns[i][0] <= minute]
        if machines[0] <= minute:
            for size in range(min(cap, len(there)), 0, -1):
                for load in combinations(there, size):
                    after = tuple(sorted((minute + cycle, *machines[1:])))
                    if go(minute, left - frozenset(load), after):
                        return True
        return go(minute + 1, left, machines)

    return go(0, frozenset(range(len(returns))), tuple(sorted(free_at)))


@st.composite
def shared(draw: st.DrawFn) -> tuple[list[tuple[int, int]], tuple[int, ...], int, int]:
    cycle = draw(st.integers(1, 4))
    returns = []
    for _ in range(draw(st.integers(0, 6))):
        release = draw(st.integers(0, 14))
        returns.append((release, release + cycle + draw(st.integers(0, 8))))
    return returns, draw(st.sampled_from([(0,), (3,), (0, 2)])), cycle, draw(st.integers(1, 3))


@settings(deadline=None)
@given(shared())
def test_the_schedule_agrees_with_a_trial_of_all_loads(
    day: tuple[list[tuple[int, int]], tuple[int, ...], int, int],
) -> None:
    from cases.planning.sterilizing import DEPTH_FIRST, LIST_SCHEDULE, Return, schedule

    returns, free_at, cycle, cap = day
    found = schedule([Return(*one) for one in returns], free_at, cycle, cap)
    assert found.proven
    assert found.in_time == returns_in_time(returns, free_at, cycle, cap)
    assert found.method in (LIST_SCHEDULE, DEPTH_FIRST)
    loaded = [i for load in found.loads for i in load.returns]
    assert sorted(loaded) == list(range(len(returns)))
    for load in found.loads:
        assert len(load.returns) <= cap
        assert all(returns[i][0] <= load.start for i in load.returns)
    if found.in_time:
        assert all(load.start + cycle <= returns[i][1] for load in found.loads for i in load.returns)
        for at in sorted(load.start for load in found.loads):
            running = sum(load.start <= at < load.start + cycle for load in found.loads)
            assert running <= sum(free <= at for free in free_at)


def test_a_long_disputed_window_is_left_to_the_list_schedule_and_said_so() -> None:
    from cases.planning.sterilizing import LIST_SCHEDULE, Return, schedule

    # Going at once with the long one makes the urgent one behind it late, and the rest never lets go.
    returns = [Return(0, 10_000), Return(1, 12)] + [Return(2 + i, 10_000) for i in range(14)]
    found = schedule(returns, (0,), 10, 1)
    assert (found.in_time, found.proven, found.method) == (False, False, LIST_SCHEDULE)


@settings(deadline=None)
@given(days(), days())
def test_one_kind_alone_is_judged_as_identical_sets_are(
    day: tuple[list[tuple[int, int]], list[int], Round], other: tuple[list[tuple[int, int]], list[int], Round]
) -> None:
    cases, ready, way = day
    alone = over_a_day(cases, ready, way)
    kind = KindOfSet(tuple(cases), tuple(ready), way.decon, way.after)
    found = shared_day([kind], way.free_at, way.cycle, way.cap)
    assert found.feasible == alone.feasible
    if alone.wait is not None:
        assert found.first_conflict == (0, alone.wait.case)
    # Another kind before the same machines never helps.
    with_other = shared_day(
        [kind, KindOfSet(tuple(other[0]), tuple(other[1]), 1)], way.free_at, way.cycle, way.cap
    )
    assert alone.feasible or not with_other.feasible
