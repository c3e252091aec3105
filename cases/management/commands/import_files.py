"""Import a folder of files: manage.py import_files FOLDER [--by USERNAME] [--check-only]"""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from cases.desks.folder import FileFault, folder_import
from trays.staff.models import Person
from trays.web.errors import Refusal


class Command(BaseCommand):
    """All files of the folder, in order of dependency, all or nothing. Exit status 1 if there are faults."""

    help = (
        "Imports a folder of CSV and XLSX files named kind.csv, 01-kind.csv or kind.xlsx, in order of "
        "dependency. Everything is kept only if no file has a fault."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument("--by", metavar="USERNAME", help="who imports; without it, the system's keeper")
        parser.add_argument("--check-only", action="store_true", help="check everything and keep nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        by = _person(options["by"])
        try:
            answer = folder_import(
                folder=options["folder"],
                by=by,
                at=timezone.now(),
                check_only=options["check_only"],
                tell=self._tell if self.stderr.isatty() else None,
            )
        except Refusal as refusal:
            raise CommandError(f"{refusal.sentence} {refusal.next_step}") from refusal
        if self.stderr.isatty():
            self.stderr.write("", ending="\n")
        for name, rows in answer.rows.items():
            self.stdout.write(f"{name}: {rows} rows")
        for fault in answer.faults:
            self.stderr.write(fault_line(fault))
        if answer.faults:
            raise CommandError(
                f"{len(answer.faults)} faults; nothing was kept. Mend the files and try again."
            )
        self.stdout.write(
            "Checked, no faults; nothing was kept." if options["check_only"] else "All of it is kept."
        )

    def _tell(self, name: str, done: int, total: int) -> None:
        width = 24
        filled = width * done // total if total else width
        self.stderr.write(
            f"\r{name:<28} [{'#' * filled}{' ' * (width - filled)}] {done}/{total}  ", ending=""
        )


def fault_line(fault: FileFault) -> str:
    """One fault as one line: file, row, column, what is wrong, what to do."""
    where = ", ".join(
        part
        for part in (
            fault.file,
            f"row {fault.row}" if fault.row else "",
            f"column {fault.column}" if fault.column else "",
        )
        if part
    )
    return f"{where}: {fault.sentence} {fault.next_step}"


def _person(username: str | None) -> Person:
    people = Person.objects.filter(is_active=True)
    if username:
        found = people.filter(username=username).first()
        if found is None:
            raise CommandError(f"Nobody signs in as {username}. Name somebody with --by.")
        return found
    keeper = people.filter(is_superuser=True).order_by("pk").first()
    if keeper is None:
        raise CommandError(
            "There is no keeper yet. Make one with manage.py createsuperuser, or name somebody with --by."
        )
    return keeper
