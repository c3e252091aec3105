"""Facts turned into what the planner takes: slot laws, rules and needs for sets (items as `shelf` names
them)."""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time
from functools import partial
from zoneinfo import ZoneInfo

from cases.forecasts.sizes import Basis, size_law
from cases.planning.kinds import (
    CaseDemand,
    PlanningError,
    Rule,
    SetNeed,
    SetOption,
    SlotLaw,
)
from cases.readiness.contingency import balanced
from cases.readiness.facts import (
    CaseFacts,
    ComponentFacts,
    ConstructFacts,
    NeedFacts,
    PlanFacts,
    SlotFacts,
    Snapshot,
)
from cases.readiness.pairing import Pairing
from cases.readiness.parts import CaseLaw, ConstructLaw, Shape, SlotPart
from cases.readiness.shelf import NOTHING, minute, set_item, unit_item

_STRICTNESS = {"allowed": 0, "caution": 1, "refused": 2}

Pairs = frozenset[tuple[int, int]]
Verdicts = Mapping[tuple[int, int], Mapping[tuple[int, int], str]]


class Laws:
    """Builds the laws of a snapshot's cases; what several cases share is worked out once.

    Parameters
    ----------
    snapshot : Snapshot
    like : Laws, optional
        Of an earlier or altered snapshot: its laws are used again if all that they rest on is the same.
    """

    def __init__(self, snapshot: Snapshot, like: "Laws | None" = None) -> None:
        self.snapshot = snapshot
        self._pairing = Pairing(snapshot.errors)
        self._dates = sorted({fact.valid_from for fact in snapshot.fits})
        self._verdicts: dict[int, Verdicts] = {}
        self._rules: dict[tuple[object, ...], tuple[Pairs, Pairs]] = {}
        self._shapes: dict[tuple[object, ...], Shape] = {}
        if like is not None and _basis(like.snapshot) == _basis(snapshot):
            self._verdicts, self._rules, self._shapes = like._verdicts, like._rules, like._shapes

    def case(self, facts: CaseFacts) -> CaseLaw:
        """The law of one case.

        Raises
        ------
        PlanningError
            Data that no stock could answer: a family without components for the side, for example.
        """
        key = (facts.plan_id, bisect_right(self._dates, facts.day), _signature(facts.constructs))
        if key not in self._shapes:
            self._shapes[key] = self._shape(facts)
        return CaseLaw(
            facts, self._shapes[key], minute(facts.starts_at), partial(self.snapshot.back, case_id=facts.id)
        )

    def whole_needs(self, law: CaseLaw) -> tuple[SetNeed, ...]:
        """Needs that a case of both sides has once, beside those of each side."""
        return law.shape.once

    def _shape(self, facts: CaseFacts) -> Shape:
        plan = self.snapshot.plans[facts.plan_id]
        constructs = [self._construct(facts, construct, plan) for construct in facts.constructs]
        if len(constructs) == 1:
            needs = self._needs(plan, [constructs[0].slots], None)
            alone = replace(constructs[0], demand=replace(constructs[0].demand, needs=needs))
            return Shape((alone,), alone, ())
        banded = {need.number for need in plan.needs if self._has_band(need, constructs)}
        slots: list[SlotLaw] = []
        rules: list[Rule] = []
        needs_of_all: list[SetNeed] = []
        sided = []
        for construct in constructs:
            shift = len(slots)
            own = self._needs(plan, [construct.slots], banded)
            sided.append(replace(construct, demand=replace(construct.demand, needs=own)))
            slots += construct.demand.slots
            rules += [replace(rule, a=rule.a + shift, b=rule.b + shift) for rule in construct.demand.rules]
            needs_of_all += [_shifted(need, shift) for need in own]
        others = {need.number for need in plan.needs} - banded
        once = self._needs(plan, [construct.slots for construct in constructs], others)
        demand = self._demand(facts, tuple(slots), tuple(rules), (*needs_of_all, *once))
        whole = ConstructLaw("", tuple(part for one in sided for part in one.slots), demand)
        return Shape(tuple(sided), whole, once)

    def _demand(
        self,
        facts: CaseFacts,
        slots: tuple[SlotLaw, ...],
        rules: tuple[Rule, ...],
        needs: tuple[SetNeed, ...],
    ) -> CaseDemand:
        start = minute(facts.starts_at)
        return CaseDemand(
            ref=facts.id,
            slots=slots,
            rules=rules,
            needs=needs,
            start=start,
            end=start + facts.minutes,
            day=facts.day.toordinal(),
            list_ref=facts.list_id,
        )

    def _construct(self, facts: CaseFacts, construct: ConstructFacts, plan: PlanFacts) -> ConstructLaw:
        parts = [self._slot(slot, construct.side, plan) for slot in construct.slots]
        rules = [
            self._rule(a, b, parts, facts.day)
            for slot_a, slot_b in plan.links
            for a in range(len(parts))
            for b in range(len(parts))
            if parts[a].facts.plan_slot_id == slot_a and parts[b].facts.plan_slot_id == slot_b
        ]
        rules = [self._pairing.weighted(rule, parts) for rule in rules]
        parts = balanced(parts, rules)
        laws = tuple(part.law for part in parts)
        return ConstructLaw(construct.side, tuple(parts), self._demand(facts, laws, tuple(rules), ()))

    def _slot(self, slot: SlotFacts, side: str, plan: PlanFacts) -> SlotPart:
        spare = [
            (family, chance)
            for family, contingency, chance in plan.families.get(slot.plan_slot_id, ())
            if contingency and family != slot.family_id and self._of_side(family, side)
        ]
        left = max(0.0, 1.0 - sum(chance for _, chance in spare))
        components: list[ComponentFacts] = []
        weights: list[float] = []
        contingency: list[bool] = []
        linked = any(slot.plan_slot_id in link for link in plan.links)
        basis: Basis | None = None
        for family, share in [(slot.family_id, left), *spare]:
            own = self._of_side(family, side)
            law, found = size_law(
                own,
                slot=slot.code,
                second_measure=self.snapshot.families[family].second_measure,
                prediction=slot.prediction,
                predicted=slot.predicted,
                linked=linked,
                errors=self.snapshot.errors,
                used=self.snapshot.used.get(slot.code, {}),
            )
            basis = basis or found
            components += own
            weights += [share * weight for weight in law]
            contingency += [family != slot.family_id] * len(own)
        if basis is None or not components:
            raise PlanningError(f"No component is on file for the slot {slot.name} of this side.")
        planned = (slot.prediction.low, slot.prediction.high) if slot.predicted and slot.prediction else None
        items = tuple(unit_item(component.id) for component in components)
        law_of_slot = SlotLaw(slot.name, items, tuple(weights), slot.use, slot.waste)
        return SlotPart(slot, side, law_of_slot, tuple(components), tuple(contingency), planned, basis)

    def _of_side(self, family: int, side: str) -> list[ComponentFacts]:
        rows = self.snapshot.by_family.get(family, ())
        return [row for row in rows if row.side in (side, "none")]

    def _rule(self, a: int, b: int, parts: Sequence[SlotPart], day: date) -> Rule:
        epoch = bisect_right(self._dates, day)
        first, second = parts[a].components, parts[b].components
        key = (epoch, tuple(row.id for row in first), tuple(row.id for row in second))
        if key not in self._rules:
            verdicts = self._verdicts_at(epoch)
            allow, unknown = set(), set()
            for i, one in enumerate(first):
                for j, two in enumerate(second):
                    verdict = verdicts.get((one.family_id, two.family_id), {}).get(
                        (one.size_rank, two.size_rank)
                    )
                    if verdict is None:
                        unknown.add((i, j))
                    elif verdict != "refused":
                        allow.add((i, j))
            self._rules[key] = (frozenset(allow), frozenset(unknown))
        return Rule(a, b, *self._rules[key])

    def _verdicts_at(self, epoch: int) -> Verdicts:
        """Verdict of each pair of sizes by pair of families, in both orders; the newest row in force
        counts."""
        if epoch not in self._verdicts:
            found: dict[tuple[int, int], dict[tuple[int, int], tuple[date, str]]] = {}
            in_force = set(self._dates[:epoch])
            for fact in self.snapshot.fits:
                if fact.valid_from not in in_force:
                    continue
                for key, pair in (
                    ((fact.family_a, fact.family_b), (fact.rank_a, fact.rank_b)),
                    ((fact.family_b, fact.family_a), (fact.rank_b, fact.rank_a)),
                ):
                    rows = found.setdefault(key, {})
                    before = rows.get(pair)
                    # Filed in both orders on one day and not alike: the stricter one.
                    if before is None or (before[0], _STRICTNESS[before[1]]) <= (
                        fact.valid_from,
                        _STRICTNESS[fact.verdict],
                    ):
                        rows[pair] = (fact.valid_from, fact.verdict)
            self._verdicts[epoch] = {
                key: {pair: verdict for pair, (_, verdict) in rows.items()} for key, rows in found.items()
            }
        return self._verdicts[epoch]

    # Sets

    def _has_band(self, need: NeedFacts, constructs: Iterable[ConstructLaw]) -> bool:
        families = {row.family_id for one in constructs for slot in one.slots for row in slot.components}
        return any(families & set(self.snapshot.designs[design].serves) for design in need.designs)

    def _needs(
        self, plan: PlanFacts, sides: Sequence[Sequence[SlotPart]], numbers: set[int] | None
    ) -> tuple[SetNeed, ...]:
        """The needs with these numbers (None: all) over the slots of these sides, counted through."""
        slots = [slot for side in sides for slot in side]
        found = []
        for need in plan.needs:
            if numbers is not None and need.number not in numbers:
                continue
            options = tuple(
                SetOption(set_item(design), self._serves(design, slots)) for design in need.designs
            )
            if need.contingency:
                without = _without_contingency(slots)
                if not without:
                    continue
                options = (SetOption(NOTHING, without), *options)
            found.append(SetNeed(need.name, options))
        return tuple(found)

    def _serves(self, design: int, slots: Sequence[SlotPart]) -> tuple[tuple[int, frozenset[int]], ...]:
        runs = self.snapshot.designs[design].serves
        found = []
        for number, slot in enumerate(slots):
            inside = frozenset(
                index
                for index, row in enumerate(slot.components)
                if row.family_id not in runs
                or runs[row.family_id][0] <= row.size_rank <= runs[row.family_id][1]
            )
            # Sizes without weight would only join slots that have nothing to do with one another.
            if any(weight > 0 and index not in inside for index, weight in enumerate(slot.law.weights)):
                found.append((number, inside))
        return tuple(found)


