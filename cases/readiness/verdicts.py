"""Both verdicts of one case, from what was found for it: the words, the reasons, what would help."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import cached_property

from cases.planning.horizon import NEVER_AT_RISK, Outlook
from cases.readiness.arrays import Layout
from cases.readiness.facts import CaseFacts, Policy, Snapshot
from cases.readiness.figures import one_more_sentence
from cases.readiness.findings import Finding
from cases.readiness.inside import Insides
from cases.readiness.kinds import CaseVerdict, Demand, Level, OneMore, SlotForecast, Word
from cases.readiness.levels import level_of
from cases.readiness.parts import CaseLaw
from cases.readiness.reasons import Speaker


def verdict_of(law: CaseLaw, finding: Finding, insides: Insides, speaker: Speaker) -> CaseVerdict:
    """The verdict of a case that can be judged."""
    policy, answer = speaker.snapshot.policy, finding.answer
    on_site = on_site_level(finding, policy)
    inside = insides.impossible(law, answer) if answer.impossible else insides.of(law)
    return CaseVerdict(
        case_id=law.facts.id,
        reference=law.facts.reference,
        day=law.facts.day,
        starts_at=law.facts.starts_at,
        on_site=on_site,
        in_room=inside.level,
        picked=inside.picked,
        reasons=speaker.on_site(law, answer, on_site),
        room_reasons=inside.reasons,
        one_more=_one_more(law, finding, on_site, speaker, policy.margin),
        slots=_forecasts(law),
        run=inside.run,
        sizes_line=inside.sizes_line,
        competitors=answer.competitors,
        fault=speaker.impossible(law) if answer.impossible else "",
    )


def on_site_level(finding: Finding, policy: Policy) -> Level:
    """The level on site of what was found."""
    return level_of(finding.answer, wanted=policy.wanted_on_site, margin=policy.margin, bound=finding.bound)


def _one_more(law: CaseLaw, finding: Finding, now: Level, speaker: Speaker, margin: float) -> OneMore | None:
    """The one more unit or set that helps most, where the case is not covered and one helps at all."""
    answer = finding.answer
    if now.word is Word.COVERED or not answer.one_more:
        return None
    best = answer.one_more[0]
    better = replace(
        answer,
        p_short_low=best.p_short_low,
        p_short_high=best.p_short_high,
        p_cover_low=1.0 - best.p_short_high,
    )
    bound = finding.bound and (
        min(finding.bound[0], finding.bounds_with[best.item][0]),
        min(finding.bound[1], finding.bounds_with[best.item][1]),
    )
    level = level_of(better, wanted=now.wanted, margin=margin, bound=bound)
    name = speaker.item_words(law, best.item)
    number = int(best.item[1:])
    is_set = best.item.startswith("D")
    return OneMore(
        component_id=None if is_set else number,
        design_id=number if is_set else None,
        name=name,
        level=level,
        sentence=one_more_sentence(name, level),
    )


def _forecasts(law: CaseLaw) -> tuple[SlotForecast, ...]:
    slots = [(slot, construct.side) for construct in law.facts.constructs for slot in construct.slots]
    return tuple(
        SlotForecast(slot_id=slot.id, label=slot.name, side=side, chances=chances)
        for (slot, side), chances in zip(slots, law.shape.chances, strict=False)
    )


def unjudged(facts: CaseFacts, snapshot: Snapshot, sentence: str) -> CaseVerdict:
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


class DemandByComponent(Mapping[int, tuple[Demand, ...]]):
    """By component, what each case takes of it: exactly one, and two or more; gathered when asked for."""

    def __init__(self, ordered: Sequence[CaseLaw]) -> None:
        self._ordered = ordered

    @cached_property
    def _rows(self) -> dict[int, tuple[Demand, ...]]:
        found: dict[int, list[Demand]] = {}
        for law in self._ordered:
            day, case = law.facts.day, law.facts.id
            for component, one, two in law.shape.takes:
                found.setdefault(component, []).append(Demand(day, case, one, two))
        return {component: tuple(rows) for component, rows in found.items()}

    def __getitem__(self, component: int) -> tuple[Demand, ...]:
        return self._rows[component]

    def __iter__(self) -> Iterator[int]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)


def at_risk(
    ordered: Sequence[CaseLaw], layout: Layout, outlook: Outlook, threshold: float
) -> dict[int, date]:
    """By component the first day by which the chance that some case misses it passes a threshold."""
    first = outlook.first_at_risk(threshold).tolist()
    return {
        int(item[1:]): ordered[n].facts.day
        for item, n in zip(layout.items, first, strict=True)
        if n != NEVER_AT_RISK and item.startswith("C")
    }
