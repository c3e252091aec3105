"""A folder of files, imported in order of dependency: all of it or nothing."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from django.db import transaction
from django.utils.translation import gettext as _

from cases.desks.importing import import_apply, import_check, kind_named
from cases.desks.imports import KINDS
from trays.exchange.models import ImportRun
from trays.staff.models import Person
from trays.web.errors import Refusal

_NAME = re.compile(r"(?:\d+-)?([a-z-]+)\.(csv|xlsx)", re.IGNORECASE)

# Told while a file is worked on: its name, rows done, rows in all.
Tell = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class FileFault:
    """One fault with where it stands: file, row as in a spreadsheet, column."""

    file: str
    row: int
    column: str
    sentence: str
    next_step: str


@dataclass
class FolderAnswer:
    """What came of a folder: rows by file, every fault, and whether it was kept."""

    rows: dict[str, int] = field(default_factory=dict)
    faults: list[FileFault] = field(default_factory=list)
    kept: bool = False


class _Undone(Exception):
    """Takes the transaction back."""


def folder_files(folder: Path) -> list[tuple[str, Path]]:
    """(kind, file) of each file of the folder in order of dependency.

    Files are named kind.csv, kind.xlsx, or with a number before it. Raises Refusal "no-such-folder",
    "folder-empty", "file-name-unknown".
    """
    if not folder.is_dir():
        raise Refusal(
            "no-such-folder", _("%(folder)s is not a folder.") % {"folder": folder}, _("Name a folder.")
        )
    order = {kind.code: turn for turn, kind in enumerate(KINDS)}
    found = []
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() not in (".csv", ".xlsx") or path.name.startswith((".", "~")):
            continue
        named = _NAME.fullmatch(path.name)
        if named is None or named[1].lower() not in order:
            raise Refusal(
                "file-name-unknown",
                _("%(file)s: the name does not say what kind of file it is.") % {"file": path.name},
                _("Name it kind.csv or kind.xlsx. Kinds: %(kinds)s.") % {"kinds": ", ".join(order)},
            )
        found.append((named[1].lower(), path))
    if not found:
        raise Refusal(
            "folder-empty",
            _("There is no CSV or XLSX file in %(folder)s.") % {"folder": folder},
            _("Put the files in."),
        )
    return sorted(found, key=lambda pair: (order[pair[0]], pair[1].name))


def folder_import(
    *,
    folder: Path,
    by: Person,
    at: datetime,
    base_day: date | None = None,
    check_only: bool = False,
    tell: Tell | None = None,
) -> FolderAnswer:
    """Import each file of a folder; keep all of it only if no file has a fault.

    Each file is checked against what the files before it brought. Raises Refusal as `folder_files`.
    """
    answer = FolderAnswer()
    files = folder_files(folder)
    try:
        with transaction.atomic():
            for kind, path in files:
                _one_file(answer, kind, path, by=by, at=at, base_day=base_day, tell=tell)
            if answer.faults or check_only:
                raise _Undone
    except _Undone:
        return answer
    answer.kept = True
    return answer


def _one_file(
    answer: FolderAnswer,
    code: str,
    path: Path,
    *,
    by: Person,
    at: datetime,
    base_day: date | None,
    tell: Tell | None,
) -> None:
    def progress(done: int, total: int) -> None:
        if tell:
            tell(path.name, done, total)

    try:
        with path.open("rb") as file:
            run = import_check(
                kind=kind_named(code),
                file=file,
                file_name=path.name,
                by=by,
                at=at,
                base_day=base_day,
                progress=progress,
            )
        answer.rows[path.name] = run.rows_read
        if run.state == ImportRun.State.CHECKED:
            # A savepoint, so that a refusal takes back this file only and the next ones are checked too.
            with transaction.atomic():
                import_apply(run=run, by=by, at=at)
    except Refusal as refusal:
        answer.faults.append(FileFault(path.name, 0, "", str(refusal.sentence), str(refusal.next_step)))
        return
    answer.faults += [
        FileFault(path.name, fault.number, fault.column, fault.sentence, fault.next_step)
        for fault in run.faults.order_by("number", "pk")
    ]
