"""What the page of a set is told by rooms that know of cases: when it is ready, and where its history is."""

from datetime import datetime
from typing import Any

from django.urls import reverse

from cases.readiness.way_read import way_at
from cases.readiness.way_words import because_words, ready_words
from trays.instruments.models import InstrumentSet
from trays.instruments.ready import READY_STATES, SetFacts


def beside_set(row: InstrumentSet, facts: SetFacts, at: datetime) -> dict[str, Any]:
    """For the template: `ready_by` and `because` in words ("" where none of its packs is in the round)."""
    going = [(pack.pk, pack.state) for pack in facts.packs if pack.state not in READY_STATES]
    way = way_at(site=row.site, at=at) if going else None
    # A pack that is held back or away keeps the set from being ready at any time.
    found = way.estimate(going) if way is not None else None
    whole = found is not None and way is not None and all(way.knows(state) for _pk, state in going)
    return {
        "ready_by": ready_words(found) if found is not None and whole else "",
        "because": because_words(found) if found is not None and whole else "",
        "history_url": reverse("set-history", args=[row.code]),
    }
