"""Verdicts for a site's horizon, and the pick plan of one case."""

from dataclasses import dataclass, field
from datetime import datetime
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.core.cache import cache
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.planning.horizon import Outlook, outlook
from cases.planning.kinds import PlanningError
from cases.readiness import reasons
from cases.readiness.arrays import Layout, Patterns, lay_out_cases
from cases.readiness.facts import CaseFacts, Snapshot
from cases.readiness.findings import Exact, Finding, findings
from cases.readiness.inside import Insides, Kept
from cases.readiness.kinds import Horizon, Level, PickPlan, PickSlot
from cases.readiness.laws import Laws, in_order
from cases.readiness.parts import CaseLaw
from cases.readiness.reasons import Speaker
from cases.readiness.room import Plan, Room
from cases.readiness.snapshot import take
from cases.readiness.verdicts import DemandByComponent, at_risk, on_site_level, unjudged, verdict_of
from trays.ledger.queries import positions
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.web.errors import Refusal

CACHE_SECONDS = 120
"""Sets that are being processed come back by the clock, so an answer is not kept for longer than this."""


@dataclass(frozen=True)
class Judgement:
    """A judged snapshot with all that was worked out for it, for the next one and for what-ifs.

    `findings` are by case id; `insides`, `patterns` and `exact` are used again by the next judgement.
    """

    horizon: Horizon
    laws: Laws
    ordered: tuple[CaseLaw, ...]
    layout: Layout
    outlook: Outlook
    findings: dict[int, Finding]
    insides: Kept = field(repr=False)
    patterns: Patterns = field(repr=False)
    exact: Exact = field(repr=False)


_LAST: dict[tuple[int, str | None], tuple[str, Judgement]] = {}
"""By site and language the newest judgement of this process, under a name that no other process gives."""


def horizon(*, site: Site, at: datetime) -> Horizon:
    """Both verdicts of every booked case of a site from its today on.

    On site: P that the case finds all it may need on its day, after the cases before it. In the room: with
    what is held for it; while nothing is, with what a pick list made now would bring.
    """
    return judgement(site=site, at=at).horizon


def judgement(*, site: Site, at: datetime) -> Judgement:
    """The same with what it rests on.

    Kept by the positions of the ledger, so that any recorded act makes it anew; what the act has not touched
    is not worked out again.
    """
    heads = ",".join(f"{code}:{sequence}" for code, sequence in sorted(positions().items()))
    own = (site.pk, get_language())
    # The key names every act recorded so far; what no act has changed cannot have changed.
    key = f"readiness:{site.pk}:{site_day(site, at)}:{own[1]}:{hash(heads)}:{len(heads)}"
    kept, last = cache.get(key), _LAST.get(own)
    if last is not None and kept == (heads, last[0]):
        return last[1]
    found = judged(take(site=site, at=at), last[1] if last else None)
    name = uuid4().hex
    _LAST[own] = (name, found)
    cache.set(key, (heads, name), CACHE_SECONDS)
    return found


def judge(snapshot: Snapshot, before: Judgement | None = None) -> Horizon:
    """The verdicts of a snapshot, by arithmetic alone."""
    return judged(snapshot, before).horizon


def judged(snapshot: Snapshot, before: Judgement | None = None) -> Judgement:
    """Judge a snapshot.

    Parameters
    ----------
    snapshot : Snapshot
    before : Judgement, optional
        Of a snapshot that is mostly the same, the one before an act or one that was altered to see what would
        be: what is alike is used again. The answer is the same without it.
    """
    with timezone.override(ZoneInfo(snapshot.policy.zone)):
        known = worked_out(snapshot, before)
        laws, ordered, layout, out, found = (
            known.laws,
            known.ordered,
            known.layout,
            known.outlook,
            known.found,
        )
        policy = snapshot.policy
        speaker = Speaker(snapshot, {law.facts.id: law for law in ordered})
        insides = Insides(Room(laws), speaker, before.insides if before else {})
        verdicts = {law.facts.id: verdict_of(law, found[law.facts.id], insides, speaker) for law in ordered}
        verdicts |= {facts.id: unjudged(facts, snapshot, sentence) for facts, sentence in known.faults}
    order = sorted(verdicts.values(), key=lambda verdict: (verdict.day, verdict.starts_at, verdict.case_id))
    answer = Horizon(
        site_id=policy.site_id,
        day=snapshot.day,
        cases=tuple(verdict.case_id for verdict in order),
        verdicts=verdicts,
        demand=DemandByComponent(ordered),
        at_risk=at_risk(ordered, layout, out, 1.0 - policy.wanted_on_site + policy.margin),
    )
    return Judgement(answer, laws, ordered, layout, out, found, insides.kept, known.patterns, known.exact)


@dataclass(frozen=True)
class WorkedOut:
    """What a judgement is made from, before anything is said: of every case what it finds, by its id."""

    laws: Laws
    faults: list[tuple[CaseFacts, str]]
    ordered: tuple[CaseLaw, ...]
    layout: Layout
    outlook: Outlook
    found: dict[int, Finding]
    patterns: Patterns
    exact: Exact


