"""Reading what was brought to the table, how it stands together, what is chased and told."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Max, Q, QuerySet
from django.utils.translation import gettext as _

from cases.bookings.models import Case, CaseSlot, Construct, PlanFamily, PlanLink, PlanSlot
from cases.reservations.models import SetHold
from cases.reservations.queries import kept_for
from cases.usage import fit
from cases.usage.kinds import ConstructCheck, Level, Pair, Remark, SlotState
from cases.usage.models import Brought, CardExempt, Fate, Fits, Mark, MaterialConstraint, Source
from cases.usage.models_closing import SetFailure
from trays.catalogue.models import Component, FamilyKind, FitRule, Side
from trays.catalogue.words import side_word, size_and_side
from trays.instruments.models import Pack, PackState
from trays.instruments.queries import set_facts
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.web.wording import sitetime

USED = (Fate.IMPLANTED, Fate.IMPLANTED_REMOVED, Fate.WASTED)
# What stands in the patient or on the table: it counts for the construct.
STANDING = ("", Fate.IMPLANTED)


# What was brought in


def brought_of(case: Case) -> list[Brought]:
    """All that is in force of a case, in order of its numbers, with what is said of it (one query)."""
    rows = Brought.objects.filter(case=case, replaced_at__isnull=True)
    return list(_whole(rows).order_by("number"))


def brought_before(case: Case) -> list[Brought]:
    """What was corrected since, in order of its numbers."""
    rows = Brought.objects.filter(case=case, replaced_at__isnull=False)
    return list(_whole(rows).order_by("number"))


def _whole(rows: QuerySet[Brought]) -> QuerySet[Brought]:
    return rows.select_related(
        "component__family", "component__supplier", "unit__place", "slot__plan_slot", "construct", "owner",
        "corrects",
        "by", "fate_by", "opened_by",
    )  # fmt: skip


def next_number(case: Case) -> int:
    """The number of the next thing brought in; asked under the case's lock."""
    return int(Brought.objects.filter(case=case).aggregate(most=Max("number"))["most"] or 0) + 1


def piece_name(brought: Brought) -> str:
    """What a piece is called: its family, size and side; or what was written of it."""
    if brought.component is None:
        return brought.described or brought.di or _("unknown code")
    return component_name(brought.component)


def component_name(component: Component) -> str:
    """A component as people say it: its family, then size and side."""
    return f"{component.family.name} {size_and_side(component)}" if component.size else component.name


# The construct


@dataclass(frozen=True, slots=True)
class Plan:
    """What a case's plan says of its slots: which families fill them, which are joined, which always used."""

    slots: Mapping[int, PlanSlot]
    families: Mapping[int, frozenset[int]]
    linked: frozenset[frozenset[str]]

    @property
    def codes(self) -> frozenset[str]:
        return frozenset(slot.code for slot in self.slots.values())


def plan_of(case: Case) -> Plan:
    """Three queries."""
    slots = {slot.pk: slot for slot in PlanSlot.objects.filter(plan_id=case.plan_id).order_by("number")}
    families: dict[int, set[int]] = defaultdict(set)
    rows = PlanFamily.objects.filter(slot__plan_id=case.plan_id)
    for slot_id, family_id in rows.values_list("slot_id", "family_id"):
        families[slot_id].add(family_id)
    links = PlanLink.objects.filter(plan_id=case.plan_id).values_list("slot_a__code", "slot_b__code")
    return Plan(
        slots,
        {slot: frozenset(found) for slot, found in families.items()},
        frozenset(frozenset(pair) for pair in links),
    )


def rules_on(family_ids: Iterable[int], day: date) -> fit.Rules:
    """The fit rules between these families that are in force on the day (one query)."""
    ids = sorted(set(family_ids))
    rows = FitRule.objects.filter(family_a__in=ids, family_b__in=ids, valid_from__lte=day).values_list(
        "family_a_id", "rank_a", "family_b_id", "rank_b", "verdict", "source", "valid_from"
    )
    return fit.in_force((fit.RuleRow(*row) for row in rows), day)


def construct_check(case: Case, day: date | None = None) -> tuple[ConstructCheck, ...]:
    """Each construct of the case by the rules of the day (default: of its list). Seven queries."""
    constructs = list(Construct.objects.filter(case=case).order_by("number"))
    slots: dict[int, list[CaseSlot]] = defaultdict(list)
    for slot in case_slots(case):
        slots[slot.construct_id].append(slot)
    own: dict[int | None, list[Brought]] = defaultdict(list)
    brought = brought_of(case)
    for one in brought:
        own[one.construct_id].append(one)
    plan = plan_of(case)
    families = {one.component.family_id for one in brought if one.component is not None}
    rules = rules_on(families, day or case.list.day)
    return tuple(
        _checked(case, construct, slots[construct.pk], own[construct.pk], plan, rules)
        for construct in constructs
    )


