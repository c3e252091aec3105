"""Loads of a sterilizer: whether sets that come back can be usable again in time.

A *return* is a set that reaches the sterilizer at minute r (its release) and must come out of it by minute
d (its due). A load takes `cap` sets at most, starts when a machine is free and all its sets are there, and
lasts `cycle` minutes whatever is in it. All times are whole minutes of one clock; out at the very minute is
in time.

Returns of identical sets have releases and dues in the same order, so first come, first loaded loses
nothing, and a recursion over their number is exact (`OneMachine`, `SeveralMachines`). Returns of several
kinds do not (`schedule`): there earliest due first is a list schedule that may miss an answer, and a
depth-first search is exact where few loads are disputed.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cases.planning.kinds import PlanningError

NEVER_BACK = 2**62
"""A minute that stands for "not at all"."""

FEW_LOADS = 12
"""Fewer loads than this in the disputed window, and the answer is searched for exhaustively."""

LIST_SCHEDULE, DEPTH_FIRST = "list schedule", "depth first"

Free = tuple[int, ...]


class OneMachine:
    """Identical sets before one machine: f(n), the least minute by which the first n returns can be out.

    f(n) = min over b <= cap of max(r_n, f(n - b)) + cycle, allowed only if <= d of the earliest of those b;
    f(0) = free_at. An earlier f is never worse, so one number per n is enough; O(cap) for each return.
    """

    def __init__(self, free_at: int, cycle: int, cap: int) -> None:
        self._cycle, self._cap = cycle, cap
        self._out = [free_at]
        self._dues = [NEVER_BACK]

    def soonest(self, release: int) -> int:
        """Minute at which the next return, there at `release`, could be out; all before it in time."""
        return self._least(release, NEVER_BACK)

    def add(self, release: int, due: int) -> bool:
        """Take the next return; False if it cannot be out by `due` with all before it in time.

        Releases and dues must come in ascending order. After a False it is not taken.
        """
        out = self._least(release, due)
        if out < NEVER_BACK:
            self._out.append(out)
            self._dues.append(due)
        return out < NEVER_BACK

    def since(self, number: int) -> tuple[object, ...]:
        """All that later returns see of the first `number`."""
        return tuple(self._out[max(0, number - self._cap + 1) : number + 1])

    def until(self, number: int) -> OneMachine:
        """The queue as it was after the first `number`."""
        before = OneMachine(self._out[0], self._cycle, self._cap)
        before._out, before._dues = self._out[: number + 1], self._dues[: number + 1]
        return before

    def _least(self, release: int, due: int) -> int:
        n, best = len(self._out), NEVER_BACK
        earliest_due = due
        for b in range(1, min(self._cap, n) + 1):
            if b > 1:
                earliest_due = self._dues[n - b + 1]
            done = max(release, self._out[n - b]) + self._cycle
            if done <= earliest_due:
                best = min(best, done)
        return best


class SeveralMachines:
    """The same for machines that are alike: per n the free times of all machines that no others dominate.

    Loads start in order of their sets, so each goes on the machine that is free first; what is left to
    choose is the size of each load. A line of free times is dropped if another is nowhere later.
    """

    def __init__(self, free_at: Free, cycle: int, cap: int) -> None:
        self._cycle, self._cap = cycle, cap
        self._fronts: list[list[Free]] = [[tuple(sorted(free_at))]]
        self._dues = [NEVER_BACK]

    def soonest(self, release: int) -> int:
        """As `OneMachine.soonest`."""
        return min((out for out, _ in self._ways(release, NEVER_BACK)), default=NEVER_BACK)

    def add(self, release: int, due: int) -> bool:
        """As `OneMachine.add`."""
        ways = self._ways(release, due)
        if ways:
            self._fronts.append(_undominated([free for _, free in ways]))
            self._dues.append(due)
        return bool(ways)

    def since(self, number: int) -> tuple[object, ...]:
        """As `OneMachine.since`."""
        return tuple(map(tuple, self._fronts[max(0, number - self._cap + 1) : number + 1]))

    def until(self, number: int) -> SeveralMachines:
        """As `OneMachine.until`."""
        before = SeveralMachines(self._fronts[0][0], self._cycle, self._cap)
        before._fronts, before._dues = self._fronts[: number + 1], self._dues[: number + 1]
        return before

    def _ways(self, release: int, due: int) -> list[tuple[int, Free]]:
        """Each allowed last load: when it is out, and the machines' free times then."""
        n, found = len(self._fronts), []
        earliest_due = due
        for b in range(1, min(self._cap, n) + 1):
            if b > 1:
                earliest_due = self._dues[n - b + 1]
            for free in self._fronts[n - b]:
                out = max(release, free[0]) + self._cycle
                if out <= earliest_due:
                    # No later load starts before this one: a machine free earlier is free from then on.
                    begun = out - self._cycle
                    found.append((out, tuple(sorted([out, *(max(f, begun) for f in free[1:])]))))
        return found


