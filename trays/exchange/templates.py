"""A template for each kind of file: heads and one example row, in XLSX with a guide to the columns."""

import csv
import io

from django.utils.translation import gettext as _
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

from trays.exchange.kinds import ImportKind
from trays.exchange.writer import safe_text

GUIDE_HEADS = ("column", "must be filled", "what may stand there", "what it is for")


def template_csv(kind: type[ImportKind]) -> bytes:
    """Heads and one example row as CSV (UTF-8 with a byte order mark)."""
    out = io.StringIO()
    lines = csv.writer(out, lineterminator="\r\n")
    lines.writerow(kind.names())
    lines.writerow([safe_text(column.example) for column in kind.columns])
    return out.getvalue().encode("utf-8-sig")


def template_xlsx(kind: type[ImportKind]) -> bytes:
    """The same as a workbook whose cells are text, so that leading zeros stay; second, a guide."""
    book = Workbook(write_only=True)
    page = book.create_sheet(title=kind.code[:31])
    page.freeze_panes = "A2"
    heads = []
    for name in kind.names():
        cell = WriteOnlyCell(page, value=name)
        cell.font = Font(bold=True)
        heads.append(cell)
    page.append(heads)
    example = []
    for column in kind.columns:
        cell = WriteOnlyCell(page, value=safe_text(column.example))
        cell.number_format = "@"
        example.append(cell)
    page.append(example)
    guide = book.create_sheet(title="columns")
    guide.append(list(GUIDE_HEADS))
    for row in guide_rows(kind):
        guide.append(list(row))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def guide_rows(kind: type[ImportKind]) -> list[tuple[str, str, str, str]]:
    """Each column: its name, whether it must be filled, what may stand there, what it is for."""
    return [
        (column.name, _("yes") if column.required else _("no"), str(column.form), str(column.about))
        for column in kind.columns
    ]
