"""In the room: what a pick list would bring, or what is picked, and how sure the case is with it."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from cases.planning.bringing import Costs, Run, SlotRanks
from cases.planning.coverage import cover
from cases.planning.filling import Filling
from cases.planning.kinds import CaseAnswer, SetNeed, SetOption
from cases.planning.running import runs
from cases.readiness.facts import CaseFacts, UnitFacts
from cases.readiness.kinds import Level, PickSize, PickSlot
from cases.readiness.laws import CaseLaw, Laws, SlotPart
from cases.readiness.levels import level_of
from cases.readiness.reasons import WORTH_SAYING, missing_words, unmet_need_words
from cases.readiness.shelf import NOTHING, minute, set_item, unit_item, usable
from trays.instruments.ready import SetFacts

LIKELY = 0.10
"""Sizes of this chance and more are laid out; less likely ones are kept sealed."""
_PLENTY = 99
_BY_NUMBER = Costs(sets={NOTHING: 0})
"""Every unit and every set counts one."""


@dataclass(frozen=True)
class Plan:
    """What a pick list made now would bring. `designs` count the sets; `missing` says what is not there."""

    slots: tuple[PickSlot, ...]
    set_ids: tuple[int, ...]
    contingency_set_ids: tuple[int, ...]
    counts: Mapping[str, int]
    added: int
    missing: tuple[str, ...]


@dataclass(frozen=True)
class Shelved:
    """Units and sets that a case may take: how many by item, and the sets by design, first choice first."""

    units: Mapping[str, int]
    sets: Mapping[str, int]
    rows: Mapping[int, Sequence[SetFacts]]


class Room:
    """Answers for one snapshot's cases."""

    def __init__(self, laws: Laws) -> None:
        self.laws = laws
        self.snapshot = laws.snapshot
        self.policy = laws.snapshot.policy
        self._ready: dict[date, list[SetFacts]] = {}
        self._runs: dict[tuple[object, ...], Run] = {}
        self._known: dict[Hashable, Filling] = {}
        self._held = {
            component
            for component, rows in laws.snapshot.units.items()
            if any(unit.case_id is not None or unit.list_id is not None for unit in rows)
        }
        self._free: dict[tuple[int, date], int] = {}

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
            ready = (row for row in self.snapshot.sets if row.ready_on(day))
            self._ready[day] = sorted(ready, key=_keeps)
        return self._ready[day]

    def answer(self, law: CaseLaw, counts: Mapping[str, int]) -> CaseAnswer:
        return cover(law.demand, counts, law.joint, help_wanted=False)

    def plan(self, law: CaseLaw) -> Plan:
        """What a pick list made now would bring. The case must be a possible one."""
        shelf = self.shelved(law)
        run = self.run(law, shelf)
        spare = {need.name for need in self.snapshot.plans[law.facts.plan_id].needs if need.contingency}
        missing = [words for number in range(len(law.slots)) for words in _not_there(law, number, run)]
        left, taken = dict(shelf.sets), []
        for number, items in run.sets:
            kit = tuple(item for item in items if item != NOTHING)
            taken += _take(law.demand.needs[number], kit, left, spare, missing)
        for need in self._spare_needs(law):
            there = [option.item for option in need.options if left.get(option.item, 0) > 0]
            taken += _take(need, tuple(there[:1]), left, spare, missing)
        counts = {NOTHING: _PLENTY}
        for slot, rows in zip(law.slots, run.items, strict=True):
            for one in rows:
                item = slot.law.items[one.index]
                counts[item] = counts.get(item, 0) + one.quantity
        ids: dict[bool, list[int]] = {False: [], True: []}
        free = {set_item(design): iter(rows) for design, rows in shelf.rows.items()}
        for contingency, item in taken:
            counts[item] = counts.get(item, 0) + 1
            ids[contingency].append(next(free[item]).pk)
        return Plan(
            pick_slots(law, run),
            (*ids[False], *ids[True]),
            tuple(ids[True]),
            counts,
            run.for_minimum,
            tuple(dict.fromkeys(missing)),
        )

    def shelved(self, law: CaseLaw) -> Shelved:
        """Units and sets that the case may take."""
        units = {
            unit_item(component): self._count(component, law.facts) for component in law.shape.components
        }
        rows = self._free_sets(law)
        sets = {set_item(design): len(own) for design, own in rows.items()}
        return Shelved(units, {**sets, NOTHING: _PLENTY}, rows)

    def _count(self, component: int, facts: CaseFacts) -> int:
        """Units that the case may take on its day: as many as `usable` finds."""
        if component in self._held:
            return len(usable(self.snapshot.units[component], facts))
        key = component, facts.day
        if key not in self._free:
            self._free[key] = len(usable(self.snapshot.units.get(component, ()), facts))
        return self._free[key]

    def run(self, law: CaseLaw, shelf: Shelved, costs: Costs = _BY_NUMBER) -> Run:
        """The runs for a case; worked out once for cases that are alike in law and shelf."""
        designs = sorted({option.item for need in law.demand.needs for option in need.options})
        key = (
            law.shape,
            tuple(shelf.units.values()),
            tuple([shelf.sets.get(item, 0) for item in designs]),
        )
        found = self._runs.get(key) if costs is _BY_NUMBER else None
        if found is None:
            found = runs(
                law.demand,
                [_ranks(slot) for slot in law.slots],
                shelf.units,
                shelf.sets,
                target=self.policy.wanted_in_room,
                each_way=self.policy.each_way,
                law=law.joint,
                costs=costs,
                known=self._known if costs is _BY_NUMBER else None,
            )
        if costs is _BY_NUMBER:
            self._runs[key] = found
        return found

    def _spare_needs(self, law: CaseLaw) -> list[SetNeed]:
        """Contingency sets that no slot's law speaks of."""
        asked = {need.name for need in law.demand.needs}
        return [
            SetNeed(need.name, tuple(_option(design) for design in need.designs))
            for need in self.snapshot.plans[law.facts.plan_id].needs
            if need.contingency and need.name not in asked
        ]

    def _free_sets(self, law: CaseLaw) -> dict[int, list[SetFacts]]:
        """Physical sets ready on the day and free over the case and its turnaround, own holds
        first, then first to lose sterility."""
        end = law.demand.end
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
        for rows in found.values() if mine else ():
            rows.sort(key=lambda row: row.pk not in mine)
        return found