def worked_out(snapshot: Snapshot, before: "Judgement | WorkedOut | None") -> WorkedOut:
    """The figures of a snapshot without a word said; what `before` has alike is used again."""
    laws = Laws(snapshot, before.laws if before else None)
    patterns, exact = (before.patterns, dict(before.exact)) if before else (Patterns(), {})
    able, faults = _laws(laws)
    ordered = tuple(in_order(able, snapshot.policy.zone))
    layout = lay_out_cases(snapshot, ordered, patterns)
    out = outlook(layout.arrays, before.outlook if before else None)
    found = findings(ordered, layout, out, wanted=snapshot.policy.wanted_on_site, exact=exact)
    return WorkedOut(laws, faults, ordered, layout, out, found, patterns, exact)


def levels_on_site(snapshot: Snapshot, before: "Judgement | WorkedOut") -> dict[int, Level]:
    """The levels on site of an altered snapshot by case id, as `judged` has them, and nothing else."""
    with timezone.override(ZoneInfo(snapshot.policy.zone)):
        known = worked_out(snapshot, before)
    return {case_id: on_site_level(one, snapshot.policy) for case_id, one in known.found.items()}


def estimates(snapshot: Snapshot, before: "Judgement | WorkedOut") -> dict[int, float]:
    """About P(short) on site of each case of an altered snapshot, by its id: the estimate, no verdicts."""
    able, _faults = _laws(Laws(snapshot, before.laws))
    layout = lay_out_cases(snapshot, in_order(able, snapshot.policy.zone), before.patterns)
    return estimated(outlook(layout.arrays, before.outlook))


def estimated(out: Outlook) -> dict[int, float]:
    """The estimates of an outlook, by case id."""
    return dict(zip(out.arrays.ref.tolist(), out.about.high.tolist(), strict=True))


@dataclass(frozen=True)
class CaseBoard:
    """One case read by itself, for its page: `law` and `plan` are None where its data leave nothing to
    compute."""

    snapshot: Snapshot
    speaker: Speaker
    law: CaseLaw | None
    plan: Plan | None
    run: tuple[PickSlot, ...]
    set_ids: tuple[int, ...]
    room: Room | None = None


def case_board(*, case: Case, at: datetime) -> CaseBoard:
    """Everything the case's page draws beside the verdicts (a fixed number of queries)."""
    snapshot = take(site=case.site, at=at, case=case)
    laws = Laws(snapshot)
    with timezone.override(ZoneInfo(snapshot.policy.zone)):
        able, _faults = _laws(laws)
        if not able or not able[0].possible:
            return CaseBoard(snapshot, Speaker(snapshot, {}), None, None, (), ())
        law = able[0]
        room = Room(laws)
        plan = room.plan(law)
        held = room.held_run(law)
        picked = room.picked_counts(law) is not None
        return CaseBoard(
            snapshot,
            Speaker(snapshot, {law.facts.id: law}),
            law,
            plan,
            held if picked else plan.slots,
            tuple(row.pk for row in room.sets_held(law)) if picked else plan.set_ids,
            room,
        )


def pick_plan(*, case: Case, at: datetime) -> PickPlan:
    """What a pick list for the case, made now, would bring.

    Raises
    ------
    Refusal "case-not-plannable"
        The case has no slots, or its data leave no combination: nothing sensible could be brought.
    """
    site = case.site
    snapshot = take(site=site, at=at, case=case)
    with timezone.override(ZoneInfo(site.zone)):
        builder = Laws(snapshot)
        try:
            law = builder.case(snapshot.cases[0])
            possible = bool(law.slots) and law.possible
        except PlanningError as error:
            raise _not_plannable(str(error)) from error
        if not possible:
            raise _not_plannable(Speaker(snapshot, {}).impossible(law))
        room = Room(builder)
        plan = room.plan(law)
        answer = room.answer(law, plan.counts)
        consumables = [
            (component, quantity * len(law.constructs))
            for component, quantity in snapshot.plans[law.facts.plan_id].consumables
        ]
        return PickPlan(
            case_id=case.pk,
            slots=plan.slots,
            set_ids=plan.set_ids,
            contingency_set_ids=plan.contingency_set_ids,
            consumables=tuple(consumables),
            in_room=room.level(answer),
            minimum_added=reasons.minimum_words(plan.added),
            missing=plan.missing,
        )


def _not_plannable(sentence: str) -> Refusal:
    return Refusal("case-not-plannable", sentence, _("Put the case, its predictions or the fit rules right."))


def _laws(laws: Laws) -> tuple[list[CaseLaw], list[tuple[CaseFacts, str]]]:
    """The cases that can be judged, and those whose data no stock could answer, each with what is wrong."""
    able: list[CaseLaw] = []
    impossible: list[CaseLaw] = []
    faults: list[tuple[CaseFacts, str]] = []
    for facts in laws.snapshot.cases:
        if not any(construct.slots for construct in facts.constructs):
            faults.append((facts, _("This case has no slots, so there is nothing to judge.")))
            continue
        try:
            law = laws.case(facts)
            # Asked here, so that one case with too many combinations does not stop the others.
            possible = law.possible
        except PlanningError as error:
            faults.append((facts, str(error)))
        else:
            (able if possible else impossible).append(law)
    # An impossible case is judged too: it is short, whatever is there, and says why.
    return [*able, *impossible], faults
