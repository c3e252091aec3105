"""Reading pick lists: what stands for a case, and what others need to know of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Max, QuerySet

from cases.bookings.models import Case
from cases.picks.models import PickLine, PickList
from cases.picks.papers import number_from
from trays.ledger.models import EventLine


@dataclass(frozen=True, slots=True)
class Standing:
    """What a new list starts from: the case's last entry in the record, the list in force and its things."""

    position: int
    pick_list_id: int | None
    unit_ids: tuple[int, ...]
    set_ids: tuple[int, ...]


def standing(case_id: int) -> Standing:
    """Three queries. Equal before and under the lock: nothing has happened to the case in between."""
    pick_list_id = PickList.objects.filter(case_id=case_id, replaced_at__isnull=True).values_list(
        "pk", flat=True
    ).first()
    units: list[int] = []
    sets: set[int] = set()
    if pick_list_id is not None:
        rows = PickLine.objects.filter(pick_list_id=pick_list_id).order_by("number")
        for unit_id, set_id in rows.values_list("unit_id", "pack__set_id"):
            if unit_id is not None:
                units.append(unit_id)
            if set_id is not None:
                sets.add(set_id)
    return Standing(case_position(case_id), pick_list_id, tuple(units), tuple(sorted(sets)))


def case_position(case_id: int) -> int:
    """The last line of the record about the case; 0 when there is none."""
    last = EventLine.objects.filter(subject="case", subject_id=case_id).aggregate(last=Max("pk"))["last"]
    return int(last or 0)


def in_force(case: Case) -> PickList | None:
    """The case's list that no later one has replaced."""
    return PickList.objects.filter(case=case, replaced_at__isnull=True).first()


def pick_lists(site_ids: Iterable[int]) -> QuerySet[PickList]:
    """Lists in force of cases that are still to come or under way, the earliest case first."""
    rows = PickList.objects.filter(
        case__site_id__in=list(site_ids),
        replaced_at__isnull=True,
        case__status__in=[Case.Status.BOOKED, Case.Status.OPENED],
    )
    return (
        rows.select_related("case__site", "case__list__theatre", "case__procedure", "made_by")
        .annotate(line_count=Count("lines"))
        .order_by("case__starts_at", "case__position", "pk")
    )


def whole_lists() -> QuerySet[PickList]:
    """Lists with all that their page and sheet say of case, list and people."""
    return PickList.objects.select_related(
        "case__site__party", "case__list__theatre", "case__procedure", "case__surgeon", "made_by"
    )


def found_by_serial(serial: str) -> PickList | None:
    """The list that a scanned sheet code names."""
    number = number_from(serial)
    return PickList.objects.select_related("case__site").filter(number=number).first() if number else None
