"""A case of both sides, the first of them done: what was used there is a prediction for the second."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, time
from typing import NamedTuple
from zoneinfo import ZoneInfo

from cases.bookings.models import PredictionMethod
from cases.readiness.facts import PredictionFacts

SLOT_COLUMNS = (
    "pk",
    "construct__case_id",
    "construct__number",
    "construct__side",
    "plan_slot_id",
    "occurrence",
    "family_id",
    "outcome__component__family_id",
    "outcome__component__size_rank",
    "outcome__used_on",
)


class SlotRow(NamedTuple):
    """A slot of a case, by `SLOT_COLUMNS`. The last three are of what was used in it, None before that."""

    id: int
    case_id: int
    number: int
    side: str
    plan_slot_id: int
    occurrence: int
    family_id: int
    used_family: int | None
    used_rank: int | None
    used_on: date | None


def told_by_other_side(slots: Iterable[SlotRow], zone: str) -> dict[int, PredictionFacts]:
    """By slot still to come, the size used in the same slot of the case's other side, where it is on file.

    It stands in for whatever was predicted before: no other method strays as little. A size of another
    family says nothing. What was used in an earlier case cannot be known here, since no patient is named:
    that is entered as a prediction by the method "other side".
    """
    same: dict[tuple[int, int, int], list[SlotRow]] = defaultdict(list)
    for slot in slots:
        same[slot.case_id, slot.plan_slot_id, slot.occurrence].append(slot)
    found = {}
    for rows in same.values():
        done = [
            (slot.used_family, slot.used_rank, slot.used_on)
            for slot in rows
            if slot.used_rank is not None and slot.used_on is not None
        ]
        if len(done) != 1:
            continue
        ((family, rank, used_on),) = done
        for slot in rows:
            if slot.used_on is not None or slot.family_id != family:
                continue
            found[slot.id] = PredictionFacts(
                low=rank,
                high=rank,
                confidence=None,
                method=PredictionMethod.OTHER_SIDE,
                method_words=str(PredictionMethod.OTHER_SIDE.label),
                made_at=datetime.combine(used_on, time(), ZoneInfo(zone)),
                planner="",
                planner_id=None,
            )
    return found
