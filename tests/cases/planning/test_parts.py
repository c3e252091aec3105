"""Tables of combinations: distinct lines are found alike whichever way they are counted."""

import numpy as np
import pytest

from cases.planning import parts
from cases.planning.parts import distinct_lines


def by_sorting(columns: list[np.ndarray]) -> tuple[list[list[int]], list[int]]:
    lines = sorted({tuple(int(column[row]) for column in columns) for row in range(len(columns[0]))})
    place = {line: number for number, line in enumerate(lines)}
    rows = range(len(columns[0]))
    return [list(line) for line in lines], [place[tuple(int(c[row]) for c in columns)] for row in rows]


@pytest.mark.parametrize("high", [2, 30, 2**20, 2**40])
@pytest.mark.parametrize("width", [1, 2, 4])
def test_distinct_lines_are_those_found_by_hand(width: int, high: int) -> None:
    random = np.random.default_rng(width * high)
    columns = [random.integers(-1, high, size=50) for _ in range(width)]
    lines, line_of_row = distinct_lines(columns)
    assert (lines.tolist(), line_of_row.tolist()) == by_sorting(columns)


def test_one_row_and_no_row_have_their_lines_too() -> None:
    lines, line_of_row = distinct_lines([np.array([7]), np.array([-1])])
    assert (lines.tolist(), line_of_row.tolist()) == ([[7, -1]], [0])
    none = np.zeros(0, dtype=np.int64)
    lines, line_of_row = distinct_lines([none, none])
    assert (lines.tolist(), line_of_row.tolist()) == ([], [])


def test_each_way_of_counting_is_used() -> None:
    """The three sizes tried above lie on the three sides of the two limits."""
    rows = 50
    assert 3 <= parts._FEW * rows < 2**20 + 1 < parts.MOST_CODE < (2**40 + 1) ** 2
