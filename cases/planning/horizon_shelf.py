"""From cases and a shelf as the rest of the planner takes them to the flat arrays of a horizon."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from cases.planning.fit import Joint, joint
from cases.planning.horizon_arrays import NEVER_BACK, Arrays, Stock, lay_out
from cases.planning.horizon_patterns import pattern_of
from cases.planning.kinds import NEVER, CaseDemand, SetStock, Shelf
from cases.planning.parts import Ints
from cases.planning.stores import Timed, drawn_out

_Rows = list[tuple[int, int, int]]


def arrays_of(
    cases: Sequence[CaseDemand],
    shelf: Shelf,
    laws: Sequence[Joint] | None = None,
    *,
    sure: Collection[str] = (),
) -> tuple[Arrays, tuple[str, ...]]:
    """The arrays of cases in the order in which they draw, and the item of each number.

    Parameters
    ----------
    cases, shelf, laws
        As in `sharing.assess`.
    sure : collection of str
        Items that never run out.

    Examples
    --------
    >>> from cases.planning.kinds import SlotLaw
    >>> from cases.planning.simulate import simulate
    >>> stem = CaseDemand(1, (SlotLaw("stem", ("S1", "S2"), (1, 3)),))
    >>> arrays, items = arrays_of([stem], Shelf.plain({"S2": 1}))
    >>> float(simulate(arrays, 1000, seed=1).p_short[0].round(1))
    0.2
    """
    laws = [joint(case) for case in cases] if laws is None else laws
    named = {item for case in cases for slot in case.slots for item in slot.items}
    named |= {option.item for case in cases for need in case.needs for option in need.options}
    items = tuple(sorted(item for item in named if item not in sure))
    number = {item: n for n, item in enumerate(items)}
    kept = Shelf(shelf.units, {item: with_holds_drawn_out(one, cases) for item, one in shelf.sets.items()})
    ref, list_ref, day, start, end = (
        np.array(column, dtype=np.int64).reshape(-1)
        for column in (
            [case.ref for case in cases],
            [-1 if case.list_ref is None else case.list_ref for case in cases],
            [case.day for case in cases],
            [case.start for case in cases],
            [case.end for case in cases],
        )
    )
    arrays = lay_out(
        [pattern_of([(law, -1)], number, sure=sure) for law in laws],
        np.arange(len(cases)),
        stock_of(kept, number, ref=ref, list_ref=list_ref, day=day, start=start),
        ref=ref,
        day=day,
        start=start,
        end=end,
        list_ref=list_ref,
    )
    return arrays, items


def stock_of(
    shelf: Shelf, number: Mapping[str, int], *, ref: Ints, list_ref: Ints, day: Ints, start: Ints
) -> Stock:
    """The stock of the items that have a number. Units are counted in days, sets in minutes.

    Parameters
    ----------
    shelf : Shelf
        Holds of sets reach over the whole time of the cases they are for (see `stores.drawn_out`).
    number : mapping of item to int
    ref, list_ref, day, start : int arrays, shape (N,)
        The cases, in order.
    """
    made = _Maker(number, ref, list_ref, day, start)
    for item, units in shelf.units.items():
        if item in number:
            made.units(item, units.free, units.arrivals)
            made.held(item, units.held.items(), units.list_held.items())
    for item in shelf.sets:
        if item in number:
            made.sets(item, shelf)
    return made.stock()


def with_holds_drawn_out(stock: SetStock, cases: Sequence[Timed]) -> SetStock:
    """The same sets with each hold over the whole time of the cases it is for."""
    holds = [replace(hold, start=start, end=end) for start, end, _, hold in drawn_out(stock, cases)]
    return replace(stock, holds=tuple(holds))


class _Maker:
    """Gathers the stock's rows."""

    def __init__(self, number: Mapping[str, int], ref: Ints, list_ref: Ints, day: Ints, start: Ints) -> None:
        self._number = number
        self._on_hand = np.zeros(len(number), dtype=np.int64)
        self._back = np.full(len(number), NEVER_BACK, dtype=np.int64)
        self._change: _Rows = []
        self._expiry: dict[tuple[int, int], int] = {}
        self._own: _Rows = []
        self._pool: _Rows = []
        self._days = _firsts(ref, day), _firsts(list_ref, day)
        self._starts = _firsts(ref, start), _firsts(list_ref, start)

    def units(self, item: str, free: Iterable[int], arrivals: Iterable[int]) -> None:
        """Free units by their last day, and those to come."""
        at = self._number[item]
        for until in free:
            self._on_hand[at] += 1
            if until < NEVER:
                self._expiry[at, until + 1] = self._expiry.get((at, until + 1), 0) + 1
        self._change += [(at, day, 1) for day in arrivals]

    def held(
        self,
        item: str,
        cases: Iterable[tuple[int, Sequence[int]]],
        lists: Iterable[tuple[int, Sequence[int]]],
    ) -> None:
        """Units held for a case or a list, in date on its day."""
        for held, days, rows in ((cases, self._days[0], self._own), (lists, self._days[1], self._pool)):
            for ref, dates in held:
                count = sum(until >= days[ref] for until in dates) if ref in days else 0
                if count:
                    rows.append((ref, self._number[item], count))

    def sets(self, item: str, shelf: Shelf) -> None:
        """Sets that are ready or come back; a held one is away from all others over its hold."""
        at, stock = self._number[item], shelf.sets[item]
        self._on_hand[at], self._back[at] = stock.count, stock.turnaround
        self._change += [(at, due, 1) for due in stock.due]
        held: dict[tuple[int, int], int] = {}
        for hold in stock.holds:
            self._change += [(at, hold.start, -hold.count), (at, hold.end, hold.count)]
            for kind, ref in enumerate((hold.case_ref, hold.list_ref)):
                if ref is not None:
                    held[kind, ref] = held.get((kind, ref), 0) + hold.count
        for (kind, ref), count in held.items():
            if ref in self._starts[kind]:
                ready = stock.count + sum(due <= self._starts[kind][ref] for due in stock.due)
                (self._pool if kind else self._own).append((ref, at, min(count, ready)))

    def stock(self) -> Stock:
        """All of it as arrays."""
        expiry = [(at, day, by) for (at, day), by in self._expiry.items()]
        return Stock(
            self._on_hand,
            self._back,
            self._back != NEVER_BACK,
            *_columns(self._change),
            *_columns(expiry),
            *_columns(self._own),
            *_columns(self._pool),
        )


def _firsts(ref: Ints, values: Ints) -> dict[int, int]:
    """By reference the first of its values."""
    found: dict[int, int] = {}
    for one, value in zip(ref.tolist(), values.tolist(), strict=True):
        found.setdefault(one, value)
    return found


def _columns(rows: Sequence[tuple[int, int, int]]) -> tuple[Ints, Ints, Ints]:
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)
    return table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy()
