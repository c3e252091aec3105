"""The size range picture keeps to its geometry, to the pixel."""

from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from django.template.loader import render_to_string

from cases.readiness.picture import (
    Cell,
    Column,
    SetBracket,
    cells_in_order,
    family_picture,
    size_picture,
)
from trays.stock.queries import SHORT_DATED_DAYS

OWNED, CONSIGNED, LOANED = Cell("owned"), Cell("consigned"), Cell("loaned")


def tibial():
    """Nine sizes; the one unit of the sixth is held for another case."""
    chances = (0, 0, 0.003, 0.14, 0.53, 0.30, 0.03, 0, 0)
    cells = [
        (OWNED,), (CONSIGNED,), (CONSIGNED, CONSIGNED), (Cell("owned", "mine"), OWNED, CONSIGNED),
        (Cell("owned", "mine"), CONSIGNED, Cell("consigned", "other")), (Cell("owned", "other"),),
        (OWNED, CONSIGNED), (LOANED,), (),
    ]  # fmt: skip
    columns = [Column(str(n + 1), p, c) for n, (p, c) in enumerate(zip(chances, cells, strict=True))]
    return size_picture(
        title="Tibial, right",
        columns=columns,
        runs=[(3, 5)],
        sets=[SetBracket("KT-02 ready", 0, 8)],
        key="p2",
    )


def paths(picture, css: str) -> list[str]:
    return [shape.d for shape in picture.shapes if shape.css == css]


def texts(picture, css: str) -> list[tuple[str, str, str]]:
    return [(text.x, text.y, text.words) for text in picture.texts if text.css == css]


def test_nine_columns_stand_48_apart_between_their_gutters():
    picture = tibial()
    assert (picture.width, picture.height) == ("524", "304")
    assert [x for x, _, _ in texts(picture, "m size")] == [str(108 + 48 * n) for n in range(9)]
    assert paths(picture, "axis") == ["M78 124H516"]
    assert paths(picture, "grid")[:3] == ["M78 92H516", "M78 60H516", "M78 28H516"]


def test_bars_stand_on_the_axis_with_their_values():
    picture = tibial()
    assert "M286 39.2h28v84.8h-28z" in paths(picture, "like")
    assert ("300", "33.2", "53") in texts(picture, "m b")
    assert ("204", "118", "<1") in texts(picture, "m s")
    assert ("108", "118", "–") in texts(picture, "m s")


def test_a_likely_size_with_no_unit_to_use_is_a_hatched_gap():
    picture = tibial()
    assert paths(picture, "like-gap") == ["M334 76h28v48h-28z"]
    assert paths(picture, "hatch")[:2] == ["M334 80L338 76", "M334 88L346 76"]
    assert paths(picture, "gap") == ["M336 198v-4h6M354 194h6v4M360 202v4h-6M342 206h-6v-4"]
    assert ("348", "223", "gap") in texts(picture, "m b")
    assert picture.gaps == ("6",)


def test_cells_show_owner_by_fill_and_state_over_it():
    picture = tibial()
    assert "M240 176h24v12h-24z" in paths(picture, "own")
    assert "M236 172.5v19M268 172.5v19" in paths(picture, "mine")
    assert "M333 190L363 174" in paths(picture, "away")
    assert "M144 182h24v6h-24z" in paths(picture, "half")
    assert [(s.x, s.y) for s in picture.shapes if s.css == "dot"] == [("444", "182")]
    short = size_picture(title="", columns=[Column("1", 0.5, (Cell("owned", short_dated=True),))])
    assert paths(short, "own") == ["M96 176h16l8 8v4h-24z"]
    ordered = size_picture(title="", columns=[Column("1", 0.5, (Cell("owned", on_order=True),))])
    assert paths(ordered, "order") == ["M96 176h24v12h-24z"]
    assert ordered.gaps == ("1",)


def test_the_run_to_pick_is_a_beam_with_posts():
    picture = tibial()
    assert paths(picture, "beam") == ["M232 135H368"]
    assert "M232 129v12M368 129v12" in paths(picture, "post")


def test_held_for_another_and_on_order_cannot_be_used():
    can_use = [words for _, y, words in texts(tibial(), "m b") if y == "253"]
    assert can_use == ["1", "1", "2", "3", "2", "0", "2", "1", "0"]


