"""Accounting for packs of open recalls, within the acts that find them."""

from collections.abc import Collection
from datetime import datetime

from django.db.models import F

from trays.instruments.models import Pack
from trays.ledger.append import Line
from trays.processing.models_recall import RecallOutcome, RecallPack
from trays.staff.models import Person


def in_use(packs: Collection[Pack]) -> set[int]:
    """Those of locked packs that are opened or used, by their keys; asked before their next round begins."""
    return {pack.pk for pack in packs if pack.state in Pack.IN_USE}


def mark_back(*, packs: Collection[Pack], used: Collection[int], by: Person, at: datetime) -> list[Line]:
    """Packs that came back to the start are accounted for in every open recall that seeks them.

    Those in `used` had been opened: that stays with the recall as used. The round sought is the one before
    the round that has just begun.
    """
    found = RecallPack.objects.filter(
        pack__in=packs, round=F("pack__round") - 1, outcome=RecallOutcome.OPEN, recall__closed_at__isnull=True
    )
    lines = []
    for row in found:
        outcome = RecallOutcome.USED if row.pack_id in used else RecallOutcome.REPROCESSED
        row.outcome, row.outcome_at, row.outcome_by = outcome, at, by
        row.save(update_fields=["outcome", "outcome_at", "outcome_by"])
        lines.append(Line("recall_pack", row.pk, RecallOutcome.OPEN, outcome))
    return lines
