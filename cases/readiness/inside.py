"""The level in the room of each case, worked out again only where something that it rests on has changed."""

from bisect import bisect_left
from dataclasses import dataclass, field
from datetime import date

from django.utils.translation import get_language

from cases.planning.kinds import CaseAnswer, PlanningError
from cases.readiness.facts import Snapshot, UnitFacts
from cases.readiness.kinds import Level, PickSlot, Word
from cases.readiness.parts import CaseLaw
from cases.readiness.reasons import Speaker
from cases.readiness.room import Room
from cases.readiness.shelf import fingerprint, minute


@dataclass(frozen=True)
class Inside:
    """What is, or would be, in the room of one case. `picked`: something is held for it."""

    level: Level
    picked: bool
    reasons: tuple[str, ...]
    run: tuple[PickSlot, ...]
    sizes_line: str


Kept = dict[tuple[object, ...], Inside]
"""By all that it rests on."""


class Insides:
    """The levels in the room of a snapshot's cases; what an earlier one has worked out is used again.

    Parameters
    ----------
    room, speaker
        Of the snapshot.
    before : mapping
        `kept` of an earlier one.
    """

    def __init__(self, room: Room, speaker: Speaker, before: Kept) -> None:
        self._room, self._speaker, self._before = room, speaker, before
        self.kept: Kept = {}
        self._sight = _Sight(room.snapshot)

    def of(self, law: CaseLaw) -> Inside:
        """The level of a possible case."""
        key = self._sight.of(law)
        if key not in self.kept:
            self.kept[key] = self._before.get(key) or self._inside(law)
        return self.kept[key]

    def impossible(self, law: CaseLaw, answer: CaseAnswer) -> Inside:
        """A case whose rules leave no combination: nothing could be brought."""
        line = self._speaker.sizes_line(law, self._room.held_run(law))
        return Inside(self._room.level(answer), self._room.picked_counts(law) is not None, (), (), line)

    def _inside(self, law: CaseLaw) -> Inside:
        room, speaker = self._room, self._speaker
        try:
            counts = room.picked_counts(law)
            if counts is not None:
                answer = room.answer(law, counts)
                level, run = room.level(answer), room.held_run(law)
                said = speaker.picked(law, answer, level)
                return Inside(level, True, said, (), speaker.sizes_line(law, run))
            plan = room.plan(law)
            answer = room.answer(law, plan.counts)
            level = room.level(answer)
            said = speaker.not_picked(law, answer, level, plan.missing)
            return Inside(level, False, said, plan.slots, speaker.sizes_line(law, plan.slots))
        except PlanningError as error:
            # Too many combinations of both sides: known on site by bound and estimate, not in the room.
            unknown = Level(Word.UNKNOWN, 0.0, False, room.policy.wanted_in_room, 1.0)
            return Inside(unknown, False, (str(error),), (), "")


@dataclass
class _Shelved:
    """Units of one component: last days of the free ones, ascending, and those held by case and by list."""

    free: list[int] = field(default_factory=list)
    held: dict[tuple[bool, int], list[int]] = field(default_factory=dict)


class _Sight:
    """All that the level in the room of a case rests on, as a value that can be compared."""

    def __init__(self, snapshot: Snapshot) -> None:
        self._snapshot = snapshot
        self._units = {key: _shelved(rows) for key, rows in snapshot.units.items()}
        of_design: dict[int, list[object]] = {}
        design_of: dict[int, int] = {}
        for row in snapshot.sets:
            of_design.setdefault(row.design_id, []).append(row)
            design_of[row.pk] = row.design_id
        # Rows are long to compare for every case: a fingerprint stands for those of a design.
        self._sets = {design: fingerprint(rows) for design, rows in of_design.items()}
        self._holds: dict[int, list[tuple[int, int, int, int | None, int | None]]] = {}
        for hold in snapshot.set_holds:
            start, end = minute(hold.starts_at), minute(hold.ends_at)
            own = self._holds.setdefault(design_of[hold.set_id], [])
            own.append((hold.set_id, start, end, hold.case_id, hold.list_id))
        self._policy = fingerprint((snapshot.policy, get_language()))

    def of(self, law: CaseLaw) -> tuple[object, ...]:
        """The value for one case."""
        facts = law.facts
        designs = {design for need in self._snapshot.plans[facts.plan_id].needs for design in need.designs}
        end = law.back
        return (
            facts.id,
            law.shape,
            facts.list_id,
            facts.day,
            law.start,
            end,
            tuple([self._count(key, facts.day, facts.id, facts.list_id) for key in law.shape.components]),
            tuple([self._sets.get(design, b"") for design in sorted(designs)]),
            tuple(
                [
                    hold
                    for design in sorted(designs)
                    for hold in self._holds.get(design, ())
                    if hold[1] < end and hold[2] > law.start
                ]
            ),
            self._policy,
        )

    def _count(self, component: int, day: date, case: int, listed: int) -> tuple[int, ...]:
        """In date on the day: free, held for the case, held for its list."""
        found = self._units.get(component)
        if found is None:
            return ()
        at = day.toordinal()
        free = len(found.free) - bisect_left(found.free, at)
        if not found.held:
            return (free,)
        own = sum(until >= at for until in found.held.get((False, case), ()))
        return (free, own, sum(until >= at for until in found.held.get((True, listed), ())))


_NO_DATE = date.max.toordinal()


def _shelved(rows: tuple[UnitFacts, ...]) -> _Shelved:
    found = _Shelved()
    for unit in rows:
        until = _NO_DATE if unit.expires is None else unit.expires.toordinal()
        if unit.case_id is not None:
            found.held.setdefault((False, unit.case_id), []).append(until)
        elif unit.list_id is not None:
            found.held.setdefault((True, unit.list_id), []).append(until)
        else:
            found.free.append(until)
    found.free.sort()
    return found
