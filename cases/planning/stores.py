"""How one item's stock behaves under a sequence of cases that may draw it: units that go, sets that come
back.

Each behaviour answers for the taker number `t` (0, 1, ... in order): what the state looks like when it comes
(`settle`), how many it finds in its own hold, in its list's and free (`pools`), and the state after it has
taken some (`take`). A state is a tuple of whole numbers; smaller pointers, fewer absent sets mean more stock.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import Protocol

from cases.planning.kinds import CaseDemand, SetHold, SetStock, UnitStock

State = tuple[int, ...]


class Store(Protocol):
    """What `tracks.build` asks of an item's stock."""

    def first(self) -> State:
        """State before any case."""

    def settle(self, state: State, t: int) -> State:
        """State when taker `t` comes: expired units passed over, returned sets back."""

    def pools(self, state: State, t: int) -> tuple[int, int, int]:
        """Own held, held for the list, free: what taker `t` finds in a settled state."""

    def take(self, state: State, t: int, listed: int, free: int) -> State:
        """State after taker `t` took so many from its list's hold and from the free stock."""


class Units:
    """Units in sorted expiry; one pointer per pool, moved by taking and by expiry (first expired, first out).

    The free pool is on-hand units by expiry, then arrivals by day. The state is (free pointer, list
    pointers).
    """

    def __init__(self, stock: UnitStock, takers: Sequence[CaseDemand]) -> None:
        free, due = sorted(stock.free), sorted(stock.arrivals)
        lists = {ref: sorted(days) for ref, days in sorted(stock.list_held.items()) if days}
        place = {ref: 1 + n for n, ref in enumerate(lists)}
        self._width = 1 + len(lists)
        self._expired = [bisect_left(free, case.day) for case in takers]
        self._there = [len(free) + bisect_right(due, case.day) for case in takers]
        self._own = [sum(day >= case.day for day in stock.held.get(case.ref, ())) for case in takers]
        self._list: list[tuple[int, int, int] | None] = []
        for case in takers:
            if case.list_ref is not None and case.list_ref in place:
                days = lists[case.list_ref]
                self._list.append((place[case.list_ref], bisect_left(days, case.day), len(days)))
            else:
                self._list.append(None)

    def first(self) -> State:
        """All pointers at the first unit."""
        return (0,) * self._width

    def settle(self, state: State, t: int) -> State:
        """Pointers moved past what has expired before the case's day."""
        moved = [max(state[0], self._expired[t]), *state[1:]]
        held = self._list[t]
        if held is not None:
            moved[held[0]] = max(moved[held[0]], held[1])
        return tuple(moved)

    def pools(self, state: State, t: int) -> tuple[int, int, int]:
        """Units in date and there on the case's day."""
        held = self._list[t]
        listed = 0 if held is None else held[2] - state[held[0]]
        return self._own[t], listed, self._there[t] - state[0]

    def take(self, state: State, t: int, listed: int, free: int) -> State:
        """Pointers moved by what was taken."""
        moved = [state[0] + free, *state[1:]]
        held = self._list[t]
        if held is not None:
            moved[held[0]] += listed
        return tuple(moved)

    def least(self, t: int, asked_before: int) -> int:
        """At least so many does taker `t` find, own hold left out, if earlier ones asked for
        `asked_before`."""
        return self._there[t] - self._expired[t] - asked_before

    def own(self, t: int) -> int:
        """Units held for taker `t` alone, in date on its day."""
        return self._own[t]


