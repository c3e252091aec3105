"""Stage durations as laws, against every combination of their minutes followed one by one."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning.durations import Hours, Law, Stage, ready_by
from cases.planning.kinds import PlanningError


def followed(minute: int, takes: int, stage: Stage) -> int | None:
    """One set, minute by minute: when it has left the stage; None for never."""
    if stage.runs is not None:
        later = [run for run in stage.runs if run >= minute]
        if not later:
            return None
        minute = later[0]
    if stage.hours is None:
        return minute + takes
    last = max((b for _, b in stage.hours.open), default=0)

    def open_at(m: int) -> bool:
        return any(a <= m < b for a, b in stage.hours.open)  # type: ignore[union-attr]

    while not open_at(minute):
        minute += 1
        if minute > last:
            return None
    if not stage.hours.pauses:
        return minute + takes
    while takes:
        if minute > last:
            return None
        takes -= open_at(minute)
        minute += 1
    return minute


def laws(least: int) -> st.SearchStrategy[Law]:
    weights = st.lists(st.integers(0, 3), min_size=1, max_size=3).filter(any)
    return st.builds(
        lambda first, w: Law.histogram([first + 2 * n for n in range(len(w))], w),
        st.integers(least, least + 6), weights,
    )  # fmt: skip


HOURS = st.builds(
    Hours,
    st.sampled_from([(), ((4, 9),), ((0, 5), (8, 11), (15, 40)), ((0, 3), (3, 6), (10, 200))]),
    st.booleans(),
)


@st.composite
def stages(draw: st.DrawFn) -> Stage:
    hours = draw(st.none() | HOURS)
    runs = draw(st.none() | st.sampled_from([(), (5,), (6, 6, 12), (10, 20, 30)]))
    return Stage(draw(laws(1 if hours else 0)), runs, hours)


def rows(law: Law) -> list[tuple[int, float]]:
    return [(law.first + n, float(p)) for n, p in enumerate(law.p) if p > 0]


@settings(deadline=None)
@given(laws(0), st.lists(stages(), max_size=3))
def test_the_law_is_that_of_every_set_followed_by_itself(leaves: Law, way: list[Stage]) -> None:
    expected: dict[int | None, float] = {}
    for (minute, chance), *taken in product(rows(leaves), *[rows(stage.takes) for stage in way]):
        at: int | None = minute
        for stage, (takes, p) in zip(way, taken, strict=True):
            chance *= p
            at = followed(at, takes, stage) if at is not None else None
        expected[at] = expected.get(at, 0.0) + chance
    found = ready_by(leaves, way)
    assert found.never == pytest.approx(expected.pop(None, 0.0), abs=1e-12)
    assert dict(rows(found)) == pytest.approx(expected, abs=1e-12)
    assert found.never + float(found.p.sum()) == pytest.approx(1.0, abs=1e-12)


@settings(deadline=None)
@given(laws(0), st.lists(stages(), max_size=2), st.sampled_from([0.0, 0.1, 0.5, 0.9, 0.99, 1.0]))
def test_the_time_for_a_chance_is_the_first_that_has_it(leaves: Law, way: list[Stage], chance: float) -> None:
    law = ready_by(leaves, way)
    for minute in range(law.first - 1, law.first + len(law.p) + 1):
        assert law.by(minute) + law.after(minute) == pytest.approx(1.0, abs=1e-12)
    when = law.when(chance)
    if when is None:
        assert law.never > 1.0 - chance or not law.p.any()
    else:
        assert law.by(when) >= chance - 1e-11
        assert law.by(when - 1) < max(chance, 1e-12) + 1e-11


def test_one_figure_is_a_law_of_one_point() -> None:
    law = ready_by(Law.point(600), [Stage(Law.point(360))])
    assert (law.when(0.9), law.by(959), law.by(960), law.after(960)) == (960, 0.0, 1.0, 0.0)


def test_quantiles_keep_what_they_say() -> None:
    law = Law.quantiles([0, 0.5, 0.9, 1], [200, 240, 330, 480])
    assert law.by(240) == pytest.approx(0.5)
    assert law.by(330) == pytest.approx(0.9)
    assert (law.by(199), law.by(480), law.when(0.9)) == (0.0, 1.0, 330)
    steep = Law.quantiles([0, 0.25, 0.75, 1], [10, 20, 20, 30])
    assert steep.by(20) == pytest.approx(0.75)
    assert steep.by(19) < 0.25
    assert rows(Law.quantiles([0, 1], [15, 15])) == [(15, 1.0)]


def test_work_that_ends_with_the_shift_is_ready_then_and_not_the_next_morning() -> None:
    day = Hours(((480, 1020), (1920, 2460)))
    assert ready_by(Law.point(960), [Stage(Law.point(60), hours=day)]).when(1.0) == 1020
    assert ready_by(Law.point(960), [Stage(Law.point(61), hours=day)]).when(1.0) == 1921
    machine = Hours(day.open, pauses=False)
    assert ready_by(Law.point(1000), [Stage(Law.point(60), hours=machine)]).when(1.0) == 1060
    assert ready_by(Law.point(1020), [Stage(Law.point(60), hours=machine)]).when(1.0) == 1980


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Law.histogram([], []),
        lambda: Law.histogram([1, 2], [1]),
        lambda: Law.histogram([1], [0]),
        lambda: Law.histogram([1, 2], [1, -1]),
        lambda: Law.histogram([1], [float("nan")]),
        lambda: Law.histogram([0, 10**9], [1, 1]),
        lambda: Law.quantiles([0, 1], [10, 5]),
        lambda: Law.quantiles([0.1, 1], [5, 10]),
        lambda: Law.quantiles([0, 0.5, 0.5, 1], [5, 6, 7, 8]),
        lambda: Law.quantiles([0, 1], [5, float("inf")]),
        lambda: Law.point(5).when(1.5),
        lambda: Stage(Law.point(-1)),
        lambda: Stage(Law.point(0), hours=Hours(((0, 10),))),
        lambda: Stage(Law.point(1), runs=(5, 4)),
        lambda: Hours(((5, 5),)),
        lambda: Hours(((5, 9), (8, 12))),
    ],
)
def test_laws_that_make_no_sense_are_refused(wrong: object) -> None:
    with pytest.raises(PlanningError):
        wrong()  # type: ignore[operator]
