"""Every trap a file can hold is read, or refused with a sentence and a next step."""

import io
import struct
import zipfile
import zlib

import pytest
from openpyxl import Workbook

from trays.exchange import reader
from trays.exchange.reader import FileRefused, cell_text, clean, control_sign, match_heads, open_sheet

KNOWN = ("code", "name", "price")
LIMIT = 1_000_000


def opened(raw: bytes):
    return open_sheet(io.BytesIO(raw), limit=LIMIT, known=KNOWN)


def rows(raw: bytes):
    sheet = opened(raw)
    return sheet.heads, [(row.number, list(row.cells)) for row in sheet.rows]


def refusal(raw: bytes, *, read: bool = True) -> str:
    with pytest.raises(FileRefused) as told:
        sheet = opened(raw)
        if read:
            list(sheet.rows)
    assert told.value.sentence
    assert told.value.next_step
    return told.value.code


def workbook(lines, *, sheets=1) -> bytes:
    book = Workbook()
    for line in lines:
        book.active.append(line)
    for _more in range(sheets - 1):
        book.create_sheet()
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


PLAIN = (["code", "name", "price"], [(2, ["a", "Müller", "1"]), (3, ["b", "x", "2"])])


@pytest.mark.parametrize(
    "raw",
    [
        "code,name,price\na,Müller,1\nb,x,2\n".encode(),
        "\ufeffcode,name,price\r\na,Müller,1\r\nb,x,2\r\n".encode(),
        "code;name;price\ra;Müller;1\rb;x;2".encode(),
        "code\tname\tprice\na\tMüller\t1\nb\tx\t2\n".encode(),
        "code;name;price\na;Müller;1\nb;x;2\n".encode("cp1252"),
        "code\tname\tprice\r\na\tMüller\t1\r\nb\tx\t2\r\n".encode("utf-16"),
        '"code","name","price"\n"a","Müller","1"\n"b","x","2"\n'.encode(),
    ],
    ids=["plain", "mark and CR LF", "semicolons and CR", "tabs", "Windows-1252", "UTF-16", "quoted"],
)
def test_one_table_in_every_dialect(raw):
    assert rows(raw) == PLAIN


def test_a_spreadsheet_is_the_same_table():
    assert rows(workbook([["code", "name", "price"], ["a", "Müller", 1], ["b", "x", 2.0]])) == PLAIN


def test_an_old_encoding_is_said():
    assert "Windows-1252" in " ".join(opened("code;name\na;Müller\n".encode("cp1252")).notes)
    assert refusal(b"code;name\na;x" + b"\x81\n") == "file-encoding"


def test_rows_keep_the_number_that_a_spreadsheet_shows():
    _heads, found = rows(b'code,name\n\na,"two\nlines"\n\nb,x\n')
    assert [number for number, cells in found if any(cells)] == [3, 5]


def test_a_quotation_mark_that_never_ends_names_its_row():
    raw = b'code,name\na,x\nb,"never ends\nc,y\n'
    with pytest.raises(FileRefused) as told:
        list(opened(raw).rows)
    assert told.value.code == "file-broken"
    assert "3" in told.value.sentence


def test_what_is_not_a_table_is_named():
    assert refusal(b"") == "file-empty"
    assert refusal(b"\n\n\n") == "file-empty"
    assert refusal(b"%PDF-1.7 ...") == "file-not-a-table"
    assert refusal(b"\x89PNG\r\n\x1a\n" + b"\0" * 90) == "file-not-a-table"
    assert refusal(bytes(range(32)) * 40) == "file-not-a-table"
    assert refusal(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 90) == "file-old-or-locked"
    assert refusal(b"PK\x03\x04 and nothing more") == "file-broken"


def test_a_file_beyond_the_limit_is_refused_by_its_real_size():
    assert refusal(b"code\n" + b"a\n" * LIMIT) == "file-too-large"


def test_a_zip_that_is_no_workbook():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("notes.txt", "nothing")
    assert refusal(out.getvalue()) == "file-not-a-table"


def test_a_zip_bomb_is_refused_before_it_is_unpacked(monkeypatch):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", "<workbook/>")
        packed.writestr("xl/worksheets/sheet1.xml", b" " * 60_000_000)
    raw = out.getvalue()
    assert len(raw) < LIMIT

    def unpacked(*_given, **_named):
        raise AssertionError("the bomb was opened")

    monkeypatch.setattr(zipfile.ZipFile, "open", unpacked)
    assert refusal(raw) == "file-unpacks-too-large"


def test_a_bomb_of_many_parts_is_refused():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("xl/workbook.xml", "<workbook/>")
        for number in range(reader.MOST_ENTRIES):
            packed.writestr(f"xl/{number}", "")
    assert refusal(out.getvalue()) == "file-unpacks-too-large"


def test_a_part_that_lies_about_its_size_does_not_unpack_further():
    """The declared size is cut into the directory: reading stops there and the workbook counts as damaged."""
    body = b"<x>" + b" " * 3_000_000
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", body)
    raw = bytearray(out.getvalue())
    true = struct.pack("<I", len(body))
    assert raw.count(true) == 2
    raw = raw.replace(true, struct.pack("<I", 100))
    assert zlib.crc32(body)
    assert refusal(bytes(raw)) == "file-broken"


def test_entities_in_a_workbook_are_not_followed():
    good = workbook([["code"], ["a"]])
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(good)) as source, zipfile.ZipFile(out, "w") as packed:
        for entry in source.infolist():
            body = source.read(entry)
            if entry.filename == "xl/workbook.xml":
                body = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]>' + body
            packed.writestr(entry.filename, body)
    assert refusal(out.getvalue()) == "file-broken"


def test_a_sheet_formatted_to_its_end_is_not_walked_to_its_end():
    book = Workbook()
    book.active.append(["code"])
    book.active.append(["a"])
    book.active.cell(row=1_048_576, column=1).number_format = "0.00"
    out = io.BytesIO()
    book.save(out)
    assert rows(out.getvalue()) == (["code"], [(2, ["a"])])


def test_only_the_first_sheet_counts_and_that_is_said():
    assert opened(workbook([["code"], ["a"]], sheets=2)).notes


def test_too_many_rows_or_columns(monkeypatch):
    monkeypatch.setattr(reader, "MOST_ROWS", 3)
    assert refusal(b"code\n" + b"a\n" * 4) == "file-too-long"
    assert refusal(workbook([["code"], *(["a"] for _row in range(4))])) == "file-too-long"
    assert refusal(b"code" + b"," * 200 + b"\n") == "file-too-wide"


def test_control_signs_are_named_and_formulas_lose_their_guard():
    assert control_sign("a\x00b") == "U+0000"
    assert control_sign("a\tb\nc") == ""
    assert clean(" '=1+1 ") == "=1+1"
    assert clean("'tis") == "'tis"


def test_numbers_of_a_spreadsheet_become_the_digits_that_were_meant():
    assert [cell_text(value) for value in (None, True, 5, 5.0, 9.5, 9521234000013.0)] == [
        "", "yes", "5", "5", "9.5", "9521234000013",
    ]  # fmt: skip


def test_heads_are_matched_by_name_in_any_order_and_every_fault_is_told():
    places, faults = match_heads(["Name", " CODE ", ""], KNOWN, ("code",))
    assert places == {"code": 1, "name": 0}
    assert not faults
    _places, faults = match_heads(["code", "code", "colour"], KNOWN, ("code", "price"))
    assert sorted(fault.column for fault in faults) == ["code", "colour", "price"]
