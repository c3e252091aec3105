"""The one way to write an event."""

import hashlib
import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from trays.ledger.models import Chain, Event, EventLine

HOUSE = "house"
FORMAT = 1
LINES = 2_000
"""Lines written at a time."""


@dataclass(frozen=True, slots=True)
class Line:
    """What one subject went through: `subject` is a kind such as "unit", quantity in whole units."""

    subject: str
    subject_id: int
    before: str = ""
    after: str = ""
    quantity: int = 0


def lines_digest(lines: Iterable[Line]) -> str:
    """SHA-256 over the lines in order; stands for them in the canonical text."""
    digest = hashlib.sha256()
    for line in lines:
        row = [line.subject, line.subject_id, line.before, line.after, line.quantity]
        digest.update(json.dumps(row, ensure_ascii=False, separators=(",", ":")).encode())
        digest.update(b"\n")
    return digest.hexdigest()


def canonical_text(facts: dict[str, Any]) -> str:
    """One spelling for one event: sorted keys, no spaces, UTC moments (format 1)."""
    return json.dumps(facts, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def event_digest(previous: str, text: str) -> str:
    """SHA-256 of the digest before and the canonical text."""
    return hashlib.sha256(f"{previous}\n{text}".encode()).hexdigest()


def record(
    *,
    chain: str,
    verb: str,
    by: Any,
    at: datetime,
    lines: Iterable[Line] = (),
    happened_at: datetime | None = None,
    device_at: datetime | None = None,
    place_id: int | None = None,
    reason: str = "",
    client_key: UUID | None = None,
    answer: Any = None,
) -> Event:
    """Append one event to a chain and return it.

    `chain` is a site's code or HOUSE; `at` the moment it is recorded; `happened_at` when it was done
    (default: the same). Call it last in the transaction: it locks the chain's head. Raises
    RuntimeError outside a transaction. The text holds no case reference and no personal text.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("an event is written only inside the transaction of its act")
    # Many lines may come as something to be walked anew, so that they never all stand in memory.
    kept = lines if isinstance(lines, Collection) else list(lines)
    Chain.objects.get_or_create(code=chain)
    head = Chain.objects.select_for_update().get(code=chain)
    happened = happened_at or at
    zone = timezone.get_default_timezone()
    facts = {
        "chain": chain,
        "sequence": head.sequence + 1,
        "verb": verb,
        "happened": happened.astimezone(zone).isoformat(),
        "recorded": at.astimezone(zone).isoformat(),
        "device": device_at.astimezone(zone).isoformat() if device_at else None,
        "actor": by.pk if by is not None else None,
        "place": place_id,
        "reason": reason,
        "key": str(client_key) if client_key else None,
        "lines": len(kept),
        "lines_digest": lines_digest(kept),
    }
    text = canonical_text(facts)
    event = Event.objects.create(
        chain=head,
        sequence=head.sequence + 1,
        verb=verb,
        happened_at=happened,
        recorded_at=at,
        device_at=device_at,
        actor=by,
        place_id=place_id,
        reason=reason,
        client_key=client_key,
        answer=answer,
        format=FORMAT,
        text=text,
        previous=head.digest,
        digest=event_digest(head.digest, text),
    )
    numbered = enumerate(kept, start=1)
    while batch := list(islice(numbered, LINES)):
        EventLine.objects.bulk_create(
            [
                EventLine(
                    event=event,
                    number=number,
                    subject=line.subject,
                    subject_id=line.subject_id,
                    before=line.before,
                    after=line.after,
                    quantity=line.quantity,
                )
                for number, line in batch
            ]
        )
    head.sequence, head.digest = event.sequence, event.digest
    head.save(update_fields=["sequence", "digest"])
    return event


def answered(client_key: UUID | None) -> Event | None:
    """The event that already carries this key, whose stored answer is to be replayed; or None."""
    if client_key is None:
        return None
    return Event.objects.filter(client_key=client_key).first()
