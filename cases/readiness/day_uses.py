"""Which sets each case of a day will have in use, and from when to when."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.kinds import SLACK, PlanningError, SetNeed
from cases.planning.parts import Bools, serving
from cases.readiness.facts import CaseFacts, Snapshot
from cases.readiness.laws import Laws
from cases.readiness.parts import CaseLaw, ConstructLaw
from cases.readiness.shelf import NOTHING

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class SetUse:
    """One set in use by a case from minute `start` to `end`; a set of any of the `designs` would do."""

    case: CaseFacts
    need: str
    designs: tuple[int, ...]
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Uses:
    """The uses of the cases that can be read, by start, and those that cannot, each with what is wrong."""

    uses: tuple[SetUse, ...]
    faults: tuple[tuple[CaseFacts, str], ...]


def uses_of(snapshot: Snapshot, cases: Iterable[CaseFacts], spans: Mapping[int, Span]) -> Uses:
    """What these cases will have in use over their spans (minutes, by case id).

    Held sets are what they are held as. Otherwise a need takes a design that serves what is drawn as often
    as is wanted in the room, any one of them if there are several; if none does, the fewest that do
    together, each of them. What only a contingency needs stays closed and does not count.
    """
    laws = Laws(snapshot)
    design_of = {row.pk: row.design_id for row in snapshot.sets}
    held: dict[int, set[int]] = {}
    for hold in snapshot.set_holds:
        if hold.case_id is not None and hold.set_id in design_of:
            held.setdefault(hold.case_id, set()).add(design_of[hold.set_id])
    found: list[SetUse] = []
    faults: list[tuple[CaseFacts, str]] = []
    for facts in cases:
        start, end = spans[facts.id]
        try:
            law = laws.case(facts)
            wanted = list(_wanted(law, laws.whole_needs(law), held.get(facts.id, set()), snapshot))
        except PlanningError as error:
            faults.append((facts, str(error)))
        else:
            found += [SetUse(facts, need, designs, start, end) for need, designs in wanted]
    found.sort(key=lambda use: (use.start, use.case.list_id, use.case.position))
    return Uses(tuple(found), tuple(faults))


def _wanted(
    law: CaseLaw, once: Sequence[SetNeed], held: set[int], snapshot: Snapshot
) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Per set in use the name of the need and the designs that would do."""
    missed = 1.0 - snapshot.policy.wanted_in_room
    for construct in law.constructs:
        for number, need in enumerate(construct.demand.needs):
            if need.options[0].item == NOTHING:
                continue
            designs = [_design(option.item) for option in need.options]
            kept = [design for design in designs if design in held]
            if kept:
                yield from ((need.name, (design,)) for design in kept)
            elif not construct.joint.impossible:
                yield from ((need.name, own) for own in _serving(construct, number, missed))
    for need in once:
        if need.options[0].item != NOTHING:
            designs = [_design(option.item) for option in need.options]
            yield need.name, tuple(design for design in designs if design in held) or tuple(designs)


def _serving(construct: ConstructLaw, number: int, missed: float) -> list[tuple[int, ...]]:
    """Designs that each do alone, as one choice; else the fewest, likeliest first, that do together."""
    need = construct.demand.needs[number]
    part = next(part for part in construct.joint.parts if number in part.needs)
    masks: dict[int, Bools] = {}
    for option in need.options:
        masks[_design(option.item)] = serving(construct.demand, part, option)
    alone = [design for design, mask in masks.items() if part.p[~mask].sum() <= missed + SLACK]
    if alone:
        return [tuple(alone)]
    left = np.ones(len(part.p), dtype=np.bool_)
    together: list[tuple[int, ...]] = []
    while part.p[left].sum() > missed + SLACK:
        best = max(masks, key=lambda design: float(part.p[left & masks[design]].sum()))
        if not part.p[left & masks[best]].sum() > 0:
            break
        together.append((best,))
        left &= ~masks[best]
    return together


def _design(item: str) -> int:
    return int(item[1:])
