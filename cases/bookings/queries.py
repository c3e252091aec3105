"""Reading bookings: frozen rows, each function with a fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q, QuerySet

from cases.bookings.kinds import FamilySheet, PlanBook, PlanSheet, SizeMark, SlotSheet
from cases.bookings.models import (
    Case,
    CaseSlot,
    Construct,
    PlanFamily,
    PlanSlot,
    Prediction,
    Procedure,
    ProcedurePlan,
    TheatreList,
)
from trays.catalogue.models import Component, Side
from trays.parties.models import Site
from trays.places.models import Place
from trays.staff.models import Person, Role

STANDING = (Case.Status.BOOKED, Case.Status.OPENED, Case.Status.CLOSED)


@dataclass(frozen=True, slots=True)
class SlotWhole:
    """A slot of a case with its sizes and its predictions, the newest first."""

    slot: CaseSlot
    side: str
    marks: tuple[SizeMark, ...]
    predictions: tuple[Prediction, ...]

    def label(self, rank: int) -> str:
        """The word for a size by its rank; the rank itself if the family has lost that size."""
        return next((mark.label for mark in self.marks if mark.rank == rank), str(rank))

    @property
    def newest(self) -> Prediction | None:
        return self.predictions[0] if self.predictions else None


@dataclass(frozen=True, slots=True)
class CaseWhole:
    """A case with its list, constructs, slots and predictions."""

    case: Case
    constructs: tuple[Construct, ...]
    slots: tuple[SlotWhole, ...]

    @property
    def sides(self) -> tuple[str, ...]:
        return tuple(one.side for one in self.constructs)


@dataclass(frozen=True, slots=True)
class PredictionLine:
    """One prediction in words; `counts` marks the newest of its slot."""

    slot: str
    side: str
    sizes: str
    confidence: float | None
    method: str
    planner: str
    made_at: datetime
    counts: bool


@dataclass(frozen=True, slots=True)
class ListRow:
    """A theatre list with its cases in order, the cancelled ones left out."""

    theatre_list: TheatreList
    cases: tuple[Case, ...]


def plan_book(procedure_ids: Sequence[int] | None = None) -> PlanBook:
    """The plans of these procedures, or all of them, with slots, families and sizes (4 queries)."""
    plans = ProcedurePlan.objects.all()
    if procedure_ids is not None:
        plans = plans.filter(procedure__in=procedure_ids)
    kept = list(plans)
    chosen = [plan.pk for plan in kept]
    slots = PlanSlot.objects.filter(plan__in=chosen).order_by("plan", "number")
    families = PlanFamily.objects.filter(slot__plan__in=chosen).select_related("family")
    by_plan: dict[int, list[PlanSlot]] = defaultdict(list)
    for slot in slots:
        by_plan[slot.plan_id].append(slot)
    allowed = list(families.order_by("slot", "number"))
    sizes = sizes_of({one.family_id for one in allowed})
    by_slot: dict[int, list[FamilySheet]] = defaultdict(list)
    for one in allowed:
        sheet = FamilySheet(one.family, one.contingency, sizes.get(one.family_id, {}))
        by_slot[one.slot_id].append(sheet)
    return PlanBook(
        {
            (plan.procedure_id, plan.surgeon_id): PlanSheet(
                plan, tuple(SlotSheet(slot, tuple(by_slot[slot.pk])) for slot in by_plan[plan.pk])
            )
            for plan in kept
        }
    )


def sizes_of(family_ids: Iterable[int]) -> dict[int, dict[str, tuple[SizeMark, ...]]]:
    """Sizes of each family by side, lowest first (1 query)."""
    rows = (
        Component.objects.filter(family__in=list(family_ids))
        .order_by("family", "side", "size_rank")
        .values_list("family_id", "side", "size_rank", "size")
        .distinct()
    )
    found: dict[int, dict[str, dict[int, str]]] = defaultdict(lambda: defaultdict(dict))
    for family_id, side, rank, label in rows:
        found[family_id][side].setdefault(rank, label or str(rank))
    return {
        family_id: {side: tuple(SizeMark(*mark) for mark in marks.items()) for side, marks in sides.items()}
        for family_id, sides in found.items()
    }


def plan_sheet_of(case: Case) -> PlanSheet | None:
    """The sheet of the plan that the case was booked with (4 queries)."""
    sheets = plan_book([case.procedure_id]).sheets.values()
    return next((sheet for sheet in sheets if sheet.plan.pk == case.plan_id), None)


def procedures_to_book() -> QuerySet[Procedure]:
    """Procedures with at least one plan, by name (1 query)."""
    return Procedure.objects.filter(pk__in=ProcedurePlan.objects.values("procedure")).order_by("name")


def surgeons_at(site_ids: Sequence[int]) -> QuerySet[Person]:
    """Surgeons of these sites, by name (1 query)."""
    roles = Role.objects.filter(kind=Role.Kind.SURGEON, site__in=site_ids)
    return Person.objects.filter(pk__in=roles.values("person"), is_active=True).order_by("name")


def theatres_at(site_ids: Sequence[int]) -> QuerySet[Place]:
    """Theatres of these sites with their site, site by site (1 query)."""
    theatres = Place.objects.filter(kind=Place.Kind.THEATRE, site__in=site_ids).select_related("site")
    return theatres.order_by("site__name", "name")


def cases_on(theatre_list_id: int) -> QuerySet[Case]:
    """The standing cases of a list in order (1 query, and 1 for the constructs when they are asked for)."""
    return Case.objects.filter(list=theatre_list_id, status__in=STANDING).order_by("position")


def list_row(theatre_list: TheatreList) -> ListRow:
    """A list with its cases, their procedure, surgeon and constructs (2 queries)."""
    cases = cases_on(theatre_list.pk).select_related("procedure", "surgeon").prefetch_related("constructs")
    return ListRow(theatre_list, tuple(cases))


def list_at(theatre: Place, day: date, session: str) -> ListRow | None:
    """The list of that session with its cases, or None if nobody opened it yet (3 queries)."""
    found = (
        TheatreList.objects.filter(theatre=theatre, day=day, session=session)
        .select_related("site", "theatre", "surgeon")
        .first()
    )
    return list_row(found) if found else None


def lists_between(site_id: int, first_day: date, last_day: date) -> tuple[ListRow, ...]:
    """The site's lists of these days, both included, each with its cases (3 queries)."""
    lists = list(
        TheatreList.objects.filter(site=site_id, day__gte=first_day, day__lte=last_day)
        .select_related("site", "theatre", "surgeon")
        .order_by("day", "theatre__walk", "theatre__code", "session")
    )
    cases: dict[int, list[Case]] = defaultdict(list)
    rows = (
        Case.objects.filter(list__in=[one.pk for one in lists], status__in=STANDING)
        .select_related("procedure", "surgeon", "plan")
        .prefetch_related("constructs")
        .order_by("list", "position")
    )
    for case in rows:
        cases[case.list_id].append(case)
    return tuple(ListRow(one, tuple(cases[one.pk])) for one in lists)


