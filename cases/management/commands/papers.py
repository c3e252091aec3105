"""manage.py papers IN OUT: from a folder of files to pick lists, count sheets, labels and alerts."""

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from cases.desks.folder import folder_import
from cases.desks.papers import Written, papers_write
from cases.management.commands.import_files import fault_line
from trays.labels.setup import stock_names
from trays.staff.models import Person
from trays.web.errors import Refusal


class Command(BaseCommand):
    """The line without a browser, in a scratch database that ends with the command."""

    help = (
        "Reads a folder of CSV and XLSX files into a scratch database and writes pick lists, count sheets "
        "and labels as PDF and reorder alerts as CSV into another folder."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, help="the files to read")
        parser.add_argument("out", type=Path, help="the folder to write into")
        parser.add_argument("--days", type=int, default=2, help="operating days per site (default: 2)")
        parser.add_argument(
            "--stock",
            default="pack-roll-300",
            choices=stock_names(),
            help="label stock, a roll's with the dots of its printer (default: pack-roll-300)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["days"] < 1:
            raise CommandError("--days is at least 1.")
        if options["out"].exists() and not options["out"].is_dir():
            raise CommandError(f"{options['out']} is not a folder. Name another.")
        # Before a database is made for it.
        if not options["folder"].is_dir():
            raise CommandError(f"{options['folder']} is not a folder. Name a folder.")
        at = timezone.now()
        call_command("migrate", verbosity=0)
        keeper = Person.objects.create_superuser("papers", name="papers")
        try:
            answer = folder_import(
                folder=options["folder"], by=keeper, at=at, base_day=at.date(), tell=self._bar
            )
        except Refusal as refusal:
            raise CommandError(f"{refusal.sentence} {refusal.next_step}") from refusal
        self._end_bar()
        for fault in answer.faults:
            self.stderr.write(fault_line(fault))
        if answer.faults:
            raise CommandError(f"{len(answer.faults)} faults; nothing was written. Mend the files first.")
        written = self._written(options, by=keeper, at=at)
        self._end_bar()
        for line in written.refused:
            self.stderr.write(line)
        self.stdout.write(
            f"{written.pick_lists} pick lists, {written.count_sheets} count sheets, {written.labels} labels, "
            f"{written.alerts} reorder alerts in {options['out']}"
        )

    def _written(self, options: dict[str, Any], *, by: Person, at: datetime) -> Written:
        out, days, stock = options["out"], options["days"], options["stock"]
        try:
            return papers_write(out=out, by=by, at=at, days=days, stock=stock, tell=self._bar)
        except OSError as fault:
            raise CommandError(f"{out} cannot be written: {fault.strerror}. Name another folder.") from fault

    def _bar(self, what: str, done: int, total: int) -> None:
        width = 24
        filled = width * done // total if total else width
        self.stderr.write(
            f"\r{what:<28} [{'#' * filled}{' ' * (width - filled)}] {done}/{total}  ", ending=""
        )

    def _end_bar(self) -> None:
        self.stderr.write("", ending="\n")
