"""Cases that accept one of several physical sets: the choice that serves most of them.

A use j is a set needed from start_j to end_j; it accepts some of the sets. Set s is away until end_j +
turnaround_s, is there from `ready` on and to be used before `until`. Times are whole minutes of one clock;
ready at the very minute is ready.
"""

from __future__ import annotations

import math
from bisect import bisect_right, insort
from collections.abc import Sequence
from dataclasses import dataclass

from cases.planning import milp
from cases.planning.kinds import PlanningError
from cases.planning.sterilizing import NEVER_BACK

MOST_SEARCHED = 20
"""Without the solver up to so many uses are searched exhaustively; beyond it is first come, first served."""

INTEGER_PROGRAMME, SEARCH, FIRST_COME = "integer programme", "exhaustive search", "first come, first served"

SECONDS = 2.0

Times = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class PhysicalSet:
    """One set: there from `ready` on, last start before `until`, `turnaround` minutes from a use to the next.

    `kept` are intervals (from, to) in which it may not be away.
    """

    ready: int
    turnaround: int
    until: int = NEVER_BACK
    kept: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        if self.turnaround < 0:
            raise PlanningError("A turnaround must not be negative.")

    def may(self, start: int, end: int) -> bool:
        """Whether it could serve a use, if no other use stood in the way."""
        back = end + self.turnaround
        return self.ready <= start < self.until and not any(a < back and start < b for a, b in self.kept)


@dataclass(frozen=True, slots=True)
class Use:
    """A set needed from `start` to `end`; `accepts` are sets by index, in order of preference."""

    start: int
    end: int
    accepts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Assignment:
    """Which set serves which use.

    Attributes
    ----------
    sets : tuple of (int or None), one per use
        Set index; None: not served.
    unserved : int
        How many are not.
    at_least : int
        Proven: no choice leaves fewer unserved.
    method : str
        `INTEGER_PROGRAMME`, `SEARCH` or `FIRST_COME`.
    """

    sets: tuple[int | None, ...]
    unserved: int
    at_least: int
    method: str

    @property
    def proven(self) -> bool:
        """Whether no choice serves more."""
        return self.unserved == self.at_least


def assign(uses: Sequence[Use], sets: Sequence[PhysicalSet], *, seconds: float = SECONDS) -> Assignment:
    """Choose a set for each use: as few as possible go without, and of such choices the most preferred.

    Parameters
    ----------
    uses : sequence of Use, n
    sets : sequence of PhysicalSet, m
    seconds : float
        Time for the integer programme; when it is over its best answer is given with its bound.

    Returns
    -------
    Assignment

    Raises
    ------
    PlanningError
        A use that does not end after it starts, or accepts a set that is not given.

    Notes
    -----
    Integer programme: x_js = 1 if set s serves use j; sum over s of x_js <= 1 for each use; for each set
    and each start t of a use, the x_js of all j with start_j <= t < end_j + turnaround_s sum to 1 at most.
    Intervals that overlap in pairs share a start, so these cliques say all there is to say, and the
    relaxation is nearly whole. Preference is a cost below that of any use left out.

    Without the solver: depth first over the uses by start, allowing 0, 1, 2, ... to go without until it can
    be done; sets alike in all that is to come are tried once. Exact, for up to `MOST_SEARCHED` uses.
    Beyond: each use by start takes, of the sets there that it accepts, the one that fewest later uses
    accept.

    Examples
    --------
    The first use takes the set that the second does not accept:

    >>> uses = [Use(480, 570, (0, 1)), Use(500, 600, (0,))]
    >>> assign(uses, [PhysicalSet(0, 360), PhysicalSet(0, 360)]).sets
    (1, 0)
    """
    for number, use in enumerate(uses):
        if use.end <= use.start:
            raise PlanningError(f"Use {number} must end after it starts.")
        if not all(0 <= one < len(sets) for one in use.accepts):
            raise PlanningError(f"Use {number} accepts a set that is not given.")
    choices = [
        tuple(s for s in dict.fromkeys(use.accepts) if sets[s].may(use.start, use.end)) for use in uses
    ]
    if milp.installed():
        return _programme(uses, sets, choices, seconds)
    if len(uses) <= MOST_SEARCHED:
        return searched(uses, sets, choices)
    return first_come(uses, sets, choices)


Choices = Sequence[tuple[int, ...]]


