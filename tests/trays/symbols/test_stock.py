"""Paper and label stock: whole dots, places on a sheet, the table of X-dimensions."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.symbols import stock
from trays.symbols.stock import A4, A4_LABELS_24, GRID_203, GRID_300, ROLL_DOTS, Area, Grid, widest_module


def test_pages_in_whole_dots() -> None:
    assert A4.dots == (2480, 3508)
    assert stock.PACK_ROLL_203.page.dots == (799, 400)
    assert stock.SHELF_ROLL_300.page.dots == (1181, 591)


@pytest.mark.parametrize(
    ("grid", "dots", "x"),
    [
        (GRID_300, stock.SHEET_HEAD_DOTS, 0.593), (GRID_300, stock.SHEET_LINE_DOTS, 0.423),
        (GRID_203, ROLL_DOTS[203].main, 0.375), (GRID_203, ROLL_DOTS[203].copy, 0.375),
        (GRID_300, ROLL_DOTS[300].main, 0.423), (GRID_300, ROLL_DOTS[300].copy, 0.339),
    ],
)  # fmt: skip
def test_true_x_dimensions(grid: Grid, dots: int, x: float) -> None:
    assert grid.mm(dots) == pytest.approx(x, abs=0.0006)


def test_a_pack_roll_is_cut_at_70_and_25() -> None:
    roll = stock.PACK_ROLL_300
    assert roll.die_cuts == (25.0, 70.0)
    assert [c.height for c in roll.copies] == [25, 25]
    assert roll.main.right == roll.copies[0].x == 70
    assert roll.copies[1].right == roll.page.width and roll.copies[1].bottom == roll.page.height
    assert stock.SHELF_ROLL_203.copies == () and stock.SHELF_ROLL_203.die_cuts == ()


def test_labels_of_a_sheet_lie_on_it_and_not_on_each_other() -> None:
    areas = [A4_LABELS_24.area(n) for n in range(1, 25)]
    for area in areas:
        assert area.x >= 0 and area.right <= A4.width and area.y >= 0 and area.bottom <= A4.height
    for n, one in enumerate(areas):
        for other in areas[n + 1 :]:
            assert one.right <= other.x or other.right <= one.x or one.bottom <= other.y + 1e-9
    assert areas[0].x == pytest.approx(A4.width - areas[2].right), "the margins are alike"


@given(st.integers(1, 24), st.integers(1, 60))
def test_printing_starts_at_any_position_and_goes_on_to_the_next_sheet(start: int, number: int) -> None:
    places = A4_LABELS_24.places(start)
    made = [next(places) for _ in range(number)]
    assert made[0] == (0, A4_LABELS_24.area(start))
    assert made[-1][0] == (start - 1 + number - 1) // 24
    assert len(set(made)) == number


@pytest.mark.parametrize("position", [0, 25, -1])
def test_a_position_off_the_sheet_is_refused(position: int) -> None:
    with pytest.raises(ValueError):
        A4_LABELS_24.area(position)
    with pytest.raises(ValueError):
        next(A4_LABELS_24.places(position))


@given(st.integers(1, 500), st.floats(1, 200), st.sampled_from([GRID_203, GRID_300]))
def test_the_widest_module_fits_and_one_dot_more_does_not(modules: int, width: float, grid: Grid) -> None:
    dots = widest_module(modules, width, grid)
    whole = modules + 20
    if dots:
        assert grid.mm(dots * whole) <= width + 1e-6 and grid.mm(dots) <= 0.495 + 1e-9
        assert grid.mm((dots + 1) * whole) > width - 1e-6 or grid.mm(dots + 1) > 0.495
    else:
        assert grid.mm(2 * whole) > width - 1e-6


def test_a_symbol_has_modules() -> None:
    with pytest.raises(ValueError):
        widest_module(0, 90, GRID_203)


def test_areas_know_their_far_edges() -> None:
    assert (Area(1, 2, 3, 4).right, Area(1, 2, 3, 4).bottom) == (4, 6)
