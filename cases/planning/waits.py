"""What a set waits for on its way round, as laws: a run of a timetable, a machine, the last of its packs.

Beside `durations`, whose laws these take and give. Times are whole minutes of one clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heapify, heapreplace

import numpy as np

from cases.planning.durations import Law, scattered
from cases.planning.kinds import PlanningError


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine that takes loads one after the other.

    Attributes
    ----------
    free_at : int
        Minute from which it can take the next one.
    minutes : int
        How long a load takes, at least 1.
    capacity : int
        Packs in a load, at least 1.

    Raises
    ------
    PlanningError
        A load of no packs or of no time.
    """

    free_at: int
    minutes: int
    capacity: int

    def __post_init__(self) -> None:
        if self.minutes < 1 or self.capacity < 1:
            raise PlanningError("A load holds at least one pack and takes at least one minute.")


def load_starts(machines: Sequence[Machine], packs: int) -> list[int]:
    """The earliest minute at which each of so many packs, all waiting now, can go into a machine.

    Parameters
    ----------
    machines : sequence of Machine
    packs : int
        How many wait; they go in the order in which they stand.

    Returns
    -------
    list of int, ascending, shape (packs,); empty without machines

    Notes
    -----
    Whichever machine is free first takes as many as it holds.

    Examples
    --------
    Two machines, of which one runs until minute 30:

    >>> load_starts([Machine(0, 60, 2), Machine(30, 60, 1)], 5)
    [0, 0, 30, 60, 60]
    """
    if not machines:
        return []
    queue = [(one.free_at, number) for number, one in enumerate(machines)]
    heapify(queue)
    found: list[int] = []
    while len(found) < packs:
        free_at, number = queue[0]
        one = machines[number]
        found += [free_at] * min(one.capacity, packs - len(found))
        heapreplace(queue, (free_at + one.minutes, number))
    return found


def not_before(law: Law, minute: int) -> Law:
    """The later of the law's minute and this one.

    Examples
    --------
    >>> law = not_before(Law.histogram([10, 20, 30], [1, 1, 2]), 25)
    >>> law.first, law.p.tolist()
    (25, [0.5, 0.0, 0.0, 0.0, 0.0, 0.5])
    """
    minutes = law.first + np.arange(len(law.p))
    return scattered(np.maximum(minutes, minute), law.p, law.never)


def carried(law: Law, leaves: Sequence[int], arrives: Sequence[int]) -> Law:
    """When what is there at the law's minute arrives with the next run of a timetable.

    Parameters
    ----------
    law : Law
    leaves : ascending minutes; what is there at the very minute still goes with it
    arrives : minutes, one for each run

    Returns
    -------
    Law
        What finds no run left is `never`.

    Raises
    ------
    PlanningError
        Runs that are not in order, or not as many arrivals as runs.

    Examples
    --------
    >>> law = carried(Law.histogram([5, 15], [1, 3]), [10, 20], [14, 25])
    >>> law.first, law.by(14), law.by(25)
    (14, 0.25, 1.0)
    """
    runs, there = np.asarray(leaves, dtype=np.int64), np.asarray(arrives, dtype=np.int64)
    if runs.shape != there.shape or (np.diff(runs) < 0).any():
        raise PlanningError("Runs must be in order, and each must arrive.")
    minutes = law.first + np.arange(len(law.p))
    place = np.searchsorted(runs, minutes, side="left")
    kept = place < len(runs)
    return scattered(there[place[kept]], law.p[kept], law.never + float(law.p[~kept].sum()))


def left_of(takes: Law, passed: int, afresh: float) -> Law:
    """How many minutes more a stage takes of which some have passed already.

    Parameters
    ----------
    takes : Law
        Minutes of the whole stage.
    passed : int
        Minutes since it began.
    afresh : float
        Weight, beside the chance of lasting longer than `passed`, of a stage that begins anew: one over the
        number of stages that taught the law. Above 0.

    Returns
    -------
    Law
        At least one minute.

    Notes
    -----
    A stage that has lasted longer than any seen so far says little about its end; then the whole stage is
    taken to lie ahead. In between, the more of the stages seen lasted as long, the more they speak.

    Examples
    --------
    >>> law = left_of(Law.histogram([10, 50], [1, 1]), 20, afresh=0.1)
    >>> [(minute, round(law.by(minute), 3)) for minute in (9, 10, 30, 50)]
    [(9, 0.0), (10, 0.083), (30, 0.917), (50, 1.0)]
    """
    if not afresh > 0:
        raise PlanningError("The weight of a stage that begins anew must be above nothing.")
    whole = np.maximum(1, takes.first + np.arange(len(takes.p)))
    minutes = takes.first + np.arange(len(takes.p))
    longer = minutes > passed
    weights = np.concatenate((takes.p[longer], takes.p * afresh))
    never = takes.never * (1.0 + afresh)
    total = float(weights.sum()) + never
    return scattered(np.concatenate((minutes[longer] - passed, whole)), weights / total, never / total)


def last_of(laws: Sequence[Law]) -> Law:
    """The law of the last of several independent minutes: when all have happened.

    Raises PlanningError for none.

    Examples
    --------
    >>> coin = Law.histogram([1, 2], [1, 1])
    >>> last_of([coin, coin]).p.tolist()
    [0.25, 0.75]
    """
    if not laws:
        raise PlanningError("The last of none is no minute.")
    if len(laws) == 1:
        return laws[0]
    if any(not len(law.p) for law in laws):
        return Law(0, np.zeros(0), 1.0)
    first = min(law.first for law in laws)
    last = max(law.first + len(law.p) for law in laws)
    below = np.ones(last - first)
    for law in laws:
        own = np.zeros(len(below))
        own[law.first - first : law.first - first + len(law.p)] = law.p
        below *= np.cumsum(own)
    return Law(first, np.diff(below, prepend=0.0), max(0.0, 1.0 - float(below[-1])))