def _keeps(row: SetFacts) -> tuple[bool, int, str]:
    """The order in which sets lose their sterility; those without a date last."""
    until = row.sterile_until
    return until is None, until.toordinal() if until else 0, row.code


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


def _ranks(slot: SlotPart) -> SlotRanks:
    return SlotRanks(
        tuple(row.size_rank for row in slot.components),
        tuple(row.second_rank for row in slot.components),
        slot.planned,
        slot.facts.bring_all,
        slot.contingency,
    )


def pick_slots(law: CaseLaw, run: Run) -> tuple[PickSlot, ...]:
    found = []
    for slot, items, chances in zip(law.slots, run.items, law.whole.marginals, strict=True):
        sizes = []
        for one in items:
            chance = float(chances[one.index])
            if slot.contingency[one.index]:
                group = "contingency"
            else:
                group = "likely" if chance >= LIKELY or not one.minimum else "keep_sealed"
            sizes.append(PickSize(slot.components[one.index].id, chance, group, one.minimum, one.quantity))
        found.append(PickSlot(slot.facts.id, slot.facts.name, slot.side, tuple(sizes)))
    return tuple(found)


def _not_there(law: CaseLaw, number: int, run: Run) -> list[str]:
    """Sizes inside the run that are likely enough to miss and not there."""
    slot, box = law.slots[number], run.boxes[number]
    brought = {one.index for one in run.items[number]}
    rows = [
        (float(law.whole.marginals[number][index]), row)
        for index, row in enumerate(slot.components)
        if index not in brought
        and not slot.contingency[index]
        and box is not None
        and box.holds(row.size_rank, row.second_rank)
    ]
    wanted = sorted(
        ((p, row) for p, row in rows if p >= WORTH_SAYING), key=lambda pair: (-pair[0], pair[1].id)
    )
    return [missing_words(slot.facts.name, row) for _, row in wanted]