def case_slots(case: Case) -> list[CaseSlot]:
    """The slots of all constructs of a case, in order (one query)."""
    rows = CaseSlot.objects.filter(construct__case=case).select_related("plan_slot", "family", "construct")
    return list(rows.order_by("construct__number", "plan_slot__number", "occurrence"))


def _checked(
    case: Case,
    construct: Construct,
    slots: Sequence[CaseSlot],
    own: Sequence[Brought],
    plan: Plan,
    rules: fit.Rules,
) -> ConstructCheck:
    states = tuple(_slot_state(slot, own) for slot in slots)
    extra = tuple(one for one in own if one.slot_id is None and one.fate in STANDING and is_implant(one))
    standing = [*(state.brought for state in states if state.brought is not None), *extra]
    pairs = pairs_said([*map(piece_of, standing)], {one.pk: piece_name(one) for one in standing}, plan, rules)
    return ConstructCheck(
        construct=construct,
        fits=fit.worst(pair.fits for pair in pairs),
        pairs=pairs,
        slots=states,
        extra=extra,
        remarks={one.pk: remarks_on(case, one) for one in own},
    )


def _slot_state(slot: CaseSlot, own: Sequence[Brought]) -> SlotState:
    """What is implanted stands in the slot; before that, what was brought for it last."""
    here = [one for one in own if one.slot_id == slot.pk and one.fate in STANDING]
    here.sort(key=lambda one: (one.fate == Fate.IMPLANTED, one.number))
    return SlotState(
        slot=slot,
        name=slot.plan_slot.name if slot.occurrence == 1 else f"{slot.plan_slot.name} {slot.occurrence}",
        needed=slot.plan_slot.use >= 1.0,
        brought=here[-1] if here else None,
        older=tuple(one for one in here[:-1] if not one.fate),
    )


def is_implant(brought: Brought) -> bool:
    """Whether it belongs to the construct: consumables do not; what nobody knows may."""
    return brought.component is None or brought.component.family.kind != FamilyKind.CONSUMABLE


def piece_of(brought: Brought) -> fit.Piece:
    """For the rules. A code that nobody knows is of no family, so no rule knows it."""
    component = brought.component
    if component is None:
        return fit.Piece(brought.pk, -brought.pk, 0, "")
    slot = brought.slot.plan_slot.code if brought.slot is not None else component.family.slot
    return fit.Piece(brought.pk, component.family_id, component.size_rank, slot)


def pairs_said(
    pieces: Sequence[fit.Piece], names: Mapping[int, str], plan: Plan, rules: fit.Rules
) -> tuple[Pair, ...]:
    """The pairs in words."""
    return tuple(_pair(judged, names) for judged in fit.judge(pieces, rules, plan.linked, plan.codes))


def _pair(judged: fit.Judged, names: Mapping[int, str]) -> Pair:
    a = names[judged.a]
    b = names[judged.b] if judged.b is not None else ""
    words = {"a": a, "b": b, "source": judged.source}
    if not b:
        sentence = _("No rule on file says what %(a)s may be joined with.") % words
    else:
        sentence = {
            Fits.ALLOWED: _("%(a)s with %(b)s: allowed by %(source)s."),
            Fits.CAUTION: _("%(a)s with %(b)s: with caution by %(source)s."),
            Fits.REFUSED: _("%(a)s with %(b)s: refused by %(source)s."),
            Fits.NOT_KNOWN: _("%(a)s with %(b)s: not known, no rule on file joins these sizes."),
        }[Fits(judged.fits)] % words
    return Pair(a, b, str(judged.fits), sentence, judged.source, judged.a, judged.b)


# What is to say of one piece


def remarks_on(case: Case, brought: Brought) -> tuple[Remark, ...]:
    """What stands against a piece as it was brought in, by the site's day at that moment."""
    said: list[Remark] = []
    if brought.component is None:
        said.append(Remark("unknown-item", Level.CAUTION, _("Its code is not on file.")))
    if not brought.lot and not brought.serial:
        said.append(no_lot())
    day = site_day(case.site, brought.brought_at)
    if brought.expires is not None and brought.expires < day:
        said.append(out_of_date(brought.expires, Level.CAUTION))
    said += _side_remark(brought)
    if brought.typed_reason:
        words = _("Typed by hand: %(why)s") % {"why": brought.typed_reason}
        said.append(Remark("typed", Level.NOTE, words))
    if brought.source in (Source.OTHER_CASE, Source.UNBOOKED):
        said.append(Remark(brought.source, Level.NOTE, f"{brought.get_source_display()}."))
    if brought.override_reason:
        words = _("Taken all the same on the word of %(name)s: %(reason)s") % {
            "name": brought.override_name,
            "reason": brought.override_reason,
        }
        said.append(Remark("overridden", Level.CAUTION, words))
    return tuple(said)


def _side_remark(brought: Brought) -> list[Remark]:
    side = brought.component.side if brought.component is not None else Side.NONE
    own = brought.construct.side if brought.construct is not None else Side.NONE
    if Side.NONE in (side, own) or side == own:
        return []
    return [wrong_side(side, own, Level.CAUTION)]


