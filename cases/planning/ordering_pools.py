"""Sets of one kind while an order is tried: states that a search can keep, compare and go back to."""

from __future__ import annotations

from bisect import insort
from dataclasses import dataclass
from typing import Any

from cases.planning.sterilizing import queue
from cases.planning.turnaround import AT_ONCE, Round

State = Any
"""A hashable value that only its pool understands."""


@dataclass(frozen=True)
class Unqueued:
    """Each set comes back by itself: the state is the minute from which each is there, ascending.

    Attributes
    ----------
    first : tuple of int
        The state before any case.
    way : int
        Fewest minutes from leaving theatre until usable.
    sooner : bool
        Whether states compare number by number: none later in one than in the other is at least as good.
    """

    first: tuple[int, ...]
    way: int
    sooner: bool = True

    def take(self, state: tuple[int, ...], start: int, end: int) -> State | None:
        """The state after a case has had a set from `start` to `end`; None if there is none at `start`."""
        if not state or state[0] > start:
            return None
        rest = list(state[1:])
        insort(rest, end + self.way)
        return tuple(rest)

    def at(self, state: tuple[int, ...], now: int, uses: int) -> State:
        """What matters of the state if no more than so many uses come, none of them before `now`."""
        # Each use takes the set that is there first: n uses never come to more than the first n.
        if not state or state[0] >= now:
            return state[:uses]
        return tuple([minute if minute > now else now for minute in state[:uses]])

    def soonest(self, state: tuple[int, ...]) -> tuple[int, ...]:
        """For each set that matters a minute before which it cannot be had, ascending."""
        return state


# How many of those to come are there, how many sets are free, when those on their way reach the
# sterilizer, and the returns asked for so far, as (release, due).
_Line = tuple[int, int, tuple[int, ...], tuple[tuple[int, int], ...]]


@dataclass(frozen=True)
class Queued:
    """Sets that have sterilizers of their own (see `sterilizing.queue`); `ready` ascending.

    Attributes and methods as of `Unqueued`.
    """

    ready: tuple[int, ...]
    round: Round
    first: _Line = (0, 0, (), ())
    sooner: bool = False

    @property
    def way(self) -> int:
        return self.round.shortest

    def take(self, state: _Line, start: int, end: int) -> State | None:
        there, free, back, asked = self._arrived(state, start)
        if free:
            free -= 1
        else:
            if not back:
                return None
            asked = (*asked, (back[0], start - self.round.after))
            back = back[1:]
            loads = queue(self.round.free_at, self.round.cycle, self.round.cap)
            if not all(loads.add(release, due) for release, due in asked):
                return None
        coming = list(back)
        insort(coming, end + self.round.decon)
        return (there, free, tuple(coming), asked)

    def at(self, state: _Line, now: int, uses: int) -> State:
        return self._arrived(state, now) if uses else self.first

    def _arrived(self, state: _Line, now: int) -> _Line:
        there, free, back, asked = state
        while there < len(self.ready) and self.ready[there] <= now:
            there, free = there + 1, free + 1
        return (there, free, back, asked)

    def soonest(self, state: _Line) -> tuple[int, ...]:
        there, free, back, _ = state
        left = self.round.cycle + self.round.after
        return tuple(sorted([*[AT_ONCE] * free, *self.ready[there:], *(minute + left for minute in back)]))


Pool = Unqueued | Queued


def pool(ready: tuple[int, ...], way: Round) -> Pool:
    """The pool of sets that are there from these minutes on."""
    if way.cap:
        return Queued(tuple(sorted(ready)), way)
    return Unqueued(tuple(sorted(ready)), way.shortest)
