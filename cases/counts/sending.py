"""Entries of somebody who has left the device: another person may send them, and both names are kept."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.acting import Act, Done, count_once
from cases.counts.models_counts import TheatreCount
from cases.counts.models_sent import SentFor
from trays.ledger.append import Line
from trays.ledger.once import Answer
from trays.staff.models import Person
from trays.web.errors import Refusal


def entry_send_for(
    *,
    by: Person,
    case: Case,
    entered_by: Person,
    entry_key: UUID,
    at: datetime,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> SentFor:
    """Put on file that `entered_by` made the entry with this key and `by` sent it: once for each entry."""
    before = SentFor.objects.filter(entry_key=entry_key).first()
    if before is not None:
        return before

    def work(count: TheatreCount) -> Done[SentFor]:
        row = SentFor.objects.create(
            count=count, entry_key=entry_key, entered_by=entered_by, sent_by=by, device=device,
            device_at=device_at, at=at,
        )  # fmt: skip
        return Done(row, [Line("sent_for", row.pk, "", "sent")], {"sent_for": row.pk})

    def again(answer: Answer) -> SentFor:
        return SentFor.objects.get(pk=answer["sent_for"])

    return count_once(Act(by, at, client_key, device, device_at), case, "count.send-for", work, again)


def held_for(maker: Person | None) -> Refusal:
    """What a device is told that sends another's entries: they wait, until somebody stands for them."""
    return Refusal(
        "entered-by-another",
        _("%(name)s entered this on this device; it has not been taken in yet.")
        % {"name": maker.name if maker is not None else _("Somebody else")},
        _("Let that person sign in here, or send it in your own name: both names are kept."),
    )
