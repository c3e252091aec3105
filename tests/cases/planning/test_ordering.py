"""Orders of lists against every permutation."""

from __future__ import annotations

from itertools import permutations, product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning.kinds import PlanningError
from cases.planning.ordering import find_order
from cases.planning.ordering_kinds import DayList, ListCase, SetKind
from cases.planning.turnaround import AT_ONCE, Round, first_wait

LONG = 60.0
"""Seconds: these searches end long before, also on a busy machine."""


def starts_of(one: DayList, order: tuple[int, ...]) -> list[int]:
    """As in the house: gaps stay where they were, lengths go with their cases."""
    starts = list(one.starts)
    same = 0
    while same < len(order) and order[same] == same:
        same += 1
    for place in range(same + 1, len(order)):
        gap = max(0, one.starts[place] - one.starts[place - 1] - one.cases[place - 1].minutes)
        starts[place] = starts[place - 1] + one.cases[order[place - 1]].minutes + gap
    return starts


def nobody_waits(lists: list[DayList], orders: tuple[tuple[int, ...], ...], kinds: list[SetKind]) -> bool:
    uses = []
    for one, order in zip(lists, orders, strict=True):
        for start, case in zip(starts_of(one, order), order, strict=True):
            end = start + one.cases[case].minutes
            uses += [(start, end, need) for need in one.cases[case].needs]
    for choice in product(*(need for _, _, need in uses)):
        if all(
            first_wait([use[:2] for use, taken in zip(uses, choice, strict=True) if taken == number],
                       kind.ready, kind.way) is None
            for number, kind in enumerate(kinds)
        ):  # fmt: skip
            return True
    return False


def swaps_of(orders: tuple[tuple[int, ...], ...]) -> int:
    return sum(a > b for order in orders for n, a in enumerate(order) for b in order[n + 1 :])


def all_orders(lists: list[DayList]) -> Any:
    """Every order that leaves the fixed cases where they are."""
    own = [
        [
            order
            for order in permutations(range(len(one.cases)))
            if all(order[place] == place for place, case in enumerate(one.cases) if case.fixed)
        ]
        for one in lists
    ]
    return product(*own)


@st.composite
def days(draw: st.DrawFn) -> tuple[list[DayList], list[SetKind]]:
    queued = st.builds(
        Round,
        decon=st.integers(0, 4),
        cycle=st.integers(1, 4),
        cap=st.integers(1, 2),
        after=st.integers(0, 2),
    )
    way = st.one_of(st.builds(Round, decon=st.integers(0, 12)), queued)
    ready = st.lists(st.sampled_from([AT_ONCE, AT_ONCE, 4, 9]), max_size=2).map(tuple)
    kinds = draw(st.lists(st.builds(SetKind, ready=ready, way=way), min_size=1, max_size=2))
    need = st.sampled_from([(k,) for k in range(len(kinds))] * 2 + [tuple(range(len(kinds)))])
    lists = []
    for size in draw(st.sampled_from([(1,), (4,), (5,), (6,), (2, 3), (3, 3)])):
        cases, starts, minute = [], [], draw(st.integers(0, 6))
        for _ in range(size):
            needs = tuple(draw(st.lists(need, max_size=2 if size < 5 else 1)))
            cases.append(ListCase(draw(st.integers(1, 8)), needs, draw(st.integers(0, 9)) == 0))
            starts.append(minute)
            # At times the estimate of the next start lies before the end of this case.
            minute = max(minute, minute + cases[-1].minutes + draw(st.integers(-2, 4)))
        lists.append(DayList(tuple(starts), tuple(cases)))
    return lists, kinds


@settings(max_examples=150, deadline=None)
@given(days())
def test_an_order_is_found_if_and_only_if_there_is_one_and_it_changes_least(
    day: tuple[list[DayList], list[SetKind]],
) -> None:
    lists, kinds = day
    found = find_order(lists, kinds, seconds=LONG)
    assert found.proven
    good = [orders for orders in all_orders(lists) if nobody_waits(lists, orders, kinds)]
    if found.orders is None:
        assert good == []
    else:
        assert found.orders in good
        assert found.least
        assert found.swaps == swaps_of(found.orders) == min(swaps_of(orders) for orders in good)


