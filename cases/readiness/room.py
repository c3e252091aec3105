"""In the room: what a pick list would bring, or what is picked, and how sure the case is with it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from cases.planning.coverage import cover
from cases.planning.kinds import SLACK, CaseAnswer, SetNeed, SetOption
from cases.readiness.facts import UnitFacts
from cases.readiness.kinds import Level, PickSize, PickSlot, Word
from cases.readiness.laws import CaseLaw, ConstructLaw, Laws
from cases.readiness.reasons import missing_words, unmet_need_words
from cases.readiness.runs import LIKELY, Run, choose
from cases.readiness.shelf import NOTHING, minute, set_item, unit_item, usable
from trays.instruments.ready import SetFacts

_PLENTY = 99


@dataclass(frozen=True)
class Plan:
    """What a pick list made now would bring. `designs` count the sets; `missing` says what is not there."""

    slots: tuple[PickSlot, ...]
    set_ids: tuple[int, ...]
    contingency_set_ids: tuple[int, ...]
    counts: Mapping[str, int]
    added: int
    missing: tuple[str, ...]


def level_of(answer: CaseAnswer, *, wanted: float, margin: float) -> Level:
    """The verdict word of an answer: not known where outcomes without a rule on file could change it."""

    def word(p_short: float) -> Word:
        if p_short <= 1.0 - wanted + SLACK:
            return Word.COVERED
        return Word.THIN if p_short <= 1.0 - wanted + margin + SLACK else Word.SHORT

    low, high = word(answer.p_short_low), word(answer.p_short_high)
    chance = answer.p_cover_low if answer.exact else 1.0 - answer.p_short_high
    return Level(
        word=low if low is high else Word.UNKNOWN,
        chance=min(1.0, max(0.0, chance)),
        at_most=not answer.exact,
        wanted=wanted,
        unknown=min(1.0, max(0.0, answer.p_unknown)),
    )


class Room:
    """Answers for one snapshot's cases."""

    def __init__(self, laws: Laws) -> None:
        self.laws = laws
        self.snapshot = laws.snapshot
        self.policy = laws.snapshot.policy
        self._ready: dict[date, list[SetFacts]] = {}

    def level(self, answer: CaseAnswer) -> Level:
        return level_of(answer, wanted=self.policy.wanted_in_room, margin=self.policy.margin)

    def picked_counts(self, law: CaseLaw) -> dict[str, int] | None:
        """Units and sets held for the case or its list; None where nothing is picked yet.

        A pick list leaves a unit that is held for the list so held, therefore those count. It is a pick if
        each slot that is surely used has a unit, and something is held for the case itself: a unit or two
        held ahead, or what is held for the list alone, is none.
        """
        wanted = {row.id for slot in law.slots for row in slot.components}
        units = {component: self._units_held(law, component) for component in wanted}
        held = {unit_item(component): len(rows) for component, rows in units.items() if rows}
        sure = [slot for slot in law.slots if slot.law.use >= 1.0]
        own = any(unit.case_id is not None for rows in units.values() for unit in rows)
        if not held or not (own or self._set_ids_held(law, for_list=False)):
            return None
        if not all(any(item in held for item in slot.law.items) for slot in sure):
            return None
        for row in self.sets_held(law):
            item = set_item(row.design_id)
            held[item] = held.get(item, 0) + 1
        held[NOTHING] = _PLENTY
        return held

    def _units_held(self, law: CaseLaw, component_id: int) -> list[UnitFacts]:
        """Units of a component held for the case or its list, in date on its day."""
        rows = self.snapshot.units.get(component_id, ())
        return [
            unit for unit in usable(rows, law.facts) if unit.case_id is not None or unit.list_id is not None
        ]

    def held_run(self, law: CaseLaw) -> tuple[PickSlot, ...]:
        """What is held for the case or its list, in the shape of a run."""
        return tuple(
            PickSlot(
                slot.facts.id,
                slot.facts.name,
                slot.side,
                tuple(
                    PickSize(row.id, 0.0, "contingency" if spare else "likely", False)
                    for row, spare in zip(slot.components, slot.contingency, strict=True)
                    if self._units_held(law, row.id)
                ),
            )
            for slot in law.slots
        )

    def sets_held(self, law: CaseLaw) -> list[SetFacts]:
        """Sets held for the case or its list while it lasts, ready on its day."""
        mine = self._set_ids_held(law, for_list=True)
        return [row for row in self._ready_on(law.facts.day) if row.pk in mine]

    def _set_ids_held(self, law: CaseLaw, *, for_list: bool) -> set[int]:
        start, end = law.demand.start, law.demand.end
        return {
            hold.set_id
            for hold in self.snapshot.set_holds
            if (hold.case_id == law.facts.id or (for_list and hold.list_id == law.facts.list_id))
            and minute(hold.starts_at) < end
            and minute(hold.ends_at) > start
        }

    def _ready_on(self, day: date) -> list[SetFacts]:
        if day not in self._ready:
            self._ready[day] = [row for row in self.snapshot.sets if row.ready_on(day)]
        return self._ready[day]

    def answer(self, law: CaseLaw, counts: Mapping[str, int]) -> CaseAnswer:
        return cover(law.demand, counts, law.joint, help_wanted=False)

    def plan(self, law: CaseLaw) -> Plan:
        """What a pick list made now would bring. The case must be a possible one."""
        facts = law.facts
        left = {
            unit_item(row.id): len(usable(self.snapshot.units.get(row.id, ()), facts))
            for slot in law.slots
            for row in slot.components
        }
        free = self._free_sets(law)
        sets_left = {set_item(design): len(rows) for design, rows in free.items()}
        target = self.policy.wanted_in_room ** (1.0 / len(law.constructs))
        slots: list[PickSlot] = []
        counts: dict[str, int] = {NOTHING: _PLENTY}
        missing: list[str] = []
        taken: list[tuple[bool, str]] = []
        added = 0
        spare = {need.name for need in self.snapshot.plans[facts.plan_id].needs if need.contingency}
        for construct in law.constructs:
            run = choose(construct, left, sets_left, target=target, each_way=self.policy.each_way)
            for number, slot in enumerate(_pick_slots(construct, run)):
                slots.append(slot)
                for size in slot.sizes:
                    item = unit_item(size.component_id)
                    counts[item] = counts.get(item, 0) + size.quantity
                    left[item] -= size.quantity
                    added += size.quantity if size.site_minimum else 0
                missing += _not_there(construct, number, run)
            for need, items in run.sets:
                taken += _take(need, items, sets_left, spare, missing)
        for need in self._once(law):
            there = [option.item for option in need.options if sets_left.get(option.item, 0) > 0]
            taken += _take(need, tuple(there[:1]), sets_left, spare, missing)
        ids: dict[bool, list[int]] = {False: [], True: []}
        for contingency, item in taken:
            counts[item] = counts.get(item, 0) + 1
            ids[contingency].append(free[int(item[1:])].pop(0).pk)
        return Plan(
            tuple(slots),
            (*ids[False], *ids[True]),
            tuple(ids[True]),
            counts,
            added,
            tuple(dict.fromkeys(missing)),
        )

    def _once(self, law: CaseLaw) -> list[SetNeed]:
        """Needs of a case of both sides as a whole, and contingency sets that no slot's law speaks of."""
        asked = {need.name for need in law.demand.needs}
        spare = [
            SetNeed(need.name, tuple(_option(design) for design in need.designs))
            for need in self.snapshot.plans[law.facts.plan_id].needs
            if need.contingency and need.name not in asked
        ]
        return [*self.laws.whole_needs(law), *spare]

    def _free_sets(self, law: CaseLaw) -> dict[int, list[SetFacts]]:
        """Physical sets ready on the day and free over the case and its turnaround, own holds
        first, then first to lose sterility."""
        end = law.demand.end + self.policy.turnaround
        blocked: set[int] = set()
        mine: set[int] = set()
        for hold in self.snapshot.set_holds:
            if minute(hold.starts_at) < end and minute(hold.ends_at) > law.demand.start:
                own = hold.case_id == law.facts.id or (
                    hold.list_id is not None and hold.list_id == law.facts.list_id
                )
                (mine if own else blocked).add(hold.set_id)
        found: dict[int, list[SetFacts]] = {}
        for row in self._ready_on(law.facts.day):
            if row.pk not in blocked:
                found.setdefault(row.design_id, []).append(row)
        for rows in found.values():
            rows.sort(
                key=lambda row: (
                    row.pk not in mine,
                    row.sterile_until is None,
                    row.sterile_until.toordinal() if row.sterile_until else 0,
                    row.code,
                )
            )
        return found


