"""Files that nobody should hand in: told in words, nothing half-saved, never a failure."""

import csv
import io
import zipfile
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import reverse

from cases.desks.importing import import_apply, import_check
from cases.desks.imports import KINDS
from tests.boundaries.test_bad_input import NASTY, rows, text_of
from tests.cases.imports.test_templates import BEFORE, as_lines
from tests.world import World
from trays.exchange.columns import Text
from trays.exchange.kinds import ImportKind
from trays.exchange.models import ImportRun
from trays.ledger.queries import verify
from trays.staff.models import Person
from trays.stock.models import Pile, Unit
from trays.stock.verify import stock_faults
from trays.web.errors import Refusal

AT = datetime(2026, 12, 1, 9, 0, tzinfo=UTC)
# At the edges of what a column of either database holds, and of what a day can be.
EDGES = (
    "32767", "32768", "65536", "2147483647", "2147483648", "1000000", "0", "1e30", "sNaN", "0.000000001",
    "99999999.99", "100000000", "9999-12-31 23:59", "0001-01-01 00:00", "1900-01-01 00:00", "femoral:9-1",
    "femoral:", ":", "|", "||a|", "a" * 20, "a" * 40, "a" * 60, "a" * 120, "é" * 40, "left|right", "=1+1",
    "09521234000013", "9521234000013" * 3,
)  # fmt: skip


# ---------------------------------------------------------------- files as a whole