def no_lot() -> Remark:
    """A label without lot and serial."""
    return Remark(
        "no-lot",
        Level.CAUTION,
        _("Neither lot nor serial is known of it."),
        _("Scan the second code of the box, or type the lot as it stands on the label."),
    )


def out_of_date(expires: date, level: Level) -> Remark:
    """Past its last day of use."""
    return Remark(
        "out-of-date",
        level,
        _("It is out of date: use by %(day)s.") % {"day": sitetime(expires, "date")},
        _("Do not open it; take another."),
    )


def wrong_side(side: str, wanted: str, level: Level) -> Remark:
    """The other side's component."""
    return Remark(
        "wrong-side",
        level,
        _("This is for the %(side)s side; the operation is on the %(wanted)s.")
        % {"side": side_word(side), "wanted": side_word(wanted)},
        _("Do not open it; take the box of the other side."),
    )


def exempt_slots(site_id: int) -> set[str]:
    """The kinds of slot for which the site gives no implant card (one query)."""
    return set(
        CardExempt.objects.filter(site_id=site_id, ended_at__isnull=True).values_list("slot", flat=True)
    )


def materials_avoided(case: Case) -> set[str]:
    """The materials that the case is to avoid, without regard to case (one query)."""
    rows = MaterialConstraint.objects.filter(case=case, ended_at__isnull=True)
    return {material.casefold() for material in rows.values_list("material", flat=True)}


# For others


def chase_list(site: Site) -> list[Mark]:
    """What is marked at a site and nobody has looked at yet, the oldest first (one query)."""
    rows = Mark.objects.filter(case__site=site, cleared_at__isnull=True)
    return list(
        rows.select_related("case__list__theatre", "brought__component__family", "construct", "by").order_by(
            "made_at", "pk"
        )
    )


def marks_of(case: Case) -> list[Mark]:
    """All marks on the facts of one case (one query)."""
    return list(Mark.objects.filter(case=case).select_related("by", "cleared_by").order_by("made_at", "pk"))


def table_failures(site: Site, *, since: datetime | None = None) -> list[SetFailure]:
    """Packs that failed on the table at a site: those that wait for an answer, the oldest first; and with a
    moment those answered since, after them. One query."""
    wanted = Q(answer="")
    if since is not None:
        wanted |= Q(answered_at__gte=since)
    rows = SetFailure.objects.filter(wanted, site=site).select_related(
        "case__list__theatre", "pack__set__version__design", "wanted__set", "replacement__set", "by",
        "answered_by",
    )  # fmt: skip
    return sorted(rows, key=lambda one: (bool(one.answer), one.at, one.pk))


def failures_of(case: Case) -> list[SetFailure]:
    """Packs that failed on the table of one case, with the answers (one query)."""
    rows = SetFailure.objects.filter(case=case)
    return list(rows.select_related("pack__set__version__design", "replacement__set", "wanted__set"))


@dataclass(frozen=True, slots=True)
class Replacement:
    """A ready pack of the same design and tray. `kept` says for whom its set is kept now, "" for nobody."""

    pack: Pack
    where: str
    kept: str

    @property
    def free(self) -> bool:
        return not self.kept


def replacements(case: Case, pack: Pack, *, at: datetime) -> tuple[Replacement, ...]:
    """Ready packs of the same design and tray at the site that could come instead, free ones first.

    Seven queries.
    """
    design = pack.set.version.design_id
    rows = list(
        Pack.objects.filter(
            set__site=case.site, set__version__design_id=design, tray=pack.tray, state__in=Pack.READY
        )
        .exclude(pk=pack.pk)
        .select_related("set", "place")
        .order_by("set__code")
    )
    day = site_day(case.site, at)
    ready = {
        facts.pk
        for one in set_facts(site_ids=[case.site_id], set_ids={row.set_id for row in rows})
        for facts in one.packs
        if facts.ready_on(day)
    }
    kept = _kept(case, {row.set_id for row in rows}, at)
    elsewhere = PackState.ISSUED
    found = [
        Replacement(row, f"{row.place.name} {row.bin}".strip(), kept.get(row.set_id, ""))
        for row in rows
        if row.pk in ready and (row.state != elsewhere or row.place_id == case.list.theatre_id)
    ]
    return tuple(sorted(found, key=lambda one: (not one.free, one.pack.set.code)))


def _kept(case: Case, set_ids: Iterable[int], at: datetime) -> dict[int, str]:
    """For whom else sets are kept around now."""
    rows = SetHold.objects.filter(set_id__in=list(set_ids), ended_at__isnull=True, ends_at__gt=at)
    words: dict[int, str] = {}
    for row in rows.select_related("case", "list").order_by("-starts_at"):
        if not kept_for(row, case):
            words[row.set_id] = (
                _("kept for case %(case)s") % {"case": row.case.reference}
                if row.case is not None
                else _("kept for another list")
            )
    return words
