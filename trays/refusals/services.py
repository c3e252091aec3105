"""Keeping what was refused, and forgetting it after its time."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from trays.parties.models import Site
from trays.refusals.models import HowScanned, RefusedScan

# So many rows go in one transaction, so that scans do not wait for the broom.
_AT_ONCE = 1000
MOST_RAW = 4096


@dataclass(frozen=True, slots=True)
class Where:
    """Where and by which way a code came in; ``device_at`` is the device's own clock."""

    page: str = ""
    workstation: str = ""
    site: Site | None = None
    how: str = HowScanned.UNTOLD
    device_at: datetime | None = None
    client_key: UUID | None = None


def scan_refuse(*, raw: bytes, code: str, sentence: str, by: Any, where: Where, at: datetime) -> RefusedScan:
    """Keep one refused scan with its reason.

    `raw` is cut at 4,096 bytes. A scan with the key of one that is kept already is that one: a device that
    sends again adds nothing.
    """
    facts = {
        "raw": raw[:MOST_RAW],
        "code": code[:60],
        "sentence": sentence[:300],
        "how": where.how,
        "site": where.site,
        "workstation": where.workstation[:60],
        "page": where.page[:200],
        "at": at,
        "device_at": where.device_at,
    }
    if where.client_key is None:
        return RefusedScan.objects.create(by=by, **facts)
    row, _made = RefusedScan.objects.get_or_create(by=by, client_key=where.client_key, defaults=facts)
    return row


def scans_forget(*, before: datetime) -> int:
    """Delete refused scans from before a moment, raw bytes and all; returns how many."""
    forgotten = 0
    while True:
        with transaction.atomic():
            old = RefusedScan.objects.filter(at__lt=before).order_by("pk").values_list("pk", flat=True)
            keys = list(old[:_AT_ONCE])
            RefusedScan.objects.filter(pk__in=keys).delete()
        forgotten += len(keys)
        if len(keys) < _AT_ONCE:
            return forgotten


def end_of_keeping(*, at: datetime, days: int) -> datetime:
    """Scans from before this moment have been kept for their time."""
    return at - timedelta(days=days)