def test_seven_cases_in_one_theatre_are_put_right_or_proven_impossible() -> None:
    block, saw = SetKind((AT_ONCE,), Round(150)), SetKind((AT_ONCE, AT_ONCE), Round(240))
    cases = tuple(
        ListCase(minutes, needs)
        for minutes, needs in (
            (60, ((0,),)), (75, ((0,), (1,))), (50, ()), (90, ((1,),)), (45, ()), (80, ((1,),)), (55, ((0,),))
        )
    )  # fmt: skip
    starts = [480]
    for case in cases[:-1]:
        starts.append(starts[-1] + case.minutes + 15)
    day = [DayList(tuple(starts), cases)]
    found = find_order(day, [block, saw], seconds=LONG)
    good = [orders for orders in all_orders(day) if nobody_waits(day, orders, [block, saw])]
    assert found.orders in good
    assert found.swaps == min(swaps_of(orders) for orders in good)
    never = find_order(day, [SetKind((AT_ONCE,), Round(300)), saw], seconds=LONG)
    assert (never.orders, never.proven) == (None, True)


def test_twenty_cases_are_settled_with_few_states() -> None:
    """Four theatres, five cases each; one kind of which the sets are few, one that is plentiful."""
    scarce, plenty = SetKind((AT_ONCE,) * 3, Round(240)), SetKind((AT_ONCE,) * 20, Round(240))
    user, other = ListCase(90, ((0,), (1,))), ListCase(60, ((1,),))
    lists = [DayList((510, 615, 720, 825, 930), (user, user, other, other, other)) for _ in range(4)]
    found = find_order(lists, [scarce, plenty], seconds=LONG)
    assert found.proven
    assert found.states < 50_000
    if found.orders is not None:
        assert nobody_waits(lists, found.orders, [scarce, plenty])
    two = SetKind((AT_ONCE,) * 2, Round(240))
    never = find_order(lists, [two, plenty], seconds=LONG)
    assert (never.orders, never.proven) == (None, True)
    assert never.states < 50_000


def test_a_search_that_runs_out_of_time_says_that_it_proved_nothing() -> None:
    scarce = SetKind((AT_ONCE,) * 2, Round(100))
    cases = tuple(ListCase(20 + 7 * n % 60, ((0,),)) for n in range(20))
    starts = tuple(480 + 60 * n for n in range(20))
    found = find_order([DayList(starts, cases)], [scarce], seconds=0.0)
    assert found.orders is None or not found.least


def test_what_is_fixed_stays() -> None:
    one = SetKind((AT_ONCE,), Round(60))
    user, other = ListCase(90, ((0,),)), ListCase(70)
    starts = (480, 570, 660)
    assert find_order([DayList(starts, (user, user, other))], [one], seconds=LONG).orders == ((0, 2, 1),)
    held = ListCase(70, fixed=True)
    found = find_order([DayList(starts, (user, user, held))], [one], seconds=LONG)
    assert (found.orders, found.proven) == (None, True)


@pytest.mark.parametrize(
    "lists",
    [
        [DayList((480,), ())],
        [DayList((480, 470), (ListCase(10), ListCase(10)))],
        [DayList((480,), (ListCase(0),))],
        [DayList((480,), (ListCase(10, ((1,),)),))],
        [DayList((480,), (ListCase(10, ((),)),))],
    ],
)
def test_lists_that_make_no_sense_are_refused(lists: list[DayList]) -> None:
    with pytest.raises(PlanningError):
        find_order(lists, [SetKind((AT_ONCE,), Round(10))])


def test_an_empty_day_stands_as_it_is() -> None:
    assert find_order([], [], seconds=LONG).orders == ()
    assert find_order([DayList((), ())], [], seconds=LONG).orders == ((),)
