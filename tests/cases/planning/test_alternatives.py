"""Which of several sets a case takes, against every choice there is."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import alternatives, milp
from cases.planning.alternatives import PhysicalSet, Use, assign, first_come, searched
from cases.planning.kinds import PlanningError


def allowed(uses: list[Use], sets: list[PhysicalSet], taken: tuple[int | None, ...]) -> bool:
    for j, s in enumerate(taken):
        if s is None:
            continue
        if s not in uses[j].accepts or not sets[s].may(uses[j].start, uses[j].end):
            return False
        for i in range(j):
            if taken[i] == s:
                early, late = sorted((uses[i], uses[j]), key=lambda use: use.start)
                if early.end + sets[s].turnaround > late.start:
                    return False
    return True


def fewest_left(uses: list[Use], sets: list[PhysicalSet]) -> int:
    choices = product(*[(None, *use.accepts) for use in uses])
    return min(taken.count(None) for taken in choices if allowed(uses, sets, taken))


@st.composite
def days(draw: st.DrawFn) -> tuple[list[Use], list[PhysicalSet]]:
    kept = st.lists(st.sampled_from([(3, 8), (10, 14)]), max_size=1).map(tuple)
    sets = draw(
        st.lists(
            st.builds(
                PhysicalSet, ready=st.sampled_from([0, 0, 5]), turnaround=st.integers(0, 9),
                until=st.sampled_from([30, 30, 12]), kept=kept,
            ),
            min_size=1, max_size=4,
        )
    )  # fmt: skip
    numbers = st.lists(st.integers(0, len(sets) - 1), max_size=3, unique=True).map(tuple)
    uses = []
    for _ in range(draw(st.integers(0, 6))):
        start = draw(st.integers(0, 18))
        uses.append(Use(start, start + draw(st.integers(1, 6)), draw(numbers)))
    return uses, sets


@settings(deadline=None)
@given(days())
def test_no_choice_serves_more(day: tuple[list[Use], list[PhysicalSet]]) -> None:
    uses, sets = day
    best = fewest_left(uses, sets)
    choices = [tuple(s for s in use.accepts if sets[s].may(use.start, use.end)) for use in uses]
    for found in (assign(uses, sets), searched(uses, sets, choices)):
        assert allowed(uses, sets, found.sets)
        assert found.sets.count(None) == found.unserved == found.at_least == best
        assert found.proven
    quick = first_come(uses, sets, choices)
    assert allowed(uses, sets, quick.sets)
    assert quick.at_least <= best <= quick.unserved == quick.sets.count(None)


@pytest.mark.skipif(not milp.installed(), reason="the integer programme solver (highspy) is not installed")
@settings(deadline=None)
@given(days())
def test_of_choices_that_serve_as_many_the_most_preferred_is_taken(
    day: tuple[list[Use], list[PhysicalSet]],
) -> None:
    uses, sets = day
    choices = [tuple(s for s in use.accepts if sets[s].may(use.start, use.end)) for use in uses]

    def rank(taken: tuple[int | None, ...]) -> int:
        return sum(choices[j].index(s) for j, s in enumerate(taken) if s is not None)

    found = assign(uses, sets)
    every = product(*[(None, *own) for own in choices])
    best = [taken for taken in every if allowed(uses, sets, taken) and taken.count(None) == found.unserved]
    assert rank(found.sets) == min(rank(taken) for taken in best)


def test_without_the_solver_the_method_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(milp, "installed", lambda: False)
    sets = [PhysicalSet(0, 60), PhysicalSet(0, 60)]
    few = [Use(10 * n, 10 * n + 5, (0, 1)) for n in range(5)]
    assert assign(few, sets).method == alternatives.SEARCH
    many = [Use(100 * n, 100 * n + 5, (0, 1)) for n in range(30)]
    found = assign(many, sets)
    assert (found.method, found.unserved, found.proven) == (alternatives.FIRST_COME, 0, True)
    lonely = [Use(n, n + 5, (n % 2,)) for n in (0, 2)] + [Use(200 + n, 205 + n, (0, 1)) for n in range(30)]
    found = assign(lonely, sets)
    assert (found.unserved, found.at_least, found.proven) == (29, 28, False)


def test_twenty_uses_are_searched_quickly_enough_to_wait_for(monkeypatch: pytest.MonkeyPatch) -> None:
    with_solver = milp.installed()
    sets = [PhysicalSet(0, 200 + 30 * (n % 3)) for n in range(8)]
    uses = [
        Use(480 + 25 * n, 570 + 25 * n, tuple(sorted({n % 8, (n * 3 + 1) % 8, (n * 5 + 2) % 8})))
        for n in range(20)
    ]
    exact = assign(uses, sets) if with_solver else None
    monkeypatch.setattr(milp, "installed", lambda: False)
    found = assign(uses, sets)
    assert found.proven
    assert exact is None or exact.unserved == found.unserved


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: assign([Use(5, 5, (0,))], [PhysicalSet(0, 1)]),
        lambda: assign([Use(5, 6, (1,))], [PhysicalSet(0, 1)]),
        lambda: PhysicalSet(0, -1),
    ],
)
def test_what_could_not_be_is_refused(wrong: object) -> None:
    with pytest.raises(PlanningError):
        wrong()  # type: ignore[operator]