class Zeros:
    """A body of so many bytes that is never all in memory: a form's start, zeros, its end."""

    def __init__(self, start: bytes, zeros: int, end: bytes) -> None:
        self.parts = [(start, 1), (b"\0" * 65_536, zeros // 65_536), (end, 1)]
        self.length = sum(len(piece) * times for piece, times in self.parts)
        self.pieces = (piece for piece, times in self.parts for _time in range(times))
        self.rest = b""

    def readline(self, most: int = -1) -> bytes:
        raise NotImplementedError("a form is read in blocks")

    def read(self, most: int = -1) -> bytes:
        while len(self.rest) < most and (piece := next(self.pieces, b"")):
            self.rest += piece
        taken, self.rest = self.rest[:most], self.rest[most:]
        return taken


def upload(kind: str, zeros: int) -> dict[str, Any]:
    """The request of a form with a file of so many zeros."""
    start = (
        f'--b\r\nContent-Disposition: form-data; name="kind"\r\n\r\n{kind}\r\n'
        '--b\r\nContent-Disposition: form-data; name="file"; filename="units.xlsx"\r\n'
        "Content-Type: application/octet-stream\r\n\r\n"
    ).encode()
    body = Zeros(start, zeros, b"\r\n--b--\r\n")
    return {
        "REQUEST_METHOD": "POST",
        "PATH_INFO": reverse("import-new"),
        "CONTENT_TYPE": "multipart/form-data; boundary=b",
        "CONTENT_LENGTH": str(body.length),
        "wsgi.input": body,
    }


def hand_in(client: Client, raw: bytes, *, kind: str = "units", name: str = "units.csv") -> Any:
    return client.post(reverse("import-new"), {"kind": kind, "file": SimpleUploadedFile(name, raw)})


def test_fifty_megabytes_are_refused_with_what_to_do(world: World, as_person: Any) -> None:
    before = rows()
    answer = as_person("stores").request(**upload("units", 50 * 1024 * 1024))
    page = text_of(answer)
    assert answer.status_code == 422
    assert "The file has 50 MB; at most 20 MB are taken. Split it into several files." in page
    assert '<option value="units" selected' in page
    assert rows() == before


@pytest.mark.parametrize(
    "inside", ["xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/media/image1.png"]
)
def test_a_bomb_is_refused_before_it_is_unpacked(inside: str, world: World, as_person: Any) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", "<workbook/>")
        with packed.open(inside, "w", force_zip64=True) as part:
            for _piece in range(300):
                part.write(b"\0" * 1_048_576)
    assert len(out.getvalue()) < 400_000
    before = rows()
    answer = hand_in(as_person("stores"), out.getvalue(), name="units.xlsx")
    assert answer.status_code == 422
    assert "would unpack to 300 MB" in text_of(answer)
    assert rows() == before


@pytest.mark.parametrize(
    ("name", "raw"),
    {
        "a name with a null": ("a\0b.csv", b"\0" * 200),
        "a path": ("../../etc/passwd", b""),
        "a long name": ("x" * 3_000 + ".csv", b"%PDF-1.4"),
        "a locked workbook": ("units.xlsx", b"\xd0\xcf\x11\xe0" + b"\0" * 600),
        "half a workbook": ("units.xlsx", b"PK\x03\x04" + b"\0" * 40),
        "half of utf-16": ("units.csv", b"\xff\xfea"),
    }.values(),
)
def test_what_is_no_table_is_named_and_makes_no_run(
    name: str, raw: bytes, world: World, as_person: Any
) -> None:
    before = rows()
    answer = hand_in(as_person("stores"), raw, name=name)
    assert answer.status_code == 422
    assert 'id="faults"' in text_of(answer)
    assert rows() == before


# ---------------------------------------------------------------- one cell

PILE = {
    "component": "swab-5", "lot": "N1", "quantity": "10", "owner": "LOC", "tenure": "owned",
    "site": "larkmere", "place": "S1", "expires": "2030-01-31",
}  # fmt: skip
UNIT = {
    "component": "tib-2-x-none", "lot": "N1", "quantity": "1", "owner": "LOC", "tenure": "owned",
    "site": "larkmere", "place": "S1", "expires": "2030-01-31", "received": "2026-01-02 10:00",
}  # fmt: skip


def as_csv(*lines: dict[str, str]) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(lines[0]))
    writer.writeheader()
    writer.writerows(lines)
    return out.getvalue().encode("utf-8", "surrogatepass")


@pytest.mark.parametrize(
    ("kind", "changed", "said"),
    [
        ("piles", {"quantity": "-1"}, "-1 is out of range"),
        ("piles", {"quantity": str(10**30)}, "is not a whole number"),
        ("piles", {"component": "no-such"}, "“no-such” is not on file"),
        ("piles", {"lot": "A\0B"}, "cannot be seen or printed (U+0000)"),
        ("units", {"expires": "2020-01-31"}, "expired on 2020-01-31"),
        ("units", {"expires": "0001-01-01"}, "too far away to be meant"),
        ("units", {"lot": "A\x1dB"}, "cannot be seen or printed (U+001D)"),
        ("units", {"lot": "x" * 10_000}, "10000 letters long"),
    ],
)
def test_a_wrong_cell_is_told_with_its_row_and_column_and_nothing_of_the_file_is_kept(
    kind: str, changed: dict[str, str], said: str, world: World, as_person: Any
) -> None:
    stores = as_person("stores")
    stock = Unit.objects.count(), Pile.objects.count()
    good = PILE if kind == "piles" else UNIT
    raw = as_csv({**good, "lot": "GOOD"}, {**good, **changed})
    answer = hand_in(stores, raw, kind=kind)
    run = ImportRun.objects.get()
    page = text_of(stores.get(answer["Location"]))
    assert said in page
    assert next(iter(changed)) in page
    assert run.faults.get().number == 3
    stores.post(answer["Location"], {"act": "apply"})
    run.refresh_from_db()
    assert run.state == "faulty"
    assert stock == (Unit.objects.count(), Pile.objects.count())


# ---------------------------------------------------------------- every cell


# Kinds whose rows are nothing alone: what the example leans on comes in the same file.
TOGETHER = {"count-templates"}


def with_its_own(kind: type[ImportKind], line: dict[str, str]) -> bytes:
    """A file of one row, and of those without which it is nothing."""
    return as_csv(*([{**line, **one} for one in BEFORE[kind.code]] if kind.code in TOGETHER else []), line)


def tried(kind: type[ImportKind], line: dict[str, str], by: Person) -> str:
    """The state in which one file of one row ends, whether it is faulty or applied; never half of it."""
    before = rows()
    raw = with_its_own(kind, line)
    file_name = f"{kind.code}.csv"
    run = import_check(kind=kind, file=io.BytesIO(raw), file_name=file_name, by=by, at=AT)
    if run.state == "checked":
        staged = rows()
        try:
            with transaction.atomic():
                import_apply(run=run, by=by, at=AT)
        except Refusal as refusal:
            assert refusal.next_step
            assert rows() == staged
        run.refresh_from_db()
    else:
        assert all(fault.sentence and fault.next_step for fault in run.faults.all())
        changed = {name for name, count in rows().items() if count != before[name]}
        assert changed <= {"ImportRun", "ImportFault"}
    return str(run.state)


def each_kind(by: Person, visit: Callable[[type[ImportKind], dict[str, str]], None]) -> None:
    """Build the world of the templates kind by kind; `visit` sees each kind before its example is there."""
    for kind in KINDS:
        (example,) = as_lines(kind)
        for before in () if kind.code in TOGETHER else BEFORE.get(kind.code, ()):
            assert tried(kind, {**example, **before}, by) == "applied", (kind.code, before)
        visit(kind, example)
        assert tried(kind, example, by) == "applied", kind.code


def taken(kind: type[ImportKind], example: dict[str, str], column: str, by: Person) -> list[str]:
    """The values that the column itself has nothing against, told by one file with a row for each."""
    values = [*NASTY.values(), *EDGES, ""]
    raw = as_csv(*({**example, column: value} for value in values))
    run = import_check(kind=kind, file=io.BytesIO(raw), file_name="all.csv", by=by, at=AT)
    assert all(fault.sentence and fault.next_step for fault in run.faults.all())
    refused = set(run.faults.filter(column=column).exclude(sentence__contains="in row").values_list("number"))
    # The heads are row 1, and values of several lines are one row each.
    return [value for number, value in enumerate(values, start=2) if (number,) not in refused]


@pytest.mark.django_db
@pytest.mark.slow
def test_no_cell_of_any_kind_of_file_makes_an_import_fail() -> None:
    """What a column takes is also applied, each value alone; of words only the longest."""
    keeper = Person.objects.create(username="keeper", name="K", is_superuser=True, password="!")
    ends: Counter[str] = Counter()

    def visit(kind: type[ImportKind], example: dict[str, str]) -> None:
        for column in kind.columns:
            mark = transaction.savepoint()
            values = taken(kind, example, column.name, keeper)
            transaction.savepoint_rollback(mark)
            if isinstance(column, Text):
                values = sorted(values, key=len)[-2:]
            for value in values:
                ends[tried(kind, {**example, column.name: value}, keeper)] += 1
                transaction.savepoint_rollback(mark)

    each_kind(keeper, visit)
    assert ends["applied"] > 100
    assert ends["faulty"] > 0
    assert set(ends) <= {"applied", "faulty", "checked"}
    assert verify() == []
    assert stock_faults() == []


@pytest.mark.django_db
def test_one_file_checked_twice_is_applied_once_whatever_its_kind() -> None:
    """Both checks saw nothing of it on file; the second apply must see what the first has made."""
    keeper = Person.objects.create(username="keeper", name="K", is_superuser=True, password="!")
    doubled = []

    def twice(kind: type[ImportKind], example: dict[str, str]) -> None:
        mark = transaction.savepoint()
        runs = [
            import_check(kind=kind, file=io.BytesIO(raw), file_name="a.csv", by=keeper, at=AT)
            for raw in [with_its_own(kind, example)] * 2
        ]
        import_apply(run=runs[0], by=keeper, at=AT)
        once = rows()
        try:
            with transaction.atomic():
                import_apply(run=runs[1], by=keeper, at=AT)
        except Refusal as refusal:
            assert refusal.next_step
            assert rows() == once
        else:
            doubled.append(kind.code)
        transaction.savepoint_rollback(mark)

    each_kind(keeper, twice)
    assert doubled == []
