"""Files that leave the program: CSV and XLSX that no spreadsheet will run as formulas."""

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Font

CSV_TYPE = "text/csv; charset=utf-8"
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
# What a spreadsheet may take for the start of a formula or of a command.
RISKY_STARTS = ("=", "+", "-", "@", "\t", "\r")
# An XLSX cell holds no more; longer text would make a file that does not open.
CELL_LIMIT = 32_767

Cell = str | int | float | Decimal | bool | date | datetime | time | None


def safe_text(text: str) -> str:
    """The text, with an apostrophe before it if a spreadsheet could run it as a formula."""
    return f"'{text}" if text.startswith(RISKY_STARTS) else text


def safe_cell(value: Any) -> Cell:
    """Numbers, dates and truth values as they are; everything else as text that cannot be run."""
    if value is None or isinstance(value, bool | int | float | Decimal | date | time):
        return value
    return safe_text(str(value))


def write_csv(rows: Iterable[Sequence[Any]], heads: Sequence[Any]) -> bytes:
    """Rows under their heads as CSV: UTF-8 with a byte order mark, comma, lines ended by CR LF."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([safe_cell(head) for head in heads])
    for row in rows:
        writer.writerow([_plain(safe_cell(value)) for value in row])
    return out.getvalue().encode("utf-8-sig")


def write_xlsx(rows: Iterable[Sequence[Any]], heads: Sequence[Any], sheet: str = "Lines") -> bytes:
    """Rows under their heads as one XLSX sheet: heads bold and fixed, text as text, numbers as numbers."""
    book = Workbook(write_only=True)
    page = book.create_sheet(title=_sheet_title(sheet))
    page.freeze_panes = "A2"
    page.append([_head_cell(page, head) for head in heads])
    for row in rows:
        page.append([_xlsx_value(safe_cell(value)) for value in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _plain(value: Cell) -> Cell | str:
    """Dates and times in CSV in ISO form, which sorts and which every reader knows."""
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, date | time):
        return value.isoformat()
    return "" if value is None else value


def _xlsx_value(value: Cell) -> Cell:
    if isinstance(value, str):
        return ILLEGAL_CHARACTERS_RE.sub("�", value)[:CELL_LIMIT]
    # XLSX knows no time zones: the time as it was shown.
    if isinstance(value, datetime | time) and value.tzinfo is not None:
        return value.replace(tzinfo=None)
    return value


def _head_cell(page: Any, head: Any) -> WriteOnlyCell:
    cell = WriteOnlyCell(page, value=_xlsx_value(safe_cell(str(head))))
    cell.font = Font(bold=True)
    return cell


def _sheet_title(title: str) -> str:
    """A name that XLSX allows: at most 31 characters, none of ``[]:*?/\\``."""
    cleaned = "".join(" " if letter in "[]:*?/\\" else letter for letter in title).strip()
    return cleaned[:31] or "Lines"
