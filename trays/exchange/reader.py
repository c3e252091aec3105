"""Reading a table that came from outside: CSV of any common dialect, or XLSX, row by row as plain text.

Nothing is trusted: not the file's name, not its declared size, not its encoding. What cannot be a table
is refused as a whole (FileRefused); what is wrong in one cell is told with that cell.
"""

import codecs
import csv
import io
import re
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any, BinaryIO

from django.utils.translation import gettext as _

from trays.exchange.writer import RISKY_STARTS

MOST_ROWS = 200_000
MOST_COLUMNS = 120
LONGEST_CELL = 4_000
# An XLSX is a ZIP. Honest spreadsheets shrink 5 to 30 times; a bomb shrinks a thousand times.
MOST_ENTRIES = 500
MOST_UNPACKED = 200 * 1024 * 1024
MOST_RATIO = 150
RATIO_FREE = 5 * 1024 * 1024
# A sheet that was formatted to its end holds a million empty rows.
EMPTY_ROWS_END = 2_000

_BLOCK = 64 * 1024
_DELIMITERS = (",", ";", "\t", "|")
# Everything below a space but tab, line feed and carriage return; DEL; and the C1 range.
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_PICTURES = {b"%PDF": "PDF", b"\x89PNG": "PNG", b"\xff\xd8\xff": "JPEG", b"{\\rtf": "RTF"}


class FileRefused(Exception):
    """The file as a whole cannot be read: a code, a sentence and what to do."""

    def __init__(self, code: str, sentence: str, next_step: str) -> None:
        super().__init__(sentence)
        self.code = code
        self.sentence = sentence
        self.next_step = next_step


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row as it stands: its number as a spreadsheet counts (the heads are row 1), its cells as text."""

    number: int
    cells: Sequence[str]


@dataclass
class Sheet:
    """An opened table: its heads, its rows to be walked once, about how many there are, and notes."""

    heads: list[str]
    rows: Iterator[RawRow]
    about: int = 0
    notes: list[str] = field(default_factory=list)


def open_sheet(file: BinaryIO, *, limit: int, known: Iterable[str] = ()) -> Sheet:
    """Open a table. `limit` is the most bytes taken; `known` the column names by which a delimiter is told.

    Raises FileRefused. What is inside decides the kind, not the file's name.
    """
    size = file.seek(0, io.SEEK_END)
    file.seek(0)
    if size > limit:
        raise FileRefused(
            "file-too-large",
            _("The file has %(size)s MB; at most %(most)s MB are taken.")
            % {"size": f"{size / 1048576:.0f}", "most": f"{limit / 1048576:.0f}"},
            _("Split it into several files, each with the same heads."),
        )
    if size == 0:
        raise FileRefused("file-empty", _("The file is empty."), _("Export it again and look into it first."))
    start = file.read(8)
    file.seek(0)
    if start.startswith(b"PK"):
        return _open_xlsx(file)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        raise FileRefused(
            "file-old-or-locked",
            _("This is an old spreadsheet (XLS), or one locked with a password."),
            _("Open it, and save it as XLSX or as CSV without a password."),
        )
    for mark, name in _PICTURES.items():
        if start.startswith(mark):
            raise _not_a_table(name)
    return _open_csv(file, set(known))


def _not_a_table(name: str = "") -> FileRefused:
    sentence = (
        _("This is a %(name)s file, not a table.") % {"name": name} if name else _("This is not a table.")
    )
    return FileRefused(
        "file-not-a-table", sentence, _("Hand in a CSV or an XLSX file. The template shows its columns.")
    )


def plain_head(text: str) -> str:
    """A head as columns are named: small letters, underscores for gaps."""
    return re.sub(r"[\s\-]+", "_", text.strip().casefold())


def control_sign(text: str) -> str:
    """The first sign that no cell may hold, as "U+0000"; "" if there is none."""
    found = _CONTROL.search(text)
    return f"U+{ord(found[0]):04X}" if found else ""


def clean(text: str) -> str:
    """Without blanks around, and without the apostrophe that keeps a spreadsheet from running a formula."""
    text = text.strip(" \t\r\n\u00a0")
    return text[1:] if len(text) > 1 and text[0] == "'" and text[1] in RISKY_STARTS else text


# ---------------------------------------------------------------- CSV


class _Kept(io.RawIOBase):
    """A file that stays open when what reads it is let go."""

    def __init__(self, file: BinaryIO) -> None:
        self.file = file

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        block = self.file.read(len(buffer))
        buffer[: len(block)] = block
        return len(block)


def _encoding_of(file: BinaryIO) -> tuple[str, int, list[str]]:
    """The file's encoding, how many lines it has, and what is to be told of it; read block by block."""
    start = file.read(2)
    if start in (b"\xff\xfe", b"\xfe\xff"):
        lines = _lines_in(file, "utf-16")
        if lines is None:
            raise _encoding()
        return "utf-16", lines, [_("Read as UTF-16.")]
    lines = _lines_in(file, "utf-8-sig")
    if lines is not None:
        return "utf-8-sig", lines, []
    lines = _lines_in(file, "cp1252")
    if lines is None:
        raise _encoding()
    note = _("Not UTF-8; read as Western European (Windows-1252). Check letters with accents.")
    return "cp1252", lines, [note]


