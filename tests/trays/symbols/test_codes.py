"""Symbols: encoded, drawn into a PDF, painted dot by dot, and read back exactly."""

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.trays.symbols import rendering
from trays.identifiers import gs1, ours
from trays.identifiers.checkdigits import CSET_82, with_mod10
from trays.identifiers.gs1 import GS
from trays.symbols import code128, datamatrix
from trays.symbols.paper import Paper
from trays.symbols.payload import PayloadRefused
from trays.symbols.stock import GRID_203, GRID_300, LINEAR_QUIET_MODULES, MATRIX_QUIET_MODULES, Grid, Page

PREFIX = "9521234"
NUMBER = with_mod10("952123400001")
PAYLOADS = [
    ours.component(NUMBER),
    gs1.build([("01", "0" + NUMBER), ("17", "271130"), ("10", "MF2611A")]),
    gs1.build([("01", "0" + NUMBER), ("10", "aB-7/x"), ("21", "007"), ("17", "280229")]),
    "00" + with_mod10("0" + PREFIX + "000000001"),
    ours.set_label(NUMBER, "T7"),
    ours.pack_label(PREFIX, "0417A", "231"),
    ours.place(NUMBER, "K1-5"),
    ours.sheet(NUMBER, "48203"),
    ours.sheet_line(NUMBER, "48203", 127),
    ours.instrument(PREFIX, "!\"%&'()*+,-./:;<=>?_"),
]
KEYS = st.text(CSET_82, min_size=1, max_size=20)


def painted(rows: tuple[tuple[bool, ...], ...], dots: int, quiet: int) -> rendering.Dots:
    """A symbol as a picture of its own, without any PDF."""
    picture = numpy.where(numpy.array(rows), 0, 255).astype(numpy.uint8)
    return numpy.pad(
        numpy.kron(picture, numpy.ones((dots, dots), numpy.uint8)), quiet * dots, constant_values=255
    )


@pytest.mark.parametrize("payload", PAYLOADS)
@pytest.mark.parametrize(
    ("grid", "dots"),
    [(GRID_203, 3), (GRID_203, 4), (GRID_300, 3), (GRID_300, 4), (GRID_300, 5), (GRID_300, 7)],
)
def test_a_datamatrix_is_painted_exactly_and_read_back_exactly(grid: Grid, dots: int, payload: str) -> None:
    paper = Paper(Page(40, 25, grid), title="symbol")
    symbol = datamatrix.modules(payload)
    area = paper.matrix(5.03, 4.07, symbol, dots)
    (page,) = rendering.pages(paper.pdf(), grid.dpi)
    assert page.shape == (grid.dots(25), grid.dots(40))
    quiet = MATRIX_QUIET_MODULES
    shown = rendering.cut_out(page, area, grid.dots_per_mm, border=quiet * dots)
    assert numpy.array_equal(shown, painted(symbol.rows, dots, quiet)), "one dot off is a worse symbol"
    seen = rendering.read_alone(page)
    assert (seen.identifier, seen.text) == ("]d2", payload)


@pytest.mark.parametrize("payload", PAYLOADS)
@pytest.mark.parametrize(("grid", "dots"), [(GRID_203, 2), (GRID_203, 3), (GRID_300, 3), (GRID_300, 5)])
def test_a_gs1_128_is_painted_exactly_and_read_back_exactly(grid: Grid, dots: int, payload: str) -> None:
    symbol = code128.bars(payload)
    paper = Paper(Page(190, 30, grid), title="symbol")
    area = paper.bars(10.03, 8, symbol, dots, 10)
    (page,) = rendering.pages(paper.pdf(), grid.dpi)
    quiet = LINEAR_QUIET_MODULES
    middle = page[page.shape[0] // 2, :]
    left = grid.dots(area.x)
    row = painted((symbol.dark,), dots, quiet)[quiet * dots]
    assert numpy.array_equal(middle[left - quiet * dots : left - quiet * dots + row.size], row)
    seen = rendering.read_alone(page)
    assert (seen.identifier, seen.text) == ("]C1", payload)


@settings(max_examples=150, deadline=None)
@given(KEYS, KEYS)
def test_any_key_and_round_is_read_back_from_both_symbols(key: str, more: str) -> None:
    payload = ours.pack_label(PREFIX, key, more)
    seen = rendering.read_alone(painted(datamatrix.modules(payload).rows, 3, 2))
    assert (seen.identifier, seen.text) == ("]d2", payload)
    if len(payload) > code128.MOST_CHARACTERS:
        with pytest.raises(PayloadRefused, match="DataMatrix"):
            code128.bars(payload)
        return
    bars = painted((code128.bars(payload).dark,), 2, 10)
    seen = rendering.read_alone(numpy.repeat(bars[20:22], 40, axis=0))
    assert (seen.identifier, seen.text) == ("]C1", payload)


def test_48_characters_are_the_limit_of_a_gs1_128() -> None:
    fits = ours.pack_label(PREFIX, "A" * 20, "1" * 14)
    assert len(fits) == code128.MOST_CHARACTERS
    assert code128.bars(fits).size > 0
    with pytest.raises(PayloadRefused):
        code128.bars(ours.pack_label(PREFIX, "A" * 20, "1" * 15))


@pytest.mark.parametrize("payload", PAYLOADS)
def test_symbols_are_square_with_their_finder_pattern(payload: str) -> None:
    symbol = datamatrix.modules(payload)
    assert all(len(row) == symbol.size for row in symbol.rows)
    assert all(row[0] for row in symbol.rows) and all(symbol.rows[-1])
    assert [row[-1] for row in symbol.rows] == [n % 2 == 1 for n in range(symbol.size)]
    drawn = {(row, column + n) for row, column, length in symbol.runs() for n in range(length)}
    assert drawn == {(r, c) for r, row in enumerate(symbol.rows) for c, dark in enumerate(row) if dark}


def test_the_symbols_of_sheets_have_the_sizes_that_the_layout_counts_on() -> None:
    assert datamatrix.modules(ours.sheet(NUMBER, "48203")).size == 16
    assert datamatrix.modules(ours.sheet_line(NUMBER, "48203", 7)).size == 18
    assert datamatrix.modules(ours.component(NUMBER)).size == 16


@pytest.mark.parametrize(
    "payload",
    [
        "",
        GS,
        "hello",
        "0109521234000014",
        "10LOT",
        "0" + PREFIX,
        f"01{'0' + NUMBER}10A{GS}",
        f"{GS}01{'0' + NUMBER}",
        f"01{'0' + NUMBER}{GS}10A",
        f"80049521234X{GS}10LOT{GS}01{'0' + NUMBER}",
        "8004952Größe",
    ],
)
def test_a_wrong_or_missing_payload_is_never_printed(payload: str) -> None:
    for make in (datamatrix.modules, code128.bars):
        with pytest.raises(PayloadRefused) as error:
            make(payload)
        assert str(error.value).endswith(".")
