"""Keeping what was refused."""

from datetime import datetime
from typing import Any

from django.db import transaction

from trays.refusals.models import RefusedScan


@transaction.atomic
def scan_refuse(*, raw: bytes, code: str, sentence: str, by: Any, page: str, at: datetime) -> RefusedScan:
    """Keep one refused scan with its reason; `raw` is cut at 4,096 bytes, `page` is where it was made."""
    return RefusedScan.objects.create(
        raw=raw[:4096], code=code[:60], sentence=sentence[:300], by=by, page=page[:200], at=at
    )