def _lines_in(file: BinaryIO, encoding: str) -> int | None:
    """How many lines the file has in this encoding; None where it cannot be read so."""
    decoder = codecs.getincrementaldecoder(encoding)()
    feeds = returns = 0
    last = ""
    file.seek(0)
    try:
        while block := file.read(_BLOCK):
            text = decoder.decode(block)
            feeds, returns = feeds + text.count("\n"), returns + text.count("\r")
            last = text[-1:] or last
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return None
    return max(feeds, returns) + (last not in "\r\n")


def _encoding() -> FileRefused:
    return FileRefused(
        "file-encoding",
        _("The file's letters are in an encoding that cannot be told."),
        _("Save it as “CSV UTF-8”, or as XLSX."),
    )


def _delimiter(line: str, known: set[str]) -> str:
    """The sign that splits the first line into most known heads, or into most parts."""

    def score(sign: str) -> tuple[int, int]:
        parts = [plain_head(part.strip('" ')) for part in line.split(sign)]
        return len(known.intersection(parts)), len(parts)

    return max(_DELIMITERS, key=score)


def _open_csv(file: BinaryIO, known: set[str]) -> Sheet:
    encoding, lines, notes = _encoding_of(file)
    file.seek(0)
    opening = _text_of(file, encoding).read(_BLOCK)
    if len(_CONTROL.findall(opening[:4096])) > len(opening[:4096]) // 50 + 4:
        raise _not_a_table()
    first_line = re.split(r"[\r\n]", opening.lstrip("\r\n"), maxsplit=1)[0]
    if first_line.startswith("sep=") and len(first_line) == 5:
        delimiter = first_line[4]
    else:
        delimiter = _delimiter(first_line, known)
    file.seek(0)
    rows = _csv_rows(_text_of(file, encoding), delimiter)
    head = next((row for row in rows if any(row.cells) and not row.cells[0].startswith("sep=")), None)
    if head is None:
        raise FileRefused("file-empty", _("The file is empty."), _("Export it again and look into it first."))
    return Sheet([clean(cell) for cell in head.cells], rows, lines - 1, notes)


def _text_of(file: BinaryIO, encoding: str) -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BufferedReader(_Kept(file)), encoding=encoding, newline="")


def _csv_rows(text: Iterable[str], delimiter: str) -> Iterator[RawRow]:
    # strict: a quotation mark that never ends would swallow the rest of the file.
    lines = csv.reader(text, delimiter=delimiter, strict=True)
    number = 0
    while True:
        number += 1
        try:
            cells = next(lines)
        except StopIteration:
            return
        except csv.Error:
            raise FileRefused(
                "file-broken",
                _("Row %(row)s cannot be read: a quotation mark stands where none may, or never ends.")
                % {"row": number},
                _("Mend that row, or save the file as XLSX."),
            ) from None
        _check_shape(number, len(cells))
        yield RawRow(number, cells)


def _check_shape(number: int, width: int) -> None:
    if number > MOST_ROWS + 1:
        raise FileRefused(
            "file-too-long",
            _("The file has more than %(most)s rows.") % {"most": f"{MOST_ROWS:,}"},
            _("Split it into several files, each with the same heads."),
        )
    if width > MOST_COLUMNS:
        raise FileRefused(
            "file-too-wide",
            _("Row %(row)s has more than %(most)s columns.") % {"row": number, "most": MOST_COLUMNS},
            _("Keep only the columns of the template."),
        )


# ---------------------------------------------------------------- XLSX


