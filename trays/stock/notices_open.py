"""Open safety notices, as every receipt asks for them."""

from collections.abc import Collection
from datetime import datetime

from trays.staff.models import Person
from trays.stock.models import Unit
from trays.stock.models_notices import NoticeLot, NoticeOutcome, NoticeUnit, SafetyNotice


def naming(*, component_id: int, lot: str) -> list[SafetyNotice]:
    """The open notices that name this lot of the item, or all its lots (one query)."""
    rows = NoticeLot.objects.filter(
        component_id=component_id, lot__in={"", lot}, notice__closed_at__isnull=True
    )
    return list({row.notice_id: row.notice for row in rows.select_related("notice")}.values())


def add_arrived(notice: SafetyNotice, units: Collection[Unit], *, by: Person, at: datetime) -> None:
    """Put units that came in quarantine onto a notice's list: they are in hand already."""
    for unit in units:
        NoticeUnit.objects.update_or_create(
            notice=notice,
            unit=unit,
            defaults={"outcome": NoticeOutcome.SECURED, "outcome_at": at, "outcome_by": by},
            create_defaults={
                "state_then": unit.state,
                "site_then_id": unit.site_id,
                "outcome": NoticeOutcome.SECURED,
                "outcome_at": at,
                "outcome_by": by,
            },
        )
