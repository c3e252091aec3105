"""Integer programmes, and what is said when the solver is not there."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.planning import milp
from cases.planning.kinds import PlanningError
from cases.planning.milp import INFINITE, NotInstalledError, Programme, Row, minimise

ROWS = st.lists(
    st.tuples(st.lists(st.integers(-3, 5), min_size=3, max_size=3), st.integers(-4, 9)), max_size=3
)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.integers(-5, 9), min_size=3, max_size=3), ROWS)
def test_the_answer_is_the_least_of_all(cost: list[int], given: list[tuple[list[int], int]]) -> None:
    rows = tuple(Row((0, 1, 2), tuple(map(float, a)), low=float(low)) for a, low in given)
    found = minimise(Programme(tuple(map(float, cost)), (2.0, 1.0, 3.0), rows))
    allowed = [
        sum(c * v for c, v in zip(cost, x, strict=True))
        for x in product(range(3), range(2), range(4))
        if all(sum(c * v for c, v in zip(a, x, strict=True)) >= low for a, low in given)
    ]
    assert found.proven
    assert found.feasible == bool(allowed)
    assert found.cost == (min(allowed) if allowed else INFINITE)
    assert found.gap == pytest.approx(0.0)


def test_parts_of_units_are_left_where_they_are_allowed() -> None:
    half = Programme((1.0,), (9.0,), (Row((0,), (2.0,), low=5.0),), integral=(False,))
    assert minimise(half).values == (2.5,)
    assert minimise(Programme((1.0,), (9.0,), (Row((0,), (2.0,), low=5.0),))).values == (3.0,)


def test_out_of_time_the_bound_still_holds() -> None:
    sizes = [(7 * n * n + 3 * n) % 97 + 10 for n in range(60)]
    rows = tuple(
        Row(tuple(range(60)), tuple(float((s * (k + 2)) % 89 + 5) for s in sizes), high=900.0)
        for k in range(25)
    )
    found = minimise(Programme(tuple(-float(s) for s in sizes), (1.0,) * 60, rows), seconds=0.05)
    longer = minimise(Programme(tuple(-float(s) for s in sizes), (1.0,) * 60, rows), seconds=0.5)
    assert found.bound <= longer.cost + 1e-6
    assert found.proven or found.gap > 0


def test_no_columns_are_no_trouble() -> None:
    assert minimise(Programme((), ())).feasible
    assert not minimise(Programme((), (), (Row((), (), low=1.0),))).feasible


def test_without_the_solver_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(milp, "installed", lambda: False)
    with pytest.raises(NotInstalledError, match="not installed"):
        minimise(Programme((1.0,), (1.0,)))


def test_nonsense_is_refused() -> None:
    nan = float("nan")
    for make in (
        lambda: Row((0, 1), (1.0,)),
        lambda: Row((0, 0), (1.0, 1.0)),
        lambda: Row((0,), (nan,)),
        lambda: Row((0,), (1.0,), low=nan),
        lambda: Programme((1.0,), ()),
        lambda: Programme((nan,), (1.0,)),
        lambda: Programme((1.0,), (nan,)),
        lambda: Programme((1.0,), (1.0,), (Row((1,), (1.0,)),)),
        lambda: minimise(Programme((-1.0,), (INFINITE,))),
    ):
        with pytest.raises(PlanningError):
            make()


def test_nothing_is_printed(capfd: pytest.CaptureFixture[str]) -> None:
    minimise(Programme((1.0,), (1.0,)))
    assert capfd.readouterr().out == ""
