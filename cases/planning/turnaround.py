"""Identical sets over a day: which case waits for one, how many would do, when each must leave theatre.

A case has the use of a set from its start to its end. The set then reaches the sterilizer after `decon`
minutes, is in a load for `cycle` (see `sterilizing`) and is usable `after` minutes later. Sets are alike:
the k-th that comes back serves the first case that those there at the start of the day no longer can. Times
are whole minutes of one clock (any origin); usable at the very minute of the start is in time.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from cases.planning.kinds import PlanningError
from cases.planning.sterilizing import (
    NEVER_BACK,
    Free,
    Moved,
    NoQueue,
    OneMachine,
    Return,
    Schedule,
    SeveralMachines,
    check_machines,
    queue,
    schedule,
)

Interval = tuple[int, int]

AT_ONCE = -NEVER_BACK
"""Ready minute of a set that is there before the day begins."""


@dataclass(frozen=True, slots=True)
class Round:
    """The way of a set from one case to the next, in minutes.

    Attributes
    ----------
    decon : int
        From leaving theatre until it is at the sterilizer.
    cycle : int
        Length of a load.
    cap : int
        Sets that a load takes. 0: no queue, every set has a cycle of its own at once.
    after : int
        From the end of the load until it is usable.
    free_at : tuple of int
        Minute from which each sterilizer is free; one entry per machine.

    Raises
    ------
    PlanningError
        A negative duration or cap; with a queue also those of `sterilizing.queue`.
    """

    decon: int
    cycle: int = 0
    cap: int = 0
    after: int = 0
    free_at: Free = (0,)

    def __post_init__(self) -> None:
        if min(self.decon, self.cycle, self.cap, self.after) < 0:
            raise PlanningError("Durations and the size of a load must not be negative.")
        if self.cap:
            check_machines(self.free_at, self.cycle, self.cap)

    @property
    def shortest(self) -> int:
        """Minutes from leaving theatre to usable, with nothing in the way."""
        return self.decon + self.cycle + self.after


@dataclass(frozen=True, slots=True)
class Wait:
    """The first case that finds no set.

    Attributes
    ----------
    case : int
        Input index; the last of the shortest prefix (by start, then index) that no schedule can serve.
    until : int or None
        Minute at which a set could be usable for it, all cases before it served; None if none comes at all.
    after : int or None
        The case whose set that is; None for a set that is not there yet at the start of the day.
    """

    case: int
    until: int | None
    after: int | None


@dataclass(frozen=True, slots=True)
class SetsOverADay:
    """The whole answer for one kind of set.

    Attributes
    ----------
    wait : Wait or None
        None: the day is feasible.
    sets_needed : int
        Fewest sets, all there at the start of the day, that serve every case.
    latest_leave : tuple of (int or None), one per case; None if the day is not feasible
        Latest minute at which the case's set may leave theatre, all else unchanged, with the day still
        feasible. None: no limit.
    """

    wait: Wait | None
    sets_needed: int
    latest_leave: tuple[int | None, ...] | None

    @property
    def feasible(self) -> bool:
        """Whether every case finds a set."""
        return self.wait is None


def over_a_day(cases: Sequence[Interval], ready: Sequence[int], way: Round) -> SetsOverADay:
    """Judge a day of one kind of set.

    Parameters
    ----------
    cases : sequence of (start, end), shape (n, 2)
        Minutes, end > start. They are served in order of start, then index.
    ready : sequence of int, shape (m,)
        Minute from which each set is there; `AT_ONCE` for one that is there before the day.
    way : Round

    Returns
    -------
    SetsOverADay

    Raises
    ------
    PlanningError
        A case that does not end after it starts.

    Notes
    -----
    Feasibility costs O(n log m) without a queue, O(n cap) with one sterilizer. The fewest sets are found by
    binary search, a latest leave by binary search over the minutes at which it could matter: a start less
    the way, with any number of loads in a row. Both are exact, since neither more sets nor an earlier leave
    ever harms.

    Examples
    --------
    Two sets, three cases; the third waits for the first one's set, which takes 270 minutes:

    >>> day = over_a_day([(510, 600), (520, 640), (840, 930)], [AT_ONCE, AT_ONCE], Round(decon=270))
    >>> day.wait, day.sets_needed
    (Wait(case=2, until=870, after=0), 3)
    >>> over_a_day([(510, 600), (520, 640), (870, 930)], [AT_ONCE] * 2, Round(decon=270)).latest_leave
    (600, None, None)

    """
    day = _Day(cases, way)
    there = sorted(ready)
    wait = day.first_wait(there)
    return SetsOverADay(wait, day.fewest(), None if wait else day.latest_leaves(there))


def first_wait(cases: Sequence[Interval], ready: Sequence[int], way: Round) -> Wait | None:
    """The first case that finds no set, or None; parameters and errors as `over_a_day`."""
    return _Day(cases, way).first_wait(sorted(ready))


def fewest_sets(cases: Sequence[Interval], way: Round) -> int:
    """Fewest sets that serve every case; parameters and errors as `over_a_day`."""
    return _Day(cases, way).fewest()


class _Day:
    """The cases of a day by start, and by when their sets reach the sterilizer."""

    def __init__(self, cases: Sequence[Interval], way: Round) -> None:
        if any(end <= start for start, end in cases):
            raise PlanningError("A case must end after it starts.")
        self.size, self.way = len(cases), way
        self.starts = [start for start, _ in cases]
        self.ends = [end for _, end in cases]
        self.order = sorted(range(self.size), key=lambda i: (self.starts[i], i))
        self.back = sorted(range(self.size), key=lambda i: (self.ends[i], i))
        # A case that is still to start gives no set back in time, so all may stand in one line.
        self.releases = [self.ends[i] + way.decon for i in self.back]

    def first_wait(self, ready: Sequence[int]) -> Wait | None:
        asking = self._asking(ready)
        loads = self._loads()
        for number, place in enumerate(asking):
            due = self.starts[self.order[place]] - self.way.after
            if not loads.add(self.releases[number], due):
                return self._wait(ready, number, place, loads)
        return None

    def _asking(self, ready: Sequence[int]) -> list[int]:
        """Places in the order of the cases of which each needs one more set to have come back."""
        found: list[int] = []
        there = 0
        for place, i in enumerate(self.order):
            while there < len(ready) and ready[there] <= self.starts[i]:
                there += 1
            if place >= there + len(found):
                found.append(place)
        return found

    def _loads(self) -> OneMachine | SeveralMachines | NoQueue:
        way = self.way
        return queue(way.free_at, way.cycle, way.cap) if way.cap else NoQueue(way.cycle)

    def _wait(
        self, ready: Sequence[int], number: int, place: int, loads: OneMachine | SeveralMachines | NoQueue
    ) -> Wait:
        """The case at `place` asks for return `number`, which comes too late."""
        case, served = self.order[place], set(self.order[:place])
        comes = [j for j in self.back if j in served][number : number + 1]
        found = [(loads.soonest(self.ends[j] + self.way.decon) + self.way.after, j) for j in comes]
        found += [(minute, -1) for minute in ready if minute > self.starts[case]][:1]
        until, source = min(found, default=(NEVER_BACK, -1))
        return Wait(case, until if until < NEVER_BACK else None, source if source >= 0 else None)

    def fewest(self) -> int:
        """By binary search: with one set for each case the day is always feasible."""
        low, high = 0, self.size
        while low < high:
            middle = (low + high) // 2
            if self.first_wait([AT_ONCE] * middle) is None:
                high = middle
            else:
                low = middle + 1
        return low

    def latest_leaves(self, ready: Sequence[int]) -> tuple[int | None, ...]:
        """Of a feasible day. What comes back sooner has no later limit: each search goes on from the last."""
        dues = [self.starts[self.order[place]] - self.way.after for place in self._asking(ready)]
        moved = Moved(self.releases, dues, self._loads)
        moments = self._moments(dues)
        leaves: list[int | None] = [None] * self.size
        low = -1
        for rank, case in enumerate(self.back[: len(dues)]):
            if moved.in_time(rank, NEVER_BACK):
                # No limit to this one, so none to those that come later.
                break
            low = max(low, bisect_right(moments, self.ends[case] + self.way.decon) - 1)
            step = 1
            while low + step < len(moments) and moved.in_time(rank, moments[low + step]):
                low, step = low + step, 2 * step
            high = min(low + step, len(moments))
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (middle, high) if moved.in_time(rank, moments[middle]) else (low, middle)
            latest = moments[low] if low >= 0 else self.releases[rank]
            leaves[case] = max(latest, self.releases[rank]) - self.way.decon
        return tuple(leaves)

    def _moments(self, dues: Sequence[int]) -> list[int]:
        """Releases after which some due may be missed: a due less any number of loads in a row, ascending."""
        cycle, first = self.way.cycle, min(self.releases, default=0)
        found: set[int] = set()
        for due in dues:
            found.update(range(due - cycle, first, -cycle) if self.way.cap else (due - cycle,))
        return sorted(found)


# Several kinds before the same machines


@dataclass(frozen=True, slots=True)
class KindOfSet:
    """One kind of set on a day: its cases, its sets, and the way to and from the shared machines (minutes).

    `cases` and `ready` as in `over_a_day`.
    """

    cases: tuple[Interval, ...]
    ready: tuple[int, ...]
    decon: int
    after: int = 0

    def __post_init__(self) -> None:
        if min(self.decon, self.after) < 0:
            raise PlanningError("Durations must not be negative.")
        if any(end <= start for start, end in self.cases):
            raise PlanningError("A case must end after it starts.")


@dataclass(frozen=True, slots=True)
class SharedDay:
    """Several kinds before the same machines.

    Attributes
    ----------
    first_conflict : (kind, case) or None
        The last case of the shortest prefix, by start over all kinds, for which no schedule was found.
    proven : bool
        Whether there is none either (see `sterilizing.Schedule`); true without a conflict.
    method : str
        Which method answered last: `sterilizing.LIST_SCHEDULE` or `DEPTH_FIRST`.
    plan : Schedule
        The schedule of all cases, or of the prefix that has none in time.
    """

    first_conflict: tuple[int, int] | None
    proven: bool
    method: str
    plan: Schedule

    @property
    def feasible(self) -> bool:
        """Whether every case finds a set."""
        return self.first_conflict is None


def shared_day(kinds: Sequence[KindOfSet], free_at: Free, cycle: int, cap: int) -> SharedDay:
    """Judge a day on which several kinds of set share the sterilizers.

    Parameters
    ----------
    kinds : sequence of KindOfSet
    free_at, cycle, cap
        As `sterilizing.schedule`.

    Returns
    -------
    SharedDay

    Raises
    ------
    PlanningError
        As `sterilizing.queue`.

    Notes
    -----
    Within a kind the k-th return serves the first case that the sets there cannot, which gives each return a
    release and a due. Over the kinds it is a list schedule by earliest due, made exact by search where it
    is late and the stretch is short; `method` says which.

    Examples
    --------
    >>> knees = KindOfSet(((480, 570), (700, 790)), (AT_ONCE,), decon=60)
    >>> hips = KindOfSet(((480, 575), (705, 800)), (AT_ONCE,), decon=60)
    >>> shared_day([knees, hips], (0,), cycle=60, cap=2).feasible
    True
    >>> shared_day([knees, hips], (0,), cycle=60, cap=1).first_conflict
    (1, 1)
    """
    line = sorted(
        (start, kind, case) for kind, one in enumerate(kinds) for case, (start, _) in enumerate(one.cases)
    )

    def planned(count: int) -> Schedule:
        returns = _returns(kinds, line[:count])
        if returns is None:
            return Schedule(False, True, "", ())
        return schedule(returns, free_at, cycle, cap)

    whole = planned(len(line))
    if whole.in_time:
        return SharedDay(None, True, whole.method, whole)
    low, high, last = 1, len(line), whole
    while low < high:
        middle = (low + high) // 2
        found = planned(middle)
        if found.in_time:
            low = middle + 1
        else:
            high, last = middle, found
    _, kind, case = line[high - 1]
    return SharedDay((kind, case), last.proven, last.method, last)


def _returns(kinds: Sequence[KindOfSet], line: Sequence[tuple[int, int, int]]) -> list[Return] | None:
    """The returns that the cases of `line` ask for; None if a kind has no set at all for one of them."""
    found: list[Return] = []
    for number, kind in enumerate(kinds):
        own = [case for _, k, case in line if k == number]
        back = sorted(kind.cases[case][1] for case in own)
        ready, asked = sorted(kind.ready), 0
        for served, case in enumerate(own):
            start = kind.cases[case][0]
            if served < sum(minute <= start for minute in ready) + asked:
                continue
            if not ready or asked >= served:
                return None
            found.append(Return(back[asked] + kind.decon, start - kind.after))
            asked += 1
    return found
