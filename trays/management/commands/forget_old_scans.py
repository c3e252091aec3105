"""Delete refused scans that have been kept for their time: manage.py forget_old_scans"""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from trays.refusals.services import end_of_keeping, scans_forget


class Command(BaseCommand):
    """For a daily job: what is older than TRAYSPAN_SCAN_DAYS goes, raw bytes and all."""

    help = "Deletes refused scans older than their retention period (TRAYSPAN_SCAN_DAYS, or --days)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--days", type=int, default=settings.SCANS_KEPT_DAYS, help="Keep so many days.")

    def handle(self, *args: Any, **options: Any) -> None:
        days: int = options["days"]
        if not 1 <= days <= settings.SCANS_KEPT_DAYS_MOST:
            raise CommandError(f"Days to keep are 1 to {settings.SCANS_KEPT_DAYS_MOST}, not {days}.")
        forgotten = scans_forget(before=end_of_keeping(at=timezone.now(), days=days))
        self.stdout.write(f"{forgotten} refused scans from more than {days} days ago were deleted.")