class Sets:
    """Sets that come back. The state lists the absent ones: minute of return, then pool (0 free, 1.. a list).

    A hold keeps its sets for its case or list from the earlier of the hold's and the case's start to the
    later of the hold's end and the case's end + turnaround. Free sets for a case are the fewest there at
    any minute from its start to its end + turnaround, so that no hold that begins meanwhile is robbed.
    """

    def __init__(self, stock: SetStock, takers: Sequence[CaseDemand], cases: Sequence[CaseDemand]) -> None:
        self._turn = stock.turnaround
        self._start = [case.start for case in takers]
        self._back = [case.end + stock.turnaround for case in takers]
        lists = sorted({h.list_ref for h in stock.holds if h.list_ref is not None})
        place = {ref: 1 + n for n, ref in enumerate(lists)}
        spans = drawn_out(stock, cases)
        self._pool = [0 if c.list_ref is None else place.get(c.list_ref, 0) for c in takers]
        self._own, self._listed, self._open = [], [], []
        for case in takers:
            ready = stock.count + sum(minute <= case.start for minute in stock.due)
            mine = sum(h.count for h in stock.holds if h.case_ref == case.ref)
            ours = sum(h.count for h in stock.holds if h.list_ref is not None and h.list_ref == case.list_ref)
            self._own.append(min(mine, ready))
            self._listed.append(min(ours, max(0, ready - mine)))
            self._open.append(_openings(stock, spans, case))

    def first(self) -> State:
        """None absent."""
        return ()

    def settle(self, state: State, t: int) -> State:
        """Those back at the very minute of the start are back."""
        pairs = sorted((state[i], state[i + 1]) for i in range(0, len(state), 2) if state[i] > self._start[t])
        return tuple(value for pair in pairs for value in pair)

    def pools(self, state: State, t: int) -> tuple[int, int, int]:
        """Own hold; the list's less its absent ones; free over the whole time needed."""
        pool = self._pool[t]
        gone = sum(state[i + 1] == pool for i in range(0, len(state), 2)) if pool else 0
        free = min(
            there - sum(state[i + 1] == 0 and state[i] > minute for i in range(0, len(state), 2))
            for minute, there in self._open[t]
        )
        return self._own[t], max(0, self._listed[t] - gone), max(0, free)

    def take(self, state: State, t: int, listed: int, free: int) -> State:
        """Taken sets are away until the case's end + turnaround."""
        back = self._back[t]
        return state + (back, self._pool[t]) * listed + (back, 0) * free

    def least(self, t: int, asked_before: int) -> int:
        """At least so many does taker `t` find, own hold left out, if `asked_before` are still away."""
        return self._listed[t] + min(there for _, there in self._open[t]) - asked_before

    def own(self, t: int) -> int:
        """Sets held for taker `t` alone."""
        return self._own[t]

    def meets(self, earlier: int, t: int) -> bool:
        """Whether a set that `earlier` takes is still away when `t` starts."""
        return self._back[earlier] > self._start[t]


class Timed(Protocol):
    """A case, as far as holds are concerned."""

    @property
    def ref(self) -> int: ...
    @property
    def list_ref(self) -> int | None: ...
    @property
    def start(self) -> int: ...
    @property
    def end(self) -> int: ...


def drawn_out(stock: SetStock, cases: Sequence[Timed]) -> list[tuple[int, int, int, SetHold]]:
    """Start, end, count of each hold, drawn out to the case or the cases of the list it is for."""
    if not stock.holds:
        return []
    spans: dict[tuple[bool, int], tuple[int, int]] = {}
    for case in cases:
        own = case.start, case.end + stock.turnaround
        spans[False, case.ref] = own
        if case.list_ref is not None:
            before = spans.get((True, case.list_ref), own)
            spans[True, case.list_ref] = min(before[0], own[0]), max(before[1], own[1])
    found = []
    for hold in stock.holds:
        start, end = hold.start, hold.end
        for key in ((False, hold.case_ref), (True, hold.list_ref)):
            if key[1] is not None and key in spans:
                start, end = min(start, spans[key][0]), max(end, spans[key][1])
        found.append((start, end, hold.count, hold))
    return found


def _openings(
    stock: SetStock, spans: Sequence[tuple[int, int, int, SetHold]], case: CaseDemand
) -> list[tuple[int, int]]:
    """(minute, sets there and not held) wherever that number can fall while `case` needs a set."""
    last = case.end + stock.turnaround
    minutes = sorted({case.start} | {start for start, _, _, _ in spans if case.start < start < last})
    found = []
    for minute in minutes:
        there = stock.count + sum(due <= minute for due in stock.due)
        for start, end, count, hold in spans:
            ours = hold.case_ref == case.ref or (hold.list_ref is not None and hold.list_ref == case.list_ref)
            if ours or start <= minute < end:
                there -= count
        found.append((minute, there))
    return found
