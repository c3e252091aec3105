"""The way of a set back to the theatre: when one that is being processed is there, and one used at a time.

What the department's record, hours, timetable and machines say goes into the laws of `cases.planning`; no
duration is assumed here.
"""

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from cases.planning.durations import Hours, Law, Stage, ready_by
from cases.planning.waits import Machine, carried, last_of, left_of, load_starts, not_before
from trays.instruments.models import PackState
from trays.processing.times import STAGES, StageLaw
from trays.processing.times import Hours as Calendar

S = PackState
SURE = 0.9
"""A set counts as there again at the minute by which so many such sets would be."""
NEVER = 60 * 24 * 60
"""Minutes after which a set is said to be back of which nobody can say when: beyond any horizon."""
WASHER, STERILIZER = "washer", "sterilizer"
_TO_MACHINE: Mapping[str, str] = {S.RECEIVED: WASHER, S.PACKED: STERILIZER}


@dataclass(frozen=True, slots=True)
class Runs:
    """A timetable over the horizon, in minutes."""

    leaves: tuple[int, ...] = ()
    arrives: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one pack of the round stands: working minutes in its state, place in its queue, its run's end.

    `place` counts the packs that wait before it for the same kind of machine; None where it waits for none.
    `until` is the minute at which the run that it is in ends; None where it is in none.
    """

    state: str
    since: datetime | None
    passed: int
    place: int | None = None
    until: int | None = None


@dataclass(frozen=True, slots=True)
class Estimate:
    """When something of the round is there, and why then.

    `at` is the minute by which nine in ten such would be (None: nobody can say), `law` the whole of it. The
    reason is that of the pack that comes last: its state, the steps that taught the stage, and the minute
    before which its machine holds it up (None: it does not).
    """

    law: Law
    at: int | None
    pack_id: int
    standing: Standing
    seen: int
    held_until: int | None
    no_machine: str = ""

    def chance(self, minute: int) -> float:
        """The chance that it is there by a minute, in 0..1."""
        return min(1.0, self.law.by(minute))


@dataclass(frozen=True)
class Way:
    """Sterile services of a site at one moment, in minutes, for every set on its way.

    `hours` None: round the clock. Without collections (deliveries) on file things are carried at once.
    `working` are the same hours on the calendar.
    """

    now: int
    laws: Mapping[str, StageLaw]
    hours: Hours | None
    working: Calendar
    collections: Runs
    deliveries: Runs
    machines: Mapping[str, tuple[Machine, ...]]
    packs: Mapping[int, Standing]
    _spans: dict[tuple[str, str], Law] = field(default_factory=dict, compare=False, repr=False)
    _backs: dict[int, int] = field(default_factory=dict, compare=False, repr=False)
    _starts: dict[str, list[int]] = field(default_factory=dict, compare=False, repr=False)

    # A set that is used at a time to come

    def back_law(self, leaves: int) -> Law:
        """The law of the minute at which a set that leaves theatre then is there again."""
        law = self._fetched(Law.point(leaves))
        return self._brought(self._worked(law, self._span(S.USED, S.RELEASED)))

    def back(self, leaves: int) -> int:
        """The minute by which nine in ten such sets are there again."""
        if leaves not in self._backs:
            found = self.back_law(leaves).when(SURE)
            self._backs[leaves] = found if found is not None else leaves + NEVER
        return self._backs[leaves]

    # What is in the round now

    def estimate(self, packs: Iterable[tuple[int, str]], leaves: int | None = None) -> Estimate | None:
        """When the last of these packs (id, state) is there; None if none of them is in the round.

        `leaves`: when those that are in use leave theatre, where that is known.
        """
        own = [found for pk, state in packs if (found := self._one(pk, state, leaves)) is not None]
        if not own:
            return None
        last = max(own, key=lambda one: (one.at is None, one.at or 0))
        if len(own) == 1:
            return last
        law = last_of([one.law for one in own])
        return Estimate(
            law, law.when(SURE), last.pack_id, last.standing, last.seen, last.held_until, last.no_machine
        )

    @staticmethod
    def knows(state: str) -> bool:
        """Whether a pack in this state is on its way to be ready."""
        return state == S.OPENED or state in STAGES

    def _one(self, pk: int, state: str, leaves: int | None) -> Estimate | None:
        if not self.knows(state):
            return None
        standing = self.packs.get(pk) or Standing(state, None, 0)
        stage = S.USED if state == S.OPENED else state
        if stage == S.USED:
            law = self._used(standing, leaves)
        else:
            law = self._worked(Law.point(self.now), self._left(stage, standing))
        held, lacking = None, ""
        for kind, minute in self._machines(stage, standing):
            if minute is None:
                lacking, law = kind, Law(0, law.p[:0], 1.0)
                break
            if law.when(SURE) is not None and not_before(law, minute).when(SURE) != law.when(SURE):
                held = minute
            law = not_before(law, minute)
        if stage in STAGES[: STAGES.index(S.IN_LOAD)]:
            after = STAGES[STAGES.index(S(stage)) + 1]
            if stage != S.PACKED:
                law = self._worked(law, self._span(after, S.PACKED))
                law = self._free(law, STERILIZER)
            law = self._worked(law, self._span(S.IN_LOAD, S.RELEASED))
        elif stage == S.IN_LOAD:
            law = self._worked(law, self._span(S.RELEASED, S.RELEASED))
        law = self._brought(law)
        return Estimate(law, law.when(SURE), pk, standing, self.laws[stage].seen, held, lacking)

    def _used(self, standing: Standing, leaves: int | None) -> Law:
        """When a pack that is used, or in use, has been received."""
        start = max(self.now, leaves if leaves is not None else self.now)
        if self.collections.leaves or standing.state == S.OPENED:
            return self._worked(self._fetched(Law.point(start)), self._span(S.USED, S.USED))
        return self._worked(Law.point(start), self._left(S.USED, standing))

    def _machines(self, stage: str, standing: Standing) -> list[tuple[str, int | None]]:
        """The minutes before which machines do not let the stage end; None where none is in use."""
        if standing.until is not None:
            return [(_TO_MACHINE.get(stage, STERILIZER), standing.until)]
        kind = _TO_MACHINE.get(stage)
        if kind is None:
            return []
        starts = self._load_starts(kind)
        if not starts:
            return [(kind, None)]
        start = starts[min(standing.place or 0, len(starts) - 1)]
        # A wash ends the stage; a load begins the next one.
        return [(kind, start + min(m.minutes for m in self.machines[kind]) if kind == WASHER else start)]

    def _load_starts(self, kind: str) -> list[int]:
        if kind not in self._starts:
            places = [one.place for one in self.packs.values() if _TO_MACHINE.get(one.state) == kind]
            waiting = max((place for place in places if place is not None), default=0) + 1
            self._starts[kind] = load_starts(self.machines.get(kind, ()), waiting)
        return self._starts[kind]

    def _free(self, law: Law, kind: str) -> Law:
        """No earlier than some machine of the kind is free; never, where none is in use."""
        free = [machine.free_at for machine in self.machines.get(kind, ())]
        return not_before(law, min(free)) if free else Law(0, law.p[:0], 1.0)

    def _left(self, stage: str, standing: Standing) -> Law:
        return left_of(_law(self.laws[stage]), standing.passed, 1.0 / self.laws[stage].steps)

    def _span(self, first: str, last: str) -> Law:
        """Stages one after the other, on the count of working minutes."""
        if (first, last) not in self._spans:
            names = STAGES[STAGES.index(S(first)) : STAGES.index(S(last)) + 1]
            self._spans[first, last] = ready_by(
                Law.point(0), [Stage(_law(self.laws[name])) for name in names]
            )
        return self._spans[first, last]

    def _worked(self, law: Law, takes: Law) -> Law:
        if not len(law.p):
            return law
        if self.hours is not None and takes.first < 1:
            takes = not_before(takes, 1)
        return ready_by(law, [Stage(takes, hours=self.hours)])

    def _fetched(self, law: Law) -> Law:
        runs = self.collections
        return carried(law, runs.leaves, runs.arrives) if runs.leaves else law

    def _brought(self, law: Law) -> Law:
        runs = self.deliveries
        return carried(law, runs.leaves, runs.arrives) if runs.leaves else law

    def last_delivery(self, minute: int) -> int:
        """When what is to be there by a minute must be ready: as the last delivery in time leaves."""
        runs = self.deliveries
        if not runs.leaves:
            return minute
        place = bisect_left(runs.arrives, minute + 1) - 1
        return runs.leaves[place] if place >= 0 else minute


def queue_places(waiting: Sequence[tuple[int, str]]) -> dict[int, int]:
    """By pack its place among those that wait for the same kind of machine; given as (id, state) in order."""
    count: dict[str, int] = {}
    places = {}
    for pk, state in waiting:
        kind = _TO_MACHINE.get(state)
        if kind is not None:
            places[pk] = count.get(kind, 0)
            count[kind] = places[pk] + 1
    return places


def _law(stage: StageLaw) -> Law:
    return Law.histogram(stage.minutes, stage.weights)