def whole_cases() -> QuerySet[Case]:
    """Cases with everything that is one row each, for pages that fetch one by its id."""
    return Case.objects.select_related(
        "site", "list__site", "list__theatre", "procedure", "plan", "surgeon", "booked_by"
    )


def case_whole(case: Case) -> CaseWhole:
    """The case's constructs, slots, sizes and predictions (4 queries beside the case's own)."""
    constructs = list(case.constructs.order_by("number"))
    slots = list(
        CaseSlot.objects.filter(construct__case=case)
        .select_related("construct", "plan_slot", "family")
        .order_by("construct__number", "plan_slot__number", "occurrence")
    )
    by_slot: dict[int, list[Prediction]] = defaultdict(list)
    newest_first = (
        Prediction.objects.filter(slot__in=[slot.pk for slot in slots])
        .select_related("planner")
        .order_by("slot", "-made_at", "-id")
    )
    for prediction in newest_first:
        by_slot[prediction.slot_id].append(prediction)
    sizes = sizes_of({slot.family_id for slot in slots})
    whole = []
    for slot in slots:
        side = slot.construct.side
        marks = sizes.get(slot.family_id, {}).get(side if slot.family.sided else Side.NONE, ())
        whole.append(SlotWhole(slot, side, marks, tuple(by_slot[slot.pk])))
    return CaseWhole(case, tuple(constructs), tuple(whole))


def predictions_told(whole: CaseWhole) -> list[PredictionLine]:
    """Every prediction of a case in words, the newest first (no query)."""
    lines = []
    for one in whole.slots:
        for prediction in one.predictions:
            low, high = one.label(prediction.low_rank), one.label(prediction.high_rank)
            lines.append(
                PredictionLine(
                    slot=one.slot.plan_slot.name,
                    side=one.side,
                    sizes=low if low == high else f"{low}–{high}",
                    confidence=prediction.confidence,
                    method=prediction.get_method_display(),
                    planner=prediction.planner.name if prediction.planner else "",
                    made_at=prediction.made_at,
                    counts=prediction is one.newest,
                )
            )
    return sorted(lines, key=lambda line: line.made_at, reverse=True)


def overlaps(
    *, theatre_id: int, surgeon_id: int | None, starts_at: datetime, minutes: int, but: int | None = None
) -> tuple[Case, ...]:
    """Standing cases at the same time in the theatre, or anywhere with the same surgeon (2 queries).

    Touching ends do not overlap. `but` is the case itself.
    """
    ends_at = starts_at + timedelta(minutes=minutes)
    same = Q(list__theatre=theatre_id)
    if surgeon_id is not None:
        same |= Q(surgeon=surgeon_id)
    near = (
        # No case is longer than a day; with site and status this reads a stretch of the index case_by_start.
        Case.objects.filter(
            same,
            site__in=list(Site.objects.values_list("pk", flat=True)),
            status__in=STANDING,
            starts_at__lt=ends_at,
            starts_at__gt=starts_at - timedelta(days=1, minutes=1),
        )
        .select_related("list__theatre", "surgeon")
        .order_by("starts_at", "pk")
    )
    return tuple(
        one for one in near if one.pk != but and one.starts_at + timedelta(minutes=one.minutes) > starts_at
    )
