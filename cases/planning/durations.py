"""When a set will be ready: stage durations as laws in, a time and a chance out.

A law is an array over whole minutes of one clock. A stage takes a random number of minutes, independent of
the others; it may wait for the next collection run, and for hours in which people work. No duration is
assumed here: laws come from what a site has measured, or from the one figure it has set.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from cases.planning.kinds import SLACK, PlanningError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MOST_MINUTES = 60 * 24 * 366
"""A law that spans more than this is refused: a sign of a wrong unit."""


@dataclass(frozen=True)
class Law:
    """Chances over whole minutes.

    Attributes
    ----------
    first : int
        The minute that `p[0]` belongs to.
    p : float array, shape (n,)
        Chance of minute `first + k`. They and `never` sum to 1.
    never : float
        Chance that it does not happen at all: no collection run or working hour is left.
    """

    first: int
    p: Floats
    never: float = 0.0

    @classmethod
    def point(cls, minute: int) -> Law:
        """Exactly this minute."""
        return cls(int(minute), np.ones(1))

    @classmethod
    def histogram(cls, minutes: Sequence[int], weights: Sequence[float]) -> Law:
        """Minutes with weights (counts, say), normalised once.

        Raises
        ------
        PlanningError
            Different lengths, none, weights negative, not finite or all zero, minutes too far apart.
        """
        at = np.asarray(minutes, dtype=np.int64)
        w = np.asarray(weights, dtype=np.float64)
        if at.ndim != 1 or at.shape != w.shape or not len(at):
            raise PlanningError("A histogram needs as many weights as minutes, and at least one.")
        if not np.isfinite(w).all() or (w < 0).any() or not w.sum() > 0:
            raise PlanningError("Weights must be finite, not negative, and not all zero.")
        return scattered(at, w / w.sum(), 0.0)

    @classmethod
    def quantiles(cls, levels: Sequence[float], minutes: Sequence[float]) -> Law:
        """From "in `levels[k]` of all it took `minutes[k]` at most", straight in between, rounded up.

        Parameters
        ----------
        levels : ascending from 0 to 1, shape (n,)
        minutes : ascending, shape (n,)

        Raises
        ------
        PlanningError
            Levels that do not ascend from 0 to 1, minutes that descend or are not finite.

        Examples
        --------
        >>> Law.quantiles([0, 0.5, 1], [60, 62, 66]).p.tolist()
        [0.0, 0.25, 0.25, 0.125, 0.125, 0.125, 0.125]
        """
        q, at = np.asarray(levels, dtype=np.float64), np.asarray(minutes, dtype=np.float64)
        if q.ndim != 1 or q.shape != at.shape or len(q) < 2 or not np.isfinite(at).all():
            raise PlanningError("Quantiles need as many minutes as levels, and at least two.")
        if q[0] != 0.0 or q[-1] != 1.0 or not (np.diff(q) > 0).all() or (np.diff(at) < 0).any():
            raise PlanningError("Levels must ascend from 0 to 1, and their minutes must not descend.")
        first, last = math.ceil(at[0]), math.ceil(at[-1])
        _check_span(first, last)
        # Of equal minutes the last level is reached: the law jumps there.
        below = np.interp(np.arange(first, last + 1), at, q)
        below[-1] = 1.0
        return cls(first, np.diff(below, prepend=0.0))

    def by(self, minute: int) -> float:
        """Chance that it happens at `minute` or before."""
        return float(self.p[: max(0, minute - self.first + 1)].sum())

    def after(self, minute: int) -> float:
        """Chance that it happens later or never, summed apart from `by`."""
        return self.never + float(self.p[max(0, minute - self.first + 1) :][::-1].sum())

    def when(self, chance: float) -> int | None:
        """First minute by which it has happened with this chance (0 to 1); None if it never gets so likely.

        Raises PlanningError for a chance outside 0 to 1.
        """
        if not 0.0 <= chance <= 1.0:
            raise PlanningError("A chance lies between 0 and 1.")
        later = self.never + np.append(np.cumsum(self.p[::-1])[::-1][1:], 0.0)
        enough = np.flatnonzero((later <= 1.0 - chance + SLACK) & (np.cumsum(self.p) > 0))
        return self.first + int(enough[0]) if len(enough) else None


@dataclass(frozen=True)
class Hours:
    """Intervals (from, to) of the clock in which a stage is worked on, ascending, apart from one another.

    `pauses`: work stops at the end of an interval and goes on in the next. Without it only the start waits
    for an interval, and what has begun runs to its end, as a machine does.
    """

    open: tuple[tuple[int, int], ...]
    pauses: bool = True

    def __post_init__(self) -> None:
        minutes = [minute for interval in self.open for minute in interval]
        if any(b <= a for a, b in self.open) or any(
            b < a for a, b in zip(minutes, minutes[1:], strict=False)
        ):
            raise PlanningError("Working hours must be intervals one after the other.")


@dataclass(frozen=True)
class Stage:
    """One stage on the way: how long it takes, and what it waits for.

    Attributes
    ----------
    takes : Law
        Minutes it takes; not negative, and at least one where there are hours.
    runs : tuple of int or None
        Ascending minutes of the runs of which the next one must be awaited before it starts; None: it
        starts at once. One that is ready at the very minute still goes with it.
    hours : Hours or None
        When it is worked on; None: always.
    """

    takes: Law
    runs: tuple[int, ...] | None = None
    hours: Hours | None = None

    def __post_init__(self) -> None:
        if self.takes.first < (1 if self.hours else 0):
            raise PlanningError("A stage takes no less than no time; with hours, at least a minute.")
        if self.runs is not None and any(b < a for a, b in zip(self.runs, self.runs[1:], strict=False)):
            raise PlanningError("Runs must be in order.")


def ready_by(leaves: Law, stages: Sequence[Stage]) -> Law:
    """The law of the minute at which a set is ready again.

    Parameters
    ----------
    leaves : Law
        When it leaves theatre.
    stages : sequence of Stage, in order

    Returns
    -------
    Law
        `when(.9)` is the time by which 90 in 100 such sets would be ready, `by(start)` the chance that it
        is ready for a case.

    Raises
    ------
    PlanningError
        Laws that together span more than `MOST_MINUTES`.

    Notes
    -----
    Stage durations are independent, so what has left stage k is the convolution of what has left stage k -
    1 with its law: on the clock, or, where work pauses, on the count of working minutes. A wait moves the
    mass to the next run or opening; what finds none is `never`. Waiting for a machine that others use is
    not part of it.

    Examples
    --------
    Leaving at 600 or 630; collected at 615 and 720; then 60 or 90 minutes:

    >>> leaves, takes = Law.histogram([600, 630], [1, 1]), Law.histogram([60, 90], [3, 1])
    >>> law = ready_by(leaves, [Stage(takes, runs=(615, 720))])
    >>> [(minute, law.by(minute)) for minute in (674, 675, 705, 780, 810)]
    [(674, 0.0), (675, 0.375), (705, 0.5), (780, 0.875), (810, 1.0)]
    >>> law.when(0.8)
    780
    """
    law = leaves
    for stage in stages:
        if stage.runs is not None:
            law = _next_run(law, stage.runs)
        law = _worked(law, stage.takes, stage.hours) if stage.hours else _later(law, stage.takes)
    return law


def _later(law: Law, takes: Law) -> Law:
    _check_span(law.first + takes.first, law.first + takes.first + len(law.p) + len(takes.p))
    p = np.convolve(law.p, takes.p) if len(law.p) else law.p
    return Law(law.first + takes.first, p, law.never + takes.never * (1.0 - law.never))


def _next_run(law: Law, runs: Sequence[int]) -> Law:
    """The minute of the next run; what misses the last one never goes."""
    minutes = law.first + np.arange(len(law.p))
    to = np.asarray(runs, dtype=np.int64)
    place = np.searchsorted(to, minutes, side="left")
    kept = place < len(to)
    never = law.never + float(law.p[~kept].sum())
    return scattered(to[place[kept]], law.p[kept], never)


def _worked(law: Law, takes: Law, hours: Hours) -> Law:
    """A stage that starts, or is worked on, in these hours only."""
    begun = _opened(law, hours)
    if not len(begun.p) or not hours.pauses:
        return _later(begun, takes)
    # On the count of working minutes: interval i begins after before[i] of them.
    opens = np.array([a for a, _ in hours.open], dtype=np.int64)
    lengths = np.array([b - a for a, b in hours.open], dtype=np.int64)
    before = np.concatenate(([0], np.cumsum(lengths)))
    minutes = begun.first + np.flatnonzero(begun.p)
    inside = np.searchsorted(opens, minutes, side="right") - 1
    worked = scattered(before[inside] + minutes - opens[inside], begun.p[minutes - begun.first], begun.never)
    done = _later(worked, takes)
    # Done with the last minute of an interval is done when it closes, not when the next opens.
    counts = done.first + np.arange(len(done.p))
    place = np.searchsorted(before[1:], counts, side="left")
    kept = place < len(opens)
    never = done.never + float(done.p[~kept].sum())
    at = opens[place[kept]] + counts[kept] - before[place[kept]]
    return scattered(at, done.p[kept], never)


def _opened(law: Law, hours: Hours) -> Law:
    """The first minute within the hours."""
    minutes = law.first + np.arange(len(law.p))
    closes = np.array([b for _, b in hours.open], dtype=np.int64)
    place = np.searchsorted(closes, minutes, side="right")
    kept = place < len(closes)
    never = law.never + float(law.p[~kept].sum())
    opens = np.array([a for a, _ in hours.open], dtype=np.int64)
    return scattered(np.maximum(minutes[kept], opens[place[kept]]), law.p[kept], never)


def scattered(minutes: Ints, p: Floats, never: float) -> Law:
    """Chances at minutes that may repeat, as one law.

    Raises PlanningError for minutes more than `MOST_MINUTES` apart.
    """
    if not len(minutes):
        return Law(0, np.zeros(0), never)
    first, last = int(minutes.min()), int(minutes.max())
    _check_span(first, last)
    counted = np.bincount(minutes - first, weights=p, minlength=last - first + 1)
    return Law(first, np.asarray(counted, dtype=np.float64), never)


def _check_span(first: int, last: int) -> None:
    if last - first > MOST_MINUTES:
        raise PlanningError("The minutes of a law lie more than a year apart.")
