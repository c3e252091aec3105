"""Lengths in whole dots, the table of X-dimensions, places on label stock."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.symbols import stock
from trays.symbols.labelstock import COMMON, LabelStock
from trays.symbols.stock import A4, GRID_203, GRID_300, GRID_600, GRIDS, LABEL_DOTS, Area, Grid, widest_module

SHEET = COMMON["a4"]
PACK_ROLL = COMMON["pack-roll"]


def test_pages_in_whole_dots() -> None:
    assert A4.dots == (2480, 3508)
    assert PACK_ROLL.page(GRID_203).dots == (799, 400)
    assert COMMON["roll"].page(GRID_300).dots == (1181, 591)
    assert SHEET.page(GRID_203).dots == A4.dots, "a sheet goes through an office printer whatever the roll's"


@pytest.mark.parametrize(
    ("grid", "dots", "x"),
    [
        (GRID_300, stock.SHEET_HEAD_DOTS, 0.593), (GRID_300, stock.SHEET_LINE_DOTS, 0.423),
        (GRID_203, LABEL_DOTS[203].main, 0.375), (GRID_203, LABEL_DOTS[203].copy, 0.375),
        (GRID_300, LABEL_DOTS[300].main, 0.423), (GRID_300, LABEL_DOTS[300].copy, 0.339),
        (GRID_600, LABEL_DOTS[600].main, 0.423), (GRID_600, LABEL_DOTS[600].copy, 0.339),
    ],
)  # fmt: skip
def test_true_x_dimensions(grid: Grid, dots: int, x: float) -> None:
    assert grid.mm(dots) == pytest.approx(x, abs=0.0006)


def test_no_symbol_is_finer_than_three_dots_a_module_on_a_203_dpi_head() -> None:
    assert min(LABEL_DOTS[203].main, LABEL_DOTS[203].copy) == 3


def test_a_pack_roll_is_cut_at_70_and_25() -> None:
    main, copies = PACK_ROLL.main(1), PACK_ROLL.copy_areas(1)
    assert [(c.x, c.y, c.width, c.height) for c in copies] == [(70, 0, 30, 25), (70, 25, 30, 25)]
    assert main == Area(0, 0, 70, 50)
    assert COMMON["roll"].copies == 0 and COMMON["roll"].copy_areas(1) == ()


@pytest.mark.parametrize("sheet", [one for one in COMMON.values() if one.sheet], ids=lambda one: one.code)
def test_labels_of_a_sheet_lie_on_it_and_not_on_each_other(sheet: LabelStock) -> None:
    areas = [sheet.area(n) for n in range(1, sheet.per_page + 1)]
    for area in areas:
        assert area.x >= 0 and area.right <= A4.width and area.y >= 0 and area.bottom <= A4.height
    for n, one in enumerate(areas):
        for other in areas[n + 1 :]:
            apart = one.right <= other.x + 1e-9 or other.right <= one.x + 1e-9
            assert apart or one.bottom <= other.y + 1e-9
    assert areas[0].x == pytest.approx(A4.width - areas[sheet.columns - 1].right), "the margins are alike"


@given(st.integers(1, 24), st.integers(1, 60))
def test_printing_starts_at_any_position_and_goes_on_to_the_next_sheet(start: int, number: int) -> None:
    places = SHEET.places(start)
    made = [next(places) for _ in range(number)]
    assert made[0] == (0, start)
    assert made[-1][0] == (start - 1 + number - 1) // 24
    assert len(set(made)) == number


@pytest.mark.parametrize("position", [0, 25, -1])
def test_a_position_off_the_sheet_is_refused(position: int) -> None:
    with pytest.raises(ValueError, match="Position"):
        SHEET.area(position)
    with pytest.raises(ValueError, match="Position"):
        next(SHEET.places(position))


@given(st.integers(1, 500), st.floats(1, 200), st.sampled_from(list(GRIDS.values())))
def test_the_widest_module_fits_and_one_dot_more_does_not(modules: int, width: float, grid: Grid) -> None:
    dots = widest_module(modules, width, grid)
    whole = modules + 20
    if dots:
        assert grid.mm(dots * whole) <= width + 1e-6 and 0.25 <= grid.mm(dots) <= 0.495 + 1e-9
        assert grid.mm((dots + 1) * whole) > width - 1e-6 or grid.mm(dots + 1) > 0.495
    else:
        least = next(n for n in range(1, 40) if grid.mm(n) >= 0.25)
        assert grid.mm(least * whole) > width - 1e-6


def test_a_symbol_has_modules() -> None:
    with pytest.raises(ValueError):
        widest_module(0, 90, GRID_203)


def test_areas_know_their_far_edges() -> None:
    assert (Area(1, 2, 3, 4).right, Area(1, 2, 3, 4).bottom) == (4, 6)