def _option(design: int) -> SetOption:
    return SetOption(set_item(design))


def _take(
    need: SetNeed,
    items: tuple[str, ...],
    left: dict[str, int],
    spare: set[str],
    missing: list[str],
) -> list[tuple[bool, str]]:
    """Sets of a need taken from what is left, each with whether only a contingency needs it."""
    if not items and not any(option.item == NOTHING for option in need.options):
        missing.append(unmet_need_words(need.name))
    for item in items:
        left[item] -= 1
    return [(need.name in spare, item) for item in items]


def _pick_slots(construct: ConstructLaw, run: Run) -> list[PickSlot]:
    found = []
    for number, (slot, items) in enumerate(zip(construct.slots, run.items, strict=True)):
        sizes = []
        for one in items:
            chance = float(construct.marginals[number][one.index])
            if slot.contingency[one.index]:
                group = "contingency"
            else:
                group = "likely" if chance >= LIKELY or not one.minimum else "keep_sealed"
            sizes.append(PickSize(slot.components[one.index].id, chance, group, one.minimum, one.quantity))
        found.append(PickSlot(slot.facts.id, slot.facts.name, slot.side, tuple(sizes)))
    return found


def _not_there(construct: ConstructLaw, number: int, run: Run) -> list[str]:
    """Sizes inside the run that are likely enough to miss and not there."""
    slot, box = construct.slots[number], run.boxes[number]
    brought = {one.index for one in run.items[number]}
    rows = [
        (float(construct.marginals[number][index]), row)
        for index, row in enumerate(slot.components)
        if index not in brought and not slot.contingency[index] and box.holds(row.size_rank, row.second_rank)
    ]
    wanted = sorted(((p, row) for p, row in rows if p >= 0.005), key=lambda pair: (-pair[0], pair[1].id))
    return [missing_words(slot.facts.name, row) for _, row in wanted]
