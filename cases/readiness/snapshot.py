"""The only adapter: one site's horizon read with a fixed number of queries, whatever its length."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta

from django.db.models import F, FilteredRelation, Q, Value
from django.db.models.functions import Coalesce

from cases.bookings.models import (
    Case,
    CaseSlot,
    PlanConsumable,
    PlanFamily,
    PlanLink,
    PlanSetNeed,
    PlanSetOption,
    PlanSlot,
    Prediction,
)
from cases.forecasts.queries import error_laws, used_lately
from cases.readiness.facts import (
    CaseFacts,
    ComponentFacts,
    ConstructFacts,
    DesignFacts,
    FamilyFacts,
    FitFacts,
    NeedFacts,
    PlanFacts,
    Policy,
    PredictionFacts,
    SetHoldFacts,
    SlotFacts,
    Snapshot,
    UnitFacts,
)
from cases.readiness.on_the_way import coming_to, leaving_units, lent_to
from cases.readiness.other_side import SLOT_COLUMNS, SlotRow, told_by_other_side
from cases.readiness.way_read import way_at
from cases.reservations.models import SetHold
from trays.catalogue.models import Component, Family, FitRule
from trays.instruments.models import DesignServes, SetDesign
from trays.instruments.queries import set_facts
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.stock.models import Unit

HORIZON_DAYS = 28


def take(*, site: Site, at: datetime, days: int = HORIZON_DAYS, case: Case | None = None) -> Snapshot:
    """Read what readiness needs of a site: its booked cases for `days` from its today on, or one case alone.

    The number of queries is fixed. Case, unit and set facts are those of the moment of the call.
    """
    day = site_day(site, at)
    cases = _cases(site, day, days, case)
    plan_ids = {one.plan_id for one in cases}
    plans = _plans(plan_ids)
    slots = {slot.code for one in cases for construct in one.constructs for slot in construct.slots}
    family_ids = {slot.family_id for one in cases for construct in one.constructs for slot in construct.slots}
    family_ids |= {
        row[0] for plan in plans.values() for rows in plan.families.values() for row in rows if row[1]
    }
    design_ids = {design for plan in plans.values() for need in plan.needs for design in need.designs}
    components = _components(family_ids)
    by_family: dict[int, list[ComponentFacts]] = defaultdict(list)
    for component in components.values():
        by_family[component.family_id].append(component)
    sets = set_facts(site_ids=[site.pk], design_ids=sorted(design_ids))
    units, held_for = _units(site, family_ids)
    set_holds, sets_held_for = _set_holds({one.pk for one in sets}, at)
    lent_units, lent_sets = lent_to(site=site, day=day)
    coming = {**coming_to(site=site, day=day)}
    for item, rows in lent_units.items():
        coming[item] = (*coming.get(item, ()), *rows)
    return Snapshot(
        at=at,
        day=day,
        policy=_policy(site),
        cases=cases,
        plans=plans,
        families=_families(family_ids),
        components=components,
        by_family={family: tuple(rows) for family, rows in by_family.items()},
        fits=_fits(family_ids),
        units=units,
        sets=sets,
        set_holds=set_holds,
        designs=_designs(design_ids),
        errors=error_laws(site=site, on=day),
        used=used_lately(site=site, slots=slots, on=day),
        references={**held_for, **sets_held_for, **{one.id: one.reference for one in cases}},
        way=way_at(site=site, at=at),
        coming={item: rows for item, rows in coming.items() if item in components},
        lent={design: rows for design, rows in lent_sets.items() if design in design_ids},
    )


def _policy(site: Site) -> Policy:
    return Policy(
        site_id=site.pk,
        site_name=site.name,
        zone=site.zone,
        wanted_in_room=site.wanted_in_room,
        wanted_on_site=site.wanted_on_site,
        margin=site.margin,
        each_way=site.sizes_each_way,
        owner_order=tuple(site.owner_order),
        turnaround=site.turnaround_minutes,
    )


def _cases(site: Site, day: date, days: int, case: Case | None) -> tuple[CaseFacts, ...]:
    rows = Case.objects.filter(site=site)
    if case is not None:
        rows = rows.filter(pk=case.pk)
    else:
        last = day + timedelta(days=days)
        rows = rows.filter(status=Case.Status.BOOKED, list__day__gte=day, list__day__lt=last)
    kept = list(
        rows.annotate(surgeon_name=Coalesce("surgeon__name", Value("")))
        .order_by("pk")
        .values_list(
            "pk",
            "reference",
            "list_id",
            "position",
            "list__day",
            "starts_at",
            "minutes",
            "procedure__name",
            "plan__detail",
            "surgeon_id",
            "surgeon_name",
            "list__theatre__name",
            "urgency",
            "plan_id",
        )
    )
    constructs = _constructs([row[0] for row in kept], site.zone)
    return tuple(CaseFacts(*row, constructs.get(row[0], ())) for row in kept)


def _constructs(case_ids: list[int], zone: str) -> dict[int, tuple[ConstructFacts, ...]]:
    newest, counts = _predictions(case_ids)
    rows = (
        CaseSlot.objects.filter(construct__case__in=case_ids)
        .order_by("construct__case_id", "construct__number", "plan_slot__number", "occurrence")
        .values_list(*SLOT_COLUMNS)
    )
    slots = [SlotRow(*row) for row in rows]
    newest |= told_by_other_side(slots, zone)
    # Few, and the same for many cases: read once instead of joined to each slot.
    plan_slots = PlanSlot.objects.in_bulk({slot.plan_slot_id for slot in slots})
    found: dict[int, dict[tuple[int, str], list[SlotFacts]]] = defaultdict(lambda: defaultdict(list))
    for slot in slots:
        plan_slot = plan_slots[slot.plan_slot_id]
        found[slot.case_id][(slot.number, slot.side)].append(
            SlotFacts(
                id=slot.id,
                plan_slot_id=plan_slot.pk,
                code=plan_slot.code,
                name=plan_slot.name,
                use=plan_slot.use,
                waste=plan_slot.waste,
                predicted=plan_slot.predicted,
                bring_all=plan_slot.bring_all_seconds,
                family_id=slot.family_id,
                occurrence=slot.occurrence,
                prediction=newest.get(slot.id),
                predictions=counts.get(slot.id, 0),
            )
        )
    return {
        case_id: tuple(
            ConstructFacts(number, side, tuple(rows)) for (number, side), rows in sorted(sides.items())
        )
        for case_id, sides in found.items()
    }


def _predictions(case_ids: list[int]) -> tuple[dict[int, PredictionFacts], dict[int, int]]:
    """The newest prediction of each slot, and how many it has had."""
    words = {method.value: str(method.label) for method in Prediction.Method}
    newest: dict[int, PredictionFacts] = {}
    counts: dict[int, int] = defaultdict(int)
    rows = (
        Prediction.objects.filter(slot__construct__case__in=case_ids)
        .order_by("slot_id", "-made_at", "-pk")
        .values_list(
            "slot_id",
            "low_rank",
            "high_rank",
            "confidence",
            "method",
            "made_at",
            "planner__name",
            "planner_id",
        )
    )
    for slot, low, high, confidence, method, made_at, planner, planner_id in rows:
        counts[slot] += 1
        if slot not in newest:
            newest[slot] = PredictionFacts(
                low, high, confidence, method, words[method], made_at, planner or "", planner_id
            )
    return newest, counts


def _plans(plan_ids: Iterable[int]) -> dict[int, PlanFacts]:
    ids = sorted(plan_ids)
    families: dict[int, dict[int, list[tuple[int, bool, float]]]] = defaultdict(lambda: defaultdict(list))
    for plan, slot, family, contingency, chance in (
        PlanFamily.objects.filter(slot__plan__in=ids)
        .order_by("slot", "number", "pk")
        .values_list("slot__plan_id", "slot_id", "family_id", "contingency", "chance")
    ):
        families[plan][slot].append((family, contingency, chance))
    links: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for plan, slot_a, slot_b in (
        PlanLink.objects.filter(plan__in=ids).order_by("pk").values_list("plan_id", "slot_a_id", "slot_b_id")
    ):
        links[plan].append((slot_a, slot_b))
    options: dict[int, list[int]] = defaultdict(list)
    for need, design in (
        PlanSetOption.objects.filter(need__plan__in=ids)
        .order_by("need", "number", "pk")
        .values_list("need_id", "design_id")
    ):
        options[need].append(design)
    needs: dict[int, list[NeedFacts]] = defaultdict(list)
    for row in PlanSetNeed.objects.filter(plan__in=ids).order_by("plan", "number"):
        needs[row.plan_id].append(
            NeedFacts(row.number, row.name, row.contingency, tuple(options.get(row.pk, ())))
        )
    consumables: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for plan, component, quantity in (
        PlanConsumable.objects.filter(plan__in=ids)
        .order_by("pk")
        .values_list("plan_id", "component_id", "quantity")
    ):
        consumables[plan].append((component, quantity))
    return {
        plan: PlanFacts(
            families={slot: tuple(rows) for slot, rows in families[plan].items()},
            links=tuple(links[plan]),
            needs=tuple(needs[plan]),
            consumables=tuple(consumables[plan]),
        )
        for plan in ids
    }


def _families(ids: Iterable[int]) -> dict[int, FamilyFacts]:
    rows = Family.objects.filter(pk__in=sorted(ids)).values_list(
        "pk", "code", "name", "slot", "second_measure"
    )
    return {row[0]: FamilyFacts(*row) for row in rows}


def _components(family_ids: Iterable[int]) -> dict[int, ComponentFacts]:
    rows = (
        Component.objects.filter(family__in=sorted(family_ids))
        .order_by("family_id", "size_rank", "second_rank", "side", "pk")
        .values_list("pk", "family_id", "size", "size_rank", "second", "second_rank", "side")
    )
    return {row[0]: ComponentFacts(*row) for row in rows}


def _fits(family_ids: Iterable[int]) -> tuple[FitFacts, ...]:
    ids = sorted(family_ids)
    rows = (
        FitRule.objects.filter(family_a__in=ids, family_b__in=ids)
        .order_by("valid_from", "pk")
        .values_list("family_a_id", "rank_a", "family_b_id", "rank_b", "verdict", "valid_from")
    )
    return tuple(FitFacts(*row) for row in rows)


def _units(site: Site, family_ids: Iterable[int]) -> tuple[dict[int, tuple[UnitFacts, ...]], dict[int, str]]:
    """Units on hand by component, and the references of the cases that hold some of them."""
    rows = (
        Unit.objects.filter(site=site, state__in=Unit.ON_HAND, component__family__in=sorted(family_ids))
        .annotate(held=FilteredRelation("holds", condition=Q(holds__ended_at__isnull=True)))
        .order_by(F("expires").asc(nulls_last=True), "pk")
        .values_list(
            "pk",
            "component_id",
            "expires",
            "tenure",
            "held__case_id",
            "held__list_id",
            "held__case__reference",
        )
    )
    found: dict[int, list[UnitFacts]] = defaultdict(list)
    references: dict[int, str] = {}
    leaving = leaving_units(site=site)
    for *row, reference in rows:
        unit = UnitFacts(*row)
        if unit.id in leaving:
            continue
        found[unit.component_id].append(unit)
        if unit.case_id is not None:
            references[unit.case_id] = reference
    return {component: tuple(units) for component, units in found.items()}, references


def _set_holds(set_ids: Iterable[int], at: datetime) -> tuple[tuple[SetHoldFacts, ...], dict[int, str]]:
    rows = (
        SetHold.objects.filter(set__in=sorted(set_ids), ended_at__isnull=True, ends_at__gt=at)
        .order_by("starts_at", "pk")
        .values_list("set_id", "case_id", "list_id", "starts_at", "ends_at", "case__reference")
    )
    kept = list(rows)
    return tuple(SetHoldFacts(*row[:5]) for row in kept), {row[1]: row[5] for row in kept if row[1]}


def _designs(design_ids: Iterable[int]) -> Mapping[int, DesignFacts]:
    ids = sorted(design_ids)
    serves: dict[int, dict[int, tuple[int, int]]] = defaultdict(dict)
    for design, family, first, last in DesignServes.objects.filter(design__in=ids).values_list(
        "design_id", "family_id", "first_rank", "last_rank"
    ):
        serves[design][family] = (first, last)
    rows = SetDesign.objects.filter(pk__in=ids).values_list("pk", "code", "name")
    return {pk: DesignFacts(pk, code, name, serves.get(pk, {})) for pk, code, name in rows}