def in_order(laws: Iterable[CaseLaw], zone: str) -> list[CaseLaw]:
    """Cases in the order in which they draw: position leads on a list, then the estimated start.

    A start before that of the case ahead on the list is lifted to it.
    """
    by_list: dict[int, list[CaseLaw]] = {}
    for law in laws:
        by_list.setdefault(law.facts.list_id, []).append(law)
    midnight: dict[date, int] = {}
    placed: list[tuple[tuple[int, int, int, int], CaseLaw]] = []
    for rows in by_list.values():
        start = 0
        for law in sorted(rows, key=lambda row: row.facts.position):
            day = law.facts.day
            if day not in midnight:
                midnight[day] = minute(datetime.combine(day, time(), ZoneInfo(zone)))
            start = max(start, law.start, midnight[day])
            placed.append(((day.toordinal(), start, law.facts.list_id, law.facts.position), law))
    placed.sort(key=lambda pair: pair[0])
    ordered: list[CaseLaw] = []
    before = 0
    for key, law in placed:
        before = max(before, key[1])
        ordered.append(replace(law, start=before))
    return ordered


def _basis(snapshot: Snapshot) -> tuple[object, ...]:
    """What the laws of cases rest on, beside the cases themselves."""
    return (
        snapshot.plans,
        snapshot.families,
        snapshot.by_family,
        snapshot.fits,
        snapshot.designs,
        snapshot.errors.tables,
        snapshot.errors.outcomes,
        snapshot.used,
    )


def _signature(constructs: Iterable[ConstructFacts]) -> tuple[object, ...]:
    """What tells the laws of two cases of one plan apart."""
    return tuple((one.side, *(_slot_signature(slot) for slot in one.slots)) for one in constructs)


def _slot_signature(slot: SlotFacts) -> tuple[object, ...]:
    own = (slot.plan_slot_id, slot.family_id, slot.name, slot.use, slot.waste, slot.predicted)
    one = slot.prediction
    return own if one is None else (*own, one.low, one.high, one.confidence, one.method, one.planner_id)


def _without_contingency(slots: Sequence[SlotPart]) -> tuple[tuple[int, frozenset[int]], ...]:
    return tuple(
        (number, frozenset(index for index, spare in enumerate(slot.contingency) if not spare))
        for number, slot in enumerate(slots)
        if any(spare and weight > 0 for spare, weight in zip(slot.contingency, slot.law.weights, strict=True))
    )


def _shifted(need: SetNeed, shift: int) -> SetNeed:
    return SetNeed(
        need.name,
        tuple(
            SetOption(option.item, tuple((slot + shift, served) for slot, served in option.serves))
            for option in need.options
        ),
    )