def check_zip(file: BinaryIO) -> None:
    """Refuse an XLSX that would unpack to far more than a spreadsheet does, before anything is unpacked.

    The declared sizes can be trusted as limits: zipfile stops reading an entry at its declared size.
    """
    try:
        entries = zipfile.ZipFile(file).infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError):
        raise _broken_xlsx() from None
    unpacked = sum(entry.file_size for entry in entries)
    packed = max(sum(entry.compress_size for entry in entries), 1)
    if (
        len(entries) > MOST_ENTRIES
        or unpacked > MOST_UNPACKED
        or (unpacked > RATIO_FREE and unpacked / packed > MOST_RATIO)
    ):
        raise FileRefused(
            "file-unpacks-too-large",
            _("This spreadsheet would unpack to %(size)s MB in %(parts)s parts, far more than a table needs.")
            % {"size": f"{unpacked / 1048576:.0f}", "parts": len(entries)},
            _("Copy the table into a new workbook, or save it as CSV."),
        )
    if any(entry.flag_bits & 0x1 for entry in entries):
        raise FileRefused(
            "file-locked", _("This spreadsheet is locked with a password."), _("Save it without a password.")
        )
    if "xl/workbook.xml" not in {entry.filename for entry in entries}:
        raise _not_a_table("ZIP")


def _broken_xlsx() -> FileRefused:
    return FileRefused(
        "file-broken",
        _("This spreadsheet is damaged and cannot be opened."),
        _("Open it in the program it comes from, and save it again as XLSX or CSV."),
    )


def _open_xlsx(file: BinaryIO) -> Sheet:
    check_zip(file)
    from openpyxl import DEFUSEDXML, load_workbook

    if not DEFUSEDXML:
        raise RuntimeError("defusedxml is missing or switched off; spreadsheets are not read without it")
    file.seek(0)
    try:
        book = load_workbook(file, read_only=True, data_only=True, keep_links=False)
        page = book.worksheets[0]
        about = page.max_row or 0
        page.reset_dimensions()
    except Exception:  # noqa: BLE001 - a foreign parser on foreign bytes: whatever it raises, the file is damaged
        raise _broken_xlsx() from None
    notes = []
    if len(book.worksheets) > 1:
        notes.append(_("Only the first sheet, “%(name)s”, was read.") % {"name": page.title[:31]})
    rows = _xlsx_rows(page)
    head = next((row for row in rows if any(row.cells)), None)
    if head is None:
        raise FileRefused(
            "file-empty", _("The first sheet is empty."), _("Put the table on the first sheet.")
        )
    return Sheet(
        [clean(cell) for cell in head.cells], rows, max(min(about, MOST_ROWS) - head.number, 0), notes
    )


def _xlsx_rows(page: Any) -> Iterator[RawRow]:
    walked = page.iter_rows(max_col=MOST_COLUMNS + 1, values_only=True)
    empty = 0
    for number in range(1, MOST_ROWS * 10):
        try:
            values = next(walked)
        except StopIteration:
            return
        except Exception:  # noqa: BLE001 - as above: damage may show only in the middle of the sheet
            raise _broken_xlsx() from None
        width = max((place for place, value in enumerate(values, start=1) if value is not None), default=0)
        empty = 0 if width else empty + 1
        if empty > EMPTY_ROWS_END:
            return
        if width:
            _check_shape(number, width)
            yield RawRow(number, [cell_text(value) for value in values[:width]])


def cell_text(value: Any) -> str:
    """A spreadsheet's value as the text that a CSV would hold."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime):
        return value.isoformat(sep=" ", timespec="minutes")
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value)


# ---------------------------------------------------------------- heads


@dataclass(frozen=True, slots=True)
class HeadFault:
    """What is wrong with one head."""

    column: str
    sentence: str
    next_step: str


def match_heads(
    heads: Sequence[str], names: Sequence[str], required: Iterable[str]
) -> tuple[dict[str, int], list[HeadFault]]:
    """Where each known column stands, and every head that is unknown, doubled or missing."""
    # Heads are told as they stand, but for signs that nobody could see and no database takes.
    heads = [_CONTROL.sub("\N{REPLACEMENT CHARACTER}", head) for head in heads]
    plain = [plain_head(head) for head in heads]
    faults = [
        HeadFault(
            head,
            _("There is no column “%(head)s” in this kind of file.") % {"head": head[:40]},
            _("Take the column out, or name it as in the template."),
        )
        for head, name in zip(heads, plain, strict=True)
        if name and name not in names
    ]
    faults += [
        HeadFault(name, _("The column “%(head)s” stands twice.") % {"head": name}, _("Keep one of the two."))
        for name, count in Counter(plain).items()
        if name in names and count > 1
    ]
    faults += [
        HeadFault(
            name,
            _("The column “%(head)s” is missing.") % {"head": name},
            _("Add it to the first row, as in the template."),
        )
        for name in required
        if name not in plain
    ]
    return {name: plain.index(name) for name in names if name in plain}, faults