def _programme(
    uses: Sequence[Use], sets: Sequence[PhysicalSet], choices: Choices, seconds: float
) -> Assignment:
    columns = [(j, s) for j, own in enumerate(choices) for s in own]
    if not columns:
        return Assignment((None,) * len(uses), len(uses), len(uses), INTEGER_PROGRAMME)
    number = {pair: n for n, pair in enumerate(columns)}
    most = max(len(own) for own in choices)
    served = len(uses) * most + 1
    rows = [milp.Row(tuple(number[j, s] for s in own), (1.0,) * len(own), high=1.0)
            for j, own in enumerate(choices) if len(own) > 1]  # fmt: skip
    for s, one in enumerate(sets):
        takers = [j for j, own in enumerate(choices) if s in own]
        cliques = {
            frozenset(j for j in takers if uses[j].start <= uses[at].start < uses[j].end + one.turnaround)
            for at in takers
        }
        for clique in sorted(cliques, key=sorted):
            if len(clique) > 1 and not any(clique < other for other in cliques):
                rows.append(
                    milp.Row(tuple(number[j, s] for j in sorted(clique)), (1.0,) * len(clique), high=1.0)
                )
    programme = milp.Programme(
        cost=tuple(float(choices[j].index(s) - served) for j, s in columns),
        upper=(1.0,) * len(columns),
        rows=tuple(rows),
    )
    found = milp.minimise(programme, seconds=seconds)
    taken: list[int | None] = [None] * len(uses)
    for value, (j, s) in zip(found.values, columns, strict=False):
        if value > 0.5:
            taken[j] = s
    unserved = at_least = taken.count(None)
    if not found.proven:
        at_least = _at_least(uses, sets, choices)
        if math.isfinite(found.bound):
            # Each use that is served saves at least served - most.
            at_least = max(at_least, len(uses) - int(-found.bound // (served - most)))
    return Assignment(tuple(taken), unserved, min(at_least, unserved), INTEGER_PROGRAMME)


def searched(uses: Sequence[Use], sets: Sequence[PhysicalSet], choices: Choices) -> Assignment:
    """The same by exhaustive search (see `assign`); preference only decides what is tried first."""
    search = _Search(uses, sets, choices)
    unserved = _at_least(uses, sets, choices)
    # With every use unserved there is always an answer.
    while (taken := search.with_at_most(unserved)) is None:
        unserved += 1
    return Assignment(taken, unserved, unserved, SEARCH)


class _Search:
    """Uses by start; a state is the next use and when each set is there again."""

    def __init__(self, uses: Sequence[Use], sets: Sequence[PhysicalSet], choices: Choices) -> None:
        self._uses, self._choices = uses, choices
        self._order = sorted(range(len(uses)), key=lambda j: (uses[j].start, j))
        self._back = [one.turnaround for one in sets]
        self._first = tuple(one.ready for one in sets)
        self._failed: set[tuple[int, int, Times]] = set()
        self._quickest = min(self._back, default=0)
        rest = [self._order[place:] for place in range(len(uses) + 1)]
        self._by_end = [sorted((uses[j] for j in own if choices[j]), key=lambda use: use.end) for own in rest]
        self._hopeless = [sum(not choices[j] for j in own) for own in rest]
        # Per set and place in the order, who still wants it: sets alike in this and in time are alike.
        self._wanted: list[list[int]] = [[0] * (len(uses) + 1) for _ in sets]
        for place in range(len(uses) - 1, -1, -1):
            for s in range(len(sets)):
                bit = 1 << place if s in choices[self._order[place]] else 0
                self._wanted[s][place] = self._wanted[s][place + 1] | bit

    def with_at_most(self, unserved: int) -> tuple[int | None, ...] | None:
        self._failed.clear()
        steps = self._from(0, unserved, self._first)
        if steps is None:
            return None
        taken: list[int | None] = [None] * len(self._uses)
        for j, s in steps:
            taken[j] = s
        return tuple(taken)

    def _from(self, place: int, spare: int, there: Times) -> list[tuple[int, int]] | None:
        if place == len(self._order):
            return []
        j = self._order[place]
        use = self._uses[j]
        # A set there by now is there, and one that nobody wants any more does not matter.
        now = tuple(max(minute, use.start) if self._wanted[s][place] else 0 for s, minute in enumerate(there))
        state = (place, spare, now)
        if state in self._failed:
            return None
        wanted = [minute for s, minute in enumerate(now) if self._wanted[s][place]]
        if self._hopeless[place] + _left_out(self._by_end[place], wanted, self._quickest) > spare:
            return None
        tried = set()
        for s in self._choices[j]:
            alike = (self._wanted[s][place + 1], self._back[s])
            if now[s] > use.start or alike in tried:
                continue
            tried.add(alike)
            after = (*now[:s], use.end + self._back[s], *now[s + 1 :])
            found = self._from(place + 1, spare, after)
            if found is not None:
                return [(j, s), *found]
        if spare:
            found = self._from(place + 1, spare - 1, now)
            if found is not None:
                return found
        self._failed.add(state)
        return None


def first_come(uses: Sequence[Use], sets: Sequence[PhysicalSet], choices: Choices) -> Assignment:
    """First come, first served, sparing the sets that most later uses accept (see `assign`)."""
    order = sorted(range(len(uses)), key=lambda j: (uses[j].start, j))
    wanted = [sum(s in own for own in choices) for s in range(len(sets))]
    there = [one.ready for one in sets]
    taken: list[int | None] = [None] * len(uses)
    for j in order:
        for s in choices[j]:
            wanted[s] -= 1
        free = [s for s in choices[j] if there[s] <= uses[j].start]
        if free:
            s = min(free, key=lambda s: (wanted[s], choices[j].index(s)))
            taken[j], there[s] = s, uses[j].end + sets[s].turnaround
    return Assignment(tuple(taken), taken.count(None), _at_least(uses, sets, choices), FIRST_COME)


def _at_least(uses: Sequence[Use], sets: Sequence[PhysicalSet], choices: Choices) -> int:
    able = sorted((use for use, own in zip(uses, choices, strict=True) if own), key=lambda use: use.end)
    quickest = min((one.turnaround for one in sets), default=0)
    return len(uses) - len(able) + _left_out(able, [one.ready for one in sets], quickest)


def _left_out(uses: Sequence[Use], there: Sequence[int], back: int) -> int:
    """Fewest of the uses (by end) to go without if each accepted every set, each away for the same time.

    Taking the uses by their ends, each by the set there last, serves most: neither a use that ends sooner
    nor a set that is there later can stand in the way of more.
    """
    minutes, out = sorted(there), 0
    for use in uses:
        place = bisect_right(minutes, use.start)
        if place:
            del minutes[place - 1]
            insort(minutes, use.end + back)
        else:
            out += 1
    return out
