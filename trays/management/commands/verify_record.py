"""Prove that the record was not altered: manage.py verify_record"""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from trays.ledger.queries import verify
from trays.stock.verify import stock_faults


class Command(BaseCommand):
    """Walks every chain, asks whether each guard is in force, and whether stock is the sum of its lines."""

    help = "Verifies the record: chains, guards, and that stock equals the sum of its lines."

    def handle(self, *args: Any, **options: Any) -> None:
        sentences = [
            f"{fault.chain} {fault.sequence}: {fault.sentence}" if fault.chain else fault.sentence
            for fault in verify()
        ]
        sentences += stock_faults()
        for sentence in sentences:
            self.stdout.write(sentence)
        if sentences:
            raise CommandError(f"The record does not hold: {len(sentences)} faults.")
        self.stdout.write("The record holds.")
