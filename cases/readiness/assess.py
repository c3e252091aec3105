"""Verdicts for a site's horizon, and the pick plan of one case."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from django.core.cache import cache
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.planning import sharing
from cases.planning.kinds import CaseAnswer, PlanningError
from cases.readiness import reasons
from cases.readiness.facts import CaseFacts, Snapshot
from cases.readiness.kinds import (
    CaseVerdict,
    Demand,
    Horizon,
    Level,
    OneMore,
    PickPlan,
    PickSlot,
    SlotForecast,
    Word,
)
from cases.readiness.laws import CaseLaw, Laws, in_order
from cases.readiness.reasons import Speaker
from cases.readiness.room import Plan, Room, level_of
from cases.readiness.shelf import shelf_for
from cases.readiness.snapshot import site_day, take
from trays.ledger.queries import positions
from trays.parties.models import Site
from trays.web.errors import Refusal

CACHE_SECONDS = 120
"""Sets that are being processed come back by the clock, so an answer is not kept for longer than this."""


def horizon(*, site: Site, at: datetime) -> Horizon:
    """Both verdicts of every booked case of a site from its today on.

    On site: P that the case finds all it may need on its day, after the cases before it. In the room:
    with what
    is held for it; while nothing is, with what a pick list made now would bring. Kept by the positions of the
    ledger, so that any recorded act makes it anew.
    """
    heads = ",".join(f"{code}:{sequence}" for code, sequence in sorted(positions().items()))
    # The key names every act recorded so far; what no act has changed cannot have changed.
    key = f"readiness:{site.pk}:{site_day(site, at)}:{get_language()}:{hash(heads)}:{len(heads)}"
    kept = cache.get(key)
    if isinstance(kept, tuple) and kept[0] == heads:
        found: Horizon = kept[1]
        return found
    answer = judge(take(site=site, at=at))
    cache.set(key, (heads, answer), CACHE_SECONDS)
    return answer


def judge(snapshot: Snapshot) -> Horizon:
    """The verdicts of a snapshot, by arithmetic alone."""
    with timezone.override(ZoneInfo(snapshot.policy.zone)):
        laws = Laws(snapshot)
        able, faults = _laws(laws)
        ordered = in_order(able, snapshot.policy.zone)
        answers = {answer.ref: answer for answer in _answers(laws, ordered)}
        speaker = Speaker(snapshot, {law.facts.id: law for law in ordered})
        room = Room(laws)
        verdicts = {law.facts.id: _verdict(law, answers[law.facts.id], room, speaker) for law in ordered}
        verdicts |= {facts.id: _unjudged(facts, snapshot, sentence) for facts, sentence in faults}
    order = sorted(verdicts.values(), key=lambda verdict: (verdict.day, verdict.starts_at, verdict.case_id))
    return Horizon(
        site_id=snapshot.policy.site_id,
        day=snapshot.day,
        cases=tuple(verdict.case_id for verdict in order),
        verdicts=verdicts,
        demand=_demand(ordered),
    )


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

    @property
    def minimum_added(self) -> str:
        return reasons.minimum_words(self.plan.added) if self.plan else ""


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
            raise _not_plannable(Speaker(snapshot, {}).impossible())
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


def _answers(laws: Laws, ordered: Sequence[CaseLaw]) -> tuple[CaseAnswer, ...]:
    demands = [law.demand for law in ordered]
    return sharing.assess(
        demands,
        shelf_for(laws.snapshot, demands),
        [law.joint for law in ordered],
        good_enough=1.0 - laws.snapshot.policy.wanted_on_site,
    )


def _verdict(law: CaseLaw, answer: CaseAnswer, room: Room, speaker: Speaker) -> CaseVerdict:
    policy = room.policy
    on_site = level_of(answer, wanted=policy.wanted_on_site, margin=policy.margin)
    run: tuple[PickSlot, ...] = ()
    room_reasons: tuple[str, ...] = ()
    counts = room.picked_counts(law)
    if answer.impossible:
        in_room = room.level(answer)
    elif counts is not None:
        inside = room.answer(law, counts)
        in_room = room.level(inside)
        room_reasons = speaker.picked(law, inside, in_room)
    else:
        plan = room.plan(law)
        run = plan.slots
        inside = room.answer(law, plan.counts)
        in_room = room.level(inside)
        room_reasons = speaker.not_picked(law, inside, in_room, plan.missing)
    return CaseVerdict(
        case_id=law.facts.id,
        reference=law.facts.reference,
        day=law.facts.day,
        starts_at=law.facts.starts_at,
        on_site=on_site,
        in_room=in_room,
        picked=counts is not None,
        reasons=speaker.on_site(law, answer, on_site),
        room_reasons=room_reasons,
        one_more=_one_more(law, answer, on_site, speaker, policy.margin),
        slots=_forecasts(law),
        run=run,
        sizes_line=speaker.sizes_line(law, run or room.held_run(law)),
        competitors=answer.competitors,
        fault=speaker.impossible() if answer.impossible else "",
    )


def _one_more(
    law: CaseLaw, answer: CaseAnswer, now: Level, speaker: Speaker, margin: float
) -> OneMore | None:
    """The one more unit or set that helps most, where the case is not covered and one helps at all."""
    if now.word is Word.COVERED or not answer.one_more:
        return None
    best = answer.one_more[0]
    better = replace(
        answer,
        p_short_low=best.p_short_low,
        p_short_high=best.p_short_high,
        p_cover_low=1.0 - best.p_short_high,
    )
    level = level_of(better, wanted=now.wanted, margin=margin)
    name = speaker.item_words(law, best.item)
    number = int(best.item[1:])
    is_set = best.item.startswith("D")
    return OneMore(
        component_id=None if is_set else number,
        design_id=number if is_set else None,
        name=name,
        level=level,
        sentence=reasons.one_more_sentence(name, level),
    )


def _forecasts(law: CaseLaw) -> tuple[SlotForecast, ...]:
    return tuple(
        SlotForecast(
            slot_id=slot.facts.id,
            label=slot.facts.name,
            side=slot.side,
            chances=tuple(
                (row.id, float(chance)) for row, chance in zip(slot.components, chances, strict=True)
            ),
        )
        for construct in law.constructs
        for slot, chances in zip(construct.slots, construct.marginals, strict=False)
    )


def _demand(ordered: Iterable[CaseLaw]) -> dict[int, tuple[Demand, ...]]:
    """By component, what each case takes of it: exactly one, and two or more. Sides are independent."""
    found: dict[int, list[Demand]] = {}
    for law in ordered:
        for component, (one, two) in _takes(law).items():
            if one + two > 0:
                found.setdefault(component, []).append(Demand(law.facts.day, law.facts.id, one, two))
    return {component: tuple(rows) for component, rows in found.items()}


def _takes(law: CaseLaw) -> Mapping[int, tuple[float, float]]:
    chances: dict[int, tuple[float, float]] = {}
    for construct in law.constructs:
        for slot, marginal in zip(construct.slots, construct.marginals, strict=False):
            extra = slot.law.extra
            for row, chance in zip(slot.components, marginal.tolist(), strict=True):
                one, two = chance * (1.0 - extra), chance * extra
                before_one, before_two = chances.get(row.id, (0.0, 0.0))
                none, before_none = 1.0 - one - two, 1.0 - before_one - before_two
                chances[row.id] = (
                    before_none * one + before_one * none,
                    before_two + before_one * (one + two) + before_none * two,
                )
    return chances


def _unjudged(facts: CaseFacts, snapshot: Snapshot, sentence: str) -> CaseVerdict:
    """A case whose data leave nothing to compute: not known at either level, and why."""
    policy = snapshot.policy
    return CaseVerdict(
        case_id=facts.id,
        reference=facts.reference,
        day=facts.day,
        starts_at=facts.starts_at,
        on_site=Level(Word.UNKNOWN, 0.0, False, policy.wanted_on_site, 1.0),
        in_room=Level(Word.UNKNOWN, 0.0, False, policy.wanted_in_room, 1.0),
        picked=False,
        reasons=(sentence,),
        room_reasons=(),
        one_more=None,
        slots=(),
        run=(),
        sizes_line="",
        competitors=(),
        fault=sentence,
    )
