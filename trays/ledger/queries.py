"""Reading the record: positions, and the proof that it was not altered."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.models import Prefetch
from django.utils import timezone

from trays.ledger.append import Line, canonical_text, event_digest, lines_digest
from trays.ledger.guards import missing
from trays.ledger.models import NO_DIGEST, Chain, Event, EventLine


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with the record, in a plain sentence."""

    chain: str
    sequence: int
    sentence: str


def positions() -> dict[str, int]:
    """Each chain's last sequence number: what a computed page compares to know it is stale."""
    return dict(Chain.objects.values_list("code", "sequence"))


def _check(event: Event, expected: int, previous: str) -> Iterator[str]:
    if event.sequence != expected:
        yield f"event {expected} is missing"
    if event.previous != previous:
        yield "it does not follow the event before it"
    lines = [
        Line(row.subject, row.subject_id, row.before, row.after, row.quantity) for row in event.lines.all()
    ]
    try:
        facts = json.loads(event.text)
    except ValueError:
        yield "its text cannot be read"
        return
    if canonical_text(facts) != event.text or event.digest != event_digest(event.previous, event.text):
        yield "its text was altered"
    if facts.get("lines") != len(lines) or facts.get("lines_digest") != lines_digest(lines):
        yield "its lines were altered"
    if _columns(event) != {name: facts.get(name) for name in _columns(event)}:
        yield "its columns differ from its text"


def _columns(event: Event) -> dict[str, Any]:
    """What the columns say, spelled as the text spells it."""
    zone = timezone.get_default_timezone()
    return {
        "chain": event.chain.code,
        "sequence": event.sequence,
        "verb": event.verb,
        "happened": event.happened_at.astimezone(zone).isoformat(),
        "recorded": event.recorded_at.astimezone(zone).isoformat(),
        "device": event.device_at.astimezone(zone).isoformat() if event.device_at else None,
        "actor": event.actor_id,
        "place": event.place_id,
        "reason": event.reason,
        "key": str(event.client_key) if event.client_key else None,
    }


def verify() -> list[Fault]:
    """Walk every chain; return what does not hold, and the guards that are not in force."""
    faults = [Fault("", 0, f"the guard {name} is not in force") for name in missing(connection)]
    for chain in Chain.objects.order_by("code"):
        expected, previous = 1, NO_DIGEST
        events = chain.events.select_related("chain").order_by("sequence")
        lines = Prefetch("lines", EventLine.objects.order_by("number"))
        for event in events.prefetch_related(lines).iterator(chunk_size=500):
            faults += [
                Fault(chain.code, event.sequence, sentence) for sentence in _check(event, expected, previous)
            ]
            expected, previous = event.sequence + 1, event.digest
        if (chain.sequence, chain.digest) != (expected - 1, previous):
            faults.append(Fault(chain.code, chain.sequence, "the chain's head does not match its last event"))
    return faults