def _undominated(lines: list[Free]) -> list[Free]:
    kept: list[Free] = []
    for line in sorted(set(lines)):
        if not any(all(a <= b for a, b in zip(other, line, strict=True)) for other in kept):
            kept.append(line)
    return kept


class NoQueue:
    """Each set has a cycle of its own at once."""

    def __init__(self, cycle: int) -> None:
        self._cycle = cycle

    def soonest(self, release: int) -> int:
        """As `OneMachine.soonest`."""
        return release + self._cycle

    def add(self, release: int, due: int) -> bool:
        """As `OneMachine.add`."""
        return release + self._cycle <= due

    def since(self, number: int) -> tuple[object, ...]:
        """As `OneMachine.since`."""
        return ()

    def until(self, number: int) -> NoQueue:
        """As `OneMachine.until`."""
        return self


class Moved:
    """Identical sets of which one comes back later than it would, all else unchanged.

    Parameters
    ----------
    releases : ascending minutes at which sets reach the sterilizer, shape (n,)
    dues : ascending minutes by which the first k of them must be out, shape (k,); in time as they stand
    loads : gives a fresh queue
    """

    def __init__(
        self,
        releases: Sequence[int],
        dues: Sequence[int],
        loads: Callable[[], OneMachine | SeveralMachines | NoQueue],
    ) -> None:
        self._releases, self._dues = releases, dues
        self._base = loads()
        for release, due in zip(releases, dues, strict=False):
            self._base.add(release, due)

    def in_time(self, rank: int, release: int) -> bool:
        """Whether all dues are still met if the set at `rank` comes at `release`, not before it did.

        Worked out from that rank on, until nothing differs any more.
        """
        place = bisect_right(self._releases, release) - 1
        loads = self._base.until(rank)
        for n in range(rank, len(self._dues)):
            if n < place:
                comes = self._releases[n + 1]
            else:
                comes = release if n == place else self._releases[n]
            if not loads.add(comes, self._dues[n]):
                return False
            if n >= place and loads.since(n + 1) == self._base.since(n + 1):
                return True
        return True


def queue(free_at: Free, cycle: int, cap: int) -> OneMachine | SeveralMachines:
    """Identical sets before these machines (free from minute `free_at[i]` on), one or several.

    Raises
    ------
    PlanningError
        No machine, a load that holds nothing, or a cycle that takes no time.
    """
    check_machines(free_at, cycle, cap)
    if len(free_at) == 1:
        return OneMachine(free_at[0], cycle, cap)
    return SeveralMachines(free_at, cycle, cap)


def check_machines(free_at: Free, cycle: int, cap: int) -> None:
    """Raise PlanningError for machines that could never give a set back, or would take no time."""
    if not free_at:
        raise PlanningError("There must be a sterilizer.")
    if cap < 1 or cycle < 1:
        raise PlanningError("A load holds at least one set and lasts at least one minute.")


# Several kinds