def test_a_size_outside_every_ready_bracket_is_a_gap():
    columns = [Column(str(n), 0.25, (OWNED,)) for n in range(4)]
    sets = [SetBracket("KF-03 ready", 0, 1), SetBracket("KF-05 being processed", 2, 3, ready=False)]
    picture = size_picture(title="", columns=columns, sets=sets)
    assert picture.gaps == ("2", "3")
    assert [t.words for t in picture.texts if t.words.startswith("KF")] == [one.words for one in sets]


@pytest.mark.parametrize(
    ("most", "top"), [(0.4, "40"), (0.41, "60"), (0.6, "60"), (0.61, "100"), (1.0, "100")]
)
def test_the_scale_follows_the_likeliest_size(most, top):
    picture = size_picture(title="", columns=[Column("1", most, (OWNED,)), Column("2", 0.1, (OWNED,))])
    assert [words for _, y, words in texts(picture, "s e") if y == "33"] == [top]


def test_more_than_ten_columns_stand_36_apart_in_groups_16_apart():
    columns = [
        Column(str(t), 0.05, (OWNED,), group=f"Insert size {size}")
        for size in (4, 5, 6)
        for t in (9, 10, 11, 12, 14)
    ]
    picture = size_picture(title="", columns=columns, runs=[(0, 4), (5, 9)], row="mm")
    assert (picture.width, picture.scrolls) == ("664", True)
    assert [x for x, _, words in texts(picture, "b") if words.startswith("Insert")] == ["84", "280", "476"]
    assert paths(picture, "grid")[:3] == ["M84 24H258", "M280 24H454", "M476 24H650"]
    assert paths(picture, "beam") == ["M88 161H260", "M284 161H456"]
    assert picture.rows[0][0] == "Insert size 4, 9"


def test_more_than_six_units_end_in_a_count():
    picture = size_picture(title="", columns=[Column("1", 0.5, (OWNED,) * 9)])
    assert len(paths(picture, "own")) == 6
    assert "+3" in [text.words for text in picture.texts]


def test_a_familys_picture_counts_wanted_units():
    picture = family_picture(
        title="Femoral", columns=[Column("1", 3.4, (OWNED, CONSIGNED)), Column("2", 0.04), Column("3", 0.05)]
    )
    words = [text.words for text in picture.texts]
    assert {"Wanted", "Free", "3.4", "<0.1", "6", "4", "2"} <= set(words)
    assert picture.gaps == ("3",)
    assert "Most wanted: 1 with 3.4 units." in picture.desc


def test_the_description_and_the_table_say_the_same():
    picture = tibial()
    assert picture.desc == "Likeliest: 5 with 53 in 100. To pick: 4 to 6. A gap at 6."
    assert len(picture.rows) == 9
    assert picture.rows[5] == ("6", "30", "1", "0", "0", "0", "1", "0", "0", "0", "gap")
    html = render_to_string("cases/readiness/_sizes.svg.html", {"picture": picture})
    assert "style=" not in html
    assert 'role="img" aria-labelledby="p2-t p2-d"' in html
    assert html.count("<tr>") == 10


def test_units_stand_in_order_of_use():
    day = date(2026, 12, 7)

    def unit(tenure, days, case_id=None, list_id=None):
        expires = None if days is None else day + timedelta(days=days)
        return SimpleNamespace(tenure=tenure, expires=expires, case_id=case_id, list_id=list_id)

    units = [
        unit("owned", None), unit("consigned", 400, case_id=8), unit("owned", 10), unit("consigned", 200),
        unit("owned", -1), unit("owned", SHORT_DATED_DAYS, list_id=3), unit("loaned", 0, case_id=7),
    ]  # fmt: skip
    cells = cells_in_order(units, owner_order=["consigned", "owned", "loaned"], day=day, case_id=7, list_id=3)
    assert [cell.owner for cell in cells] == ["consigned", "consigned", "owned", "owned", "owned", "loaned"]
    assert [cell.held for cell in cells] == ["", "other", "", "mine", "", "mine"]
    assert [cell.short_dated for cell in cells] == [False, False, True, False, False, True]
