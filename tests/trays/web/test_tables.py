"""Tables: their classes, their paging and sorting by link, and the same lines as a file."""

import csv
import io
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from openpyxl import load_workbook

from tests.trays.web.pages import UnitLines, unit_rows
from trays.exchange.writer import safe_text, write_csv, write_xlsx

pytestmark = pytest.mark.usefixtures("site")


def page_of(client: Client, query: str = "") -> str:
    return client.get(f"/table/{query}").content.decode()


def test_a_table_has_the_classes_of_the_look_and_a_named_region(client: Client) -> None:
    page = page_of(client)
    assert '<table class="lines flat mid">' in page
    assert '<div class="table-container" tabindex="0" role="region" aria-label="Units">' in page
    assert '<th scope="row" ><span class="code">L40000</span>' in page
    assert re.search(r'<td class="num">\s*0', page)


def test_a_line_that_needs_an_act_is_marked(client: Client) -> None:
    page = page_of(client, "?rows=8")
    assert page.count('<tr class="needs">') == 2


def test_lines_of_one_group_stand_under_one_head(client: Client) -> None:
    page = page_of(client, "?rows=25")
    assert re.findall(r'scope="rowgroup" colspan="7"><b>(Bay \d)</b>', page) == ["Bay 0", "Bay 1", "Bay 2"]


def test_heads_sort_by_link_and_say_how_they_are_sorted(client: Client) -> None:
    page = page_of(client, "?sort=-lot&page=2")
    assert 'aria-sort="descending"' in page
    assert re.search(r'<th scope="col" class="desc orderable"', page)
    link = re.search(r'id="table-lines-by-size" href="([^"]+)" hx-get="([^"]+)"', page)
    assert link is not None
    assert link[1] == link[2] == "?sort=size"


def test_long_tables_are_paged_by_link_and_say_how_many_there_are(client: Client) -> None:
    page = page_of(client, "?page=2")
    assert "Lines 51 to 100 of 120" in page
    assert 'href="?page=3"' in page
    assert 'aria-current="page"' in page


def test_a_page_number_or_column_that_is_nonsense_shows_lines_all_the_same(client: Client) -> None:
    for query in ("?page=999", "?page=x", "?sort=nothing", "?per_page=0", "?per_page=100000000"):
        assert (
            client.get(
                f"/table/{query}", headers={"HX-Request": "true", "HX-Target": "table-lines"}
            ).status_code
            == 200
        )


def test_nobody_can_ask_for_a_page_without_end() -> None:
    table = UnitLines(unit_rows(3))
    table.paginate(per_page=100_000_000)
    assert table.paginator.per_page == 500


def test_htmx_gets_the_lines_only(client: Client) -> None:
    answer = client.get("/table/?page=2", headers={"HX-Request": "true", "HX-Target": "table-lines"})
    part = answer.content.decode().strip()
    assert part.startswith('<div id="table-lines">')
    assert "<html" not in part
    assert "Lines 51 to 100 of 120" in part


def test_an_empty_table_is_a_sentence_and_a_step(client: Client) -> None:
    page = page_of(client, "?rows=0")
    assert '<p class="empty">No units of this family. Receive some.</p>' in page
    assert "<table" not in page
    assert "CSV" not in page


def test_the_file_has_every_line_as_it_is_sorted_and_without_markup(client: Client) -> None:
    answer = client.get("/table/?as=csv&sort=-lot&page=2")
    assert answer["Content-Disposition"] == 'attachment; filename="units-of-today.csv"'
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len(rows) == 121
    assert rows[0][:4] == ["Lot", "Size", "Use by", "Units"]
    assert rows[1][:4] == ["L40119", "3", "2027-12-03", "3"]
    assert rows[1][4] == "Short, 91 in 100; wanted 99"
    assert rows[1][6] == "salt & water"
    assert rows[-1][6] == "'=1+1"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_runs_as_a_formula(start: str) -> None:
    cell = f"{start}HYPERLINK(1)"
    assert safe_text(cell) == f"'{cell}"
    written = write_csv([[cell]], [cell]).decode("utf-8-sig")
    assert all(value.startswith("'") for row in csv.reader(io.StringIO(written, newline="")) for value in row)
    sheet = load_workbook(io.BytesIO(write_xlsx([[cell]], ["Note"]))).active
    assert sheet is not None
    assert sheet["A2"].data_type != "f"
    assert str(sheet["A2"].value).startswith("'")


def test_numbers_stay_numbers_and_days_stay_days() -> None:
    row = [-3, 2.5, Decimal("10.40"), date(2027, 1, 3), datetime(2026, 12, 7, 7, 4, tzinfo=UTC), None, "0012"]
    book = load_workbook(io.BytesIO(write_xlsx([row], list("abcdefg"), sheet="Stock: [today]/all?")))
    sheet = book.active
    assert sheet is not None
    values = [cell.value for cell in sheet[2]]
    assert values[:3] == [-3, 2.5, 10.4]
    assert values[3] == datetime(2027, 1, 3)
    assert values[4] == datetime(2026, 12, 7, 7, 4)
    assert values[5:] == [None, "0012"]
    assert sheet.title == "Stock   today  all"
    assert write_csv([row], list("abcdefg")).decode("utf-8-sig").splitlines()[1] == (
        "-3,2.5,10.40,2027-01-03,2026-12-07 07:04+00:00,,0012"
    )


def test_text_with_commas_quotes_and_lines_comes_back_whole() -> None:
    text = 'He said "5, right"\nand went'
    written = write_csv([[text, "№ ≥ é"]], ["a", "b"]).decode("utf-8-sig")
    assert list(csv.reader(io.StringIO(written, newline="")))[1] == [text, "№ ≥ é"]


def test_letters_that_a_workbook_cannot_hold_are_shown_as_unknown() -> None:
    sheet = load_workbook(io.BytesIO(write_xlsx([["a\x1db"]], ["Scan"]))).active
    assert sheet is not None
    assert sheet["A2"].value == "a�b"


def test_the_lines_can_be_had_as_a_workbook(client: Client) -> None:
    answer = client.get("/table/?as=xlsx")
    sheet: Any = load_workbook(io.BytesIO(answer.content)).active
    assert sheet.max_row == 121
    assert sheet["D2"].value == 0
    assert sheet["D2"].data_type == "n"
    assert sheet["A1"].font.bold