@dataclass(frozen=True, slots=True)
class Return:
    """One set on its way round: at the sterilizer from `release` on, to be out by `due` (minutes)."""

    release: int
    due: int


@dataclass(frozen=True, slots=True)
class Load:
    """One load: its start, and which of the returns given are in it, by index."""

    start: int
    returns: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Schedule:
    """What was found for returns of several kinds.

    Attributes
    ----------
    in_time : bool
        Every return is out by its due; `loads` shows how.
    proven : bool
        Always true with `in_time`. Without it: true if no schedule at all would be in time, false if only the
        list schedule is late and the disputed window was too long to search.
    method : str
        `LIST_SCHEDULE` or `DEPTH_FIRST`: the last that was needed for the answer.
    loads : tuple of Load, by start
        The schedule in time, or the list schedule that is late.
    """

    in_time: bool
    proven: bool
    method: str
    loads: tuple[Load, ...]


def schedule(returns: Sequence[Return], free_at: Free, cycle: int, cap: int) -> Schedule:
    """Put returns of any kinds into loads so that each is out by its due.

    Minimal problem: loads L with |L| <= cap, start s_L >= max over L of r_i, s_L >= free time of its machine,
    s_L + cycle <= d_i for all i in L.

    Parameters
    ----------
    returns : sequence of Return
    free_at : tuple of int
        Minute from which each machine is free; machines are alike.
    cycle : int
        Minutes of a load, at least 1.
    cap : int
        Sets in a load, at least 1.

    Returns
    -------
    Schedule

    Raises
    ------
    PlanningError
        As `queue`.

    Notes
    -----
    First the list schedule: whenever a machine is free, up to `cap` of the waiting sets with the earliest
    dues go at once. It falls into stretches after which every machine rests before the next set comes; such
    stretches do not touch one another. A stretch that is in time is settled. One that is late is searched
    depth first if it has fewer than `FEW_LOADS` loads: loads by ascending start, each on the machine free
    first, each starting when that machine is free or a set arrives, with the earliest dues of what is there
    (two sets that are both there may always change places so). If its schedule runs into the next stretch,
    both are searched together. With equal cycles the problem is polynomial, though of high degree.

    Examples
    --------
    Going at once with the first set would make the urgent second one late:

    >>> found = schedule([Return(0, 300), Return(10, 80)], (0,), cycle=60, cap=1)
    >>> found.in_time, found.method, [load.start for load in found.loads]
    (True, 'depth first', [10, 70])
    """
    check_machines(free_at, cycle, cap)
    order = sorted(range(len(returns)), key=lambda i: (returns[i].release, returns[i].due, i))
    free, place = tuple(sorted(free_at)), 0
    loads: list[Load] = []
    method = LIST_SCHEDULE
    while place < len(order):
        stretch, window = 0, _Stretch((), (), True)
        settled = None
        while settled is None:
            begun = free
            stretch += len(_listed(returns, order[place + stretch :], begun, cycle, cap).members)
            members = order[place : place + stretch]
            window = _whole(returns, members, begun, cycle, cap)
            after = returns[order[place + stretch]].release if place + stretch < len(order) else NEVER_BACK
            if window.in_time and window.rests_by(after):
                settled = window
            elif len(window.loads) >= FEW_LOADS:
                rest = _whole(returns, order[place:], begun, cycle, cap)
                return Schedule(False, False, method, (*loads, *rest.loads))
            else:
                method = DEPTH_FIRST
                found = _Search(returns, members, cycle, cap).run(begun)
                if found is None:
                    rest = _whole(returns, order[place:], begun, cycle, cap)
                    return Schedule(False, True, method, (*loads, *rest.loads))
                if found.rests_by(after):
                    settled = found
        loads += settled.loads
        free, place = settled.free, place + stretch
    return Schedule(True, True, method, tuple(loads))


