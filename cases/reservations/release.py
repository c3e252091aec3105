"""Giving up at once all that is kept for one case, within a larger act such as cancelling it."""

from __future__ import annotations

from datetime import datetime

from cases.bookings.models import Case
from cases.reservations import hold, locking, queries, sets
from trays.ledger.append import Line


def release_all(*, case: Case, at: datetime, reason: str = "withdrawn") -> list[Line]:
    """End every open hold of the case itself (its list's holds stay); return the event's lines.

    It takes the lock: call it inside the act's transaction, before other rows are changed.
    """
    unit_ids = queries.holds_of(case).values_list("unit_id", flat=True)
    set_ids = queries.set_holds_of(case).values_list("set_id", flat=True)
    locking.lock(cases=[case.pk], units=unit_ids, sets=set_ids)
    return [
        *hold.end_holds(holds=queries.holds_of(case), at=at, reason=reason),
        *sets.end_set_holds(holds=queries.set_holds_of(case), at=at, reason=reason),
    ]
