"""The way of a file: read and checked into staging in chunks, then taken from there in one piece.

Who may do it, the record's event and the transaction of applying are the caller's (a room above the ledger).
"""

import base64
import hashlib
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import islice
from typing import Any, BinaryIO, cast

from django.db import transaction
from django.utils.translation import gettext as _

from trays.exchange.kinds import FaultSaid, Gathered, ImportKind, Taken
from trays.exchange.models import ImportFault, ImportRow, ImportRun
from trays.exchange.reader import FileRefused, RawRow, Sheet, match_heads, open_sheet

CHUNK = 1_000
PART_BYTES = 512 * 1024
# After so many faults the rest of the file says nothing new.
MOST_FAULTS = 10_000

Progress = Callable[[int, int], None]


def begin(*, kind: type[ImportKind], file_name: str, file: BinaryIO, by: Any, at: datetime) -> ImportRun:
    """A run in state "checking" for a file that was just handed in."""
    file.seek(0)
    digest = hashlib.sha256()
    while block := file.read(PART_BYTES):
        digest.update(block)
    file.seek(0)
    name = "".join(sign for sign in file_name.replace("\\", "/").rsplit("/", 1)[-1] if sign.isprintable())
    return ImportRun.objects.create(
        kind=kind.code, file_name=name[:200] or kind.code, by=by, at=at, digest=digest.hexdigest()
    )


def keep_parts(run: ImportRun, file: BinaryIO) -> None:
    """Put the file itself into staging, in parts, for a worker that may run on another machine."""
    number = 0
    file.seek(0)
    while block := file.read(PART_BYTES):
        ImportRow.objects.create(run=run, number=number, values={"part": base64.b64encode(block).decode()})
        number += 1


def take_parts(run: ImportRun) -> BinaryIO:
    """The file as it was put into staging; the parts are taken out."""
    file = cast(BinaryIO, tempfile.TemporaryFile())
    for number in run.rows.order_by("number").values_list("number", flat=True):
        file.write(base64.b64decode(run.rows.get(number=number).values["part"]))
    run.rows.all().delete()
    file.seek(0)
    return file


def check(
    run: ImportRun, kind: ImportKind, file: BinaryIO, *, limit: int, progress: Progress | None = None
) -> None:
    """Check every row into staging; leave the run "checked" or "faulty", whatever the file holds."""
    try:
        sheet = open_sheet(file, limit=limit, known=kind.names())
        run.note = " ".join(sheet.notes)
        run.rows_total = sheet.about
        run.save(update_fields=["note", "rows_total"])
        _check_rows(run, kind, sheet, progress)
    except FileRefused as refused:
        _keep(run, [], [(0, FaultSaid("", refused.sentence, refused.next_step))])
    faulty = run.faults.exists()
    run.state = ImportRun.State.FAULTY if faulty else ImportRun.State.CHECKED
    run.rows_total = run.rows_read
    run.save(update_fields=["state", "rows_read", "rows_total"])


def _check_rows(run: ImportRun, kind: ImportKind, sheet: Sheet, progress: Progress | None) -> None:
    places, head_faults = match_heads(sheet.heads, kind.names(), kind.required())
    if head_faults:
        _keep(run, [], [(1, FaultSaid(*_three(fault))) for fault in head_faults])
        return
    kind.prepare()
    faults = 0
    for chunk in _chunks(sheet.rows):
        run.rows_read += len(chunk)
        faults += _check_chunk(run, kind, [kind.take(raw, places) for raw in chunk])
        if progress:
            progress(run.rows_read, max(run.rows_total, run.rows_read))
        if faults > MOST_FAULTS:
            said = FaultSaid("", _("Checking stopped here: too many faults."), _("Mend these first."))
            _keep(run, [], [(chunk[-1].number, said)])
            break
    if not run.rows_read:
        empty = FaultSaid("", _("There are no rows below the heads."), _("Fill in at least one row."))
        _keep(run, [], [(1, empty)])
    if progress:
        progress(run.rows_read, run.rows_read)


def _chunks(rows: Iterator[RawRow]) -> Iterator[list[RawRow]]:
    """The rows that hold anything, so many at a time."""
    filled = (raw for raw in rows if any(cell.strip() for cell in raw.cells))
    while chunk := list(islice(filled, CHUNK)):
        yield chunk


def _check_chunk(run: ImportRun, kind: ImportKind, taken: list[Taken]) -> int:
    """Stage what has no fault and keep the faults of the rest; how many faults there are."""
    faults = [(one.number, fault) for one in taken for fault in one.faults]
    first = dict(
        run.rows.filter(key__in=[one.key for one in taken if one.key])
        .order_by("-number")
        .values_list("key", "number")
    )
    rows = []
    for one in taken:
        if one.values is None:
            continue
        if one.key in first:
            faults.append((one.number, kind.said_twice(first[one.key])))
            continue
        if one.key:
            first[one.key] = one.number
        rows.append(ImportRow(run=run, number=one.number, key=one.key, values=one.values))
    _keep(run, rows, faults)
    return len(faults)


def _three(fault: Any) -> tuple[str, str, str]:
    return fault.column, fault.sentence, fault.next_step


def _keep(run: ImportRun, rows: list[ImportRow], faults: list[tuple[int, FaultSaid]]) -> None:
    """Write one chunk and how far the check has come."""
    with transaction.atomic():
        ImportRow.objects.bulk_create(rows, batch_size=CHUNK)
        ImportFault.objects.bulk_create(
            [
                ImportFault(
                    run=run,
                    number=number,
                    column=fault.column[:60],
                    sentence=fault.sentence[:300],
                    next_step=fault.next_step[:300],
                )
                for number, fault in faults
            ],
            batch_size=CHUNK,
        )
        run.save(update_fields=["rows_read"])


def staged(run: ImportRun) -> Iterator[list[dict[str, Any]]]:
    """The checked rows in the order of the file, so many at a time."""
    last = -1
    while chunk := list(
        run.rows.filter(number__gt=last).order_by("number").values_list("number", "values")[:CHUNK]
    ):
        last = chunk[-1][0]
        yield [values for _number, values in chunk]


def apply(run: ImportRun, kind: ImportKind, *, by: Any, at: datetime) -> Gathered:
    """Write the rows, empty the staging, and mark the run as applied. The caller holds the run's lock."""
    moved = Gathered()
    kind.refuse_changed(values for chunk in staged(run) for values in chunk)
    if kind.in_chunks:
        for chunk in staged(run):
            moved.add(kind.apply(chunk, by=by, at=at))
    else:
        moved.add(kind.apply([values for chunk in staged(run) for values in chunk], by=by, at=at))
    run.rows.all().delete()
    run.state = ImportRun.State.APPLIED
    run.applied_at = at
    run.save(update_fields=["state", "applied_at"])
    return moved
