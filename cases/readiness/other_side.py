"""A case of both sides, the first of them done: what was used there is a prediction for the second."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, time
from zoneinfo import ZoneInfo

from cases.bookings.models import CaseSlot, PredictionMethod
from cases.readiness.facts import PredictionFacts


def told_by_other_side(slots: Iterable[CaseSlot], zone: str) -> dict[int, PredictionFacts]:
    """By slot still to come, the size used in the same slot of the case's other side, where it is on file.

    It stands in for whatever was predicted before: no other method strays as little. A size of another
    family says nothing. Slots come with their construct and outcome. What was used in an earlier case cannot
    be known here, since no patient is named: that is entered as a prediction by the method "other side".
    """
    same: dict[tuple[int, int, int], list[CaseSlot]] = defaultdict(list)
    for slot in slots:
        same[slot.construct.case_id, slot.plan_slot_id, slot.occurrence].append(slot)
    found = {}
    for rows in same.values():
        done = [slot for slot in rows if hasattr(slot, "outcome")]
        for slot in rows:
            if slot in done or len(done) != 1 or slot.family_id != done[0].outcome.component.family_id:
                continue
            outcome = done[0].outcome
            rank = outcome.component.size_rank
            found[slot.pk] = PredictionFacts(
                low=rank,
                high=rank,
                confidence=None,
                method=PredictionMethod.OTHER_SIDE,
                method_words=str(PredictionMethod.OTHER_SIDE.label),
                made_at=datetime.combine(outcome.used_on, time(), ZoneInfo(zone)),
                planner="",
                planner_id=None,
            )
    return found
