"""The way of a file: read and checked into staging in chunks, then taken from there in one piece.

Who may do it, the record's event and the transaction of applying are the caller's (a room above the ledger).
"""

import base64
import hashlib
import io
from collections.abc import Callable
from datetime import datetime
from typing import Any, BinaryIO

from django.db import transaction
from django.utils.translation import gettext as _

from trays.exchange.kinds import FaultSaid, ImportKind, Moves
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
    parts: list[ImportRow] = []
    file.seek(0)
    while block := file.read(PART_BYTES):
        text = base64.b64encode(block).decode()
        parts.append(ImportRow(run=run, number=len(parts), values={"part": text}))
    ImportRow.objects.bulk_create(parts, batch_size=20)


def take_parts(run: ImportRun) -> BinaryIO:
    """The file as it was put into staging; the parts are taken out."""
    parts = run.rows.order_by("number")
    file = io.BytesIO(b"".join(base64.b64decode(row.values["part"]) for row in parts.iterator(chunk_size=8)))
    run.rows.all().delete()
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
    rows: list[ImportRow] = []
    faults: list[tuple[int, FaultSaid]] = []
    told = 0
    for raw in sheet.rows:
        if not any(cell.strip() for cell in raw.cells):
            continue
        run.rows_read += 1
        _take(run, kind, raw, places, rows, faults)
        if len(rows) + len(faults) >= CHUNK:
            told += len(faults)
            _keep(run, rows, faults)
            if progress:
                progress(run.rows_read, max(run.rows_total, run.rows_read))
        if told + len(faults) > MOST_FAULTS:
            faults.append(
                (
                    raw.number,
                    FaultSaid("", _("Checking stopped here: too many faults."), _("Mend these first.")),
                )
            )
            break
    if not run.rows_read:
        faults.append(
            (1, FaultSaid("", _("There are no rows below the heads."), _("Fill in at least one row.")))
        )
    _keep(run, rows, faults)
    if progress:
        progress(run.rows_read, run.rows_read)


def _three(fault: Any) -> tuple[str, str, str]:
    return fault.column, fault.sentence, fault.next_step


def _take(
    run: ImportRun,
    kind: ImportKind,
    raw: RawRow,
    places: dict[str, int],
    rows: list[ImportRow],
    faults: list[tuple[int, FaultSaid]],
) -> None:
    values, said = kind.take(raw, places)
    faults += [(raw.number, fault) for fault in said]
    if values is not None:
        rows.append(ImportRow(run=run, number=raw.number, values=values))


def _keep(run: ImportRun, rows: list[ImportRow], faults: list[tuple[int, FaultSaid]]) -> None:
    """Write one chunk and how far the check has come; empties both lists."""
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
    rows.clear()
    faults.clear()


def staged(run: ImportRun) -> list[dict[str, Any]]:
    """The checked rows, in the order of the file."""
    return list(run.rows.order_by("number").values_list("values", flat=True))


def apply(run: ImportRun, kind: ImportKind, rows: list[dict[str, Any]], *, by: Any, at: datetime) -> Moves:
    """Write the rows, empty the staging, and mark the run as applied. The caller holds the run's lock."""
    moves = kind.apply(rows, by=by, at=at)
    run.rows.all().delete()
    run.state = ImportRun.State.APPLIED
    run.applied_at = at
    run.save(update_fields=["state", "applied_at"])
    return moves