@dataclass(frozen=True, slots=True)
class _Stretch:
    loads: tuple[Load, ...]
    free: Free
    in_time: bool

    @property
    def members(self) -> tuple[int, ...]:
        return tuple(i for load in self.loads for i in load.returns)

    def rests_by(self, minute: int) -> bool:
        return all(f <= minute for f in self.free)


def _listed(returns: Sequence[Return], order: Sequence[int], free: Free, cycle: int, cap: int) -> _Stretch:
    """The list schedule until every machine rests and nothing waits; `order` by ascending release."""
    machines = sorted(free)
    waiting: list[tuple[int, int, int]] = []
    loads: list[Load] = []
    place, now, in_time = 0, 0, True
    while place < len(order) or waiting:
        if not waiting:
            arrives = returns[order[place]].release
            if loads and machines[-1] <= arrives:
                break
            now = max(machines[0], arrives)
        else:
            now = max(machines[0], now)
        while place < len(order) and returns[order[place]].release <= now:
            one = returns[order[place]]
            insort(waiting, (one.due, one.release, order[place]))
            place += 1
        taken, waiting = waiting[:cap], waiting[cap:]
        loads.append(Load(now, tuple(i for _, _, i in taken)))
        in_time = in_time and now + cycle <= taken[0][0]
        machines = sorted([now + cycle, *(max(m, now) for m in machines[1:])])
    return _Stretch(tuple(loads), tuple(machines), in_time)


def _whole(returns: Sequence[Return], members: Sequence[int], free: Free, cycle: int, cap: int) -> _Stretch:
    """The list schedule of all `members`, rests included."""
    loads: list[Load] = []
    place, in_time = 0, True
    while place < len(members):
        part = _listed(returns, members[place:], free, cycle, cap)
        loads += part.loads
        place += len(part.members)
        free, in_time = part.free, in_time and part.in_time
    return _Stretch(tuple(loads), free, in_time)


class _Search:
    """Depth first over the starts of the loads of one stretch; states that failed are not entered again."""

    def __init__(self, returns: Sequence[Return], members: Sequence[int], cycle: int, cap: int) -> None:
        self._cycle, self._cap = cycle, cap
        # By due, so that the first of those that are there are the most urgent.
        self._members = sorted(members, key=lambda i: (returns[i].due, returns[i].release, i))
        self._releases = [returns[i].release for i in self._members]
        self._dues = [returns[i].due for i in self._members]
        self._arrivals = sorted(set(self._releases))
        self._failed: set[tuple[int, Free]] = set()

    def run(self, free: Free) -> _Stretch | None:
        loads = self._from((1 << len(self._members)) - 1, tuple(sorted(free)), -NEVER_BACK)
        if loads is None:
            return None
        machines = sorted(free)
        for load in loads:
            machines = sorted([load.start + self._cycle, *(max(m, load.start) for m in machines[1:])])
        return _Stretch(tuple(loads), tuple(machines), True)

    def _from(self, left: int, free: Free, begun: int) -> list[Load] | None:
        """Loads for the returns of the mask `left`, none starting before `begun`; None if there are none."""
        if not left:
            return []
        state = (left, tuple(max(f, begun) for f in free))
        if state in self._failed:
            return None
        numbers = [n for n in range(len(self._members)) if left >> n & 1]
        last = min(max(self._releases[n], begun) for n in numbers)
        first = max(free[0], begun, last)
        latest = self._dues[numbers[0]] - self._cycle
        starts = [first, *self._arrivals[bisect_right(self._arrivals, first) :]]
        for start in starts:
            # The most urgent set goes in this load or a later one.
            if start > latest:
                break
            taken = [n for n in numbers if self._releases[n] <= start][: self._cap]
            if start + self._cycle > self._dues[taken[0]]:
                break
            rest = left
            for n in taken:
                rest &= ~(1 << n)
            after = tuple(sorted([start + self._cycle, *(max(f, start) for f in free[1:])]))
            found = self._from(rest, after, start)
            if found is not None:
                return [Load(start, tuple(self._members[n] for n in taken)), *found]
        self._failed.add(state)
        return None
