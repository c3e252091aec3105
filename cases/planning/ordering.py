"""An order of the lists of a day in which no case waits for a set: the least change, or proof that none is.

A list has positions with gaps between them: when the order changes, the first case that moved starts when
that position started, each later one when the one before it ends and the gap that stood there is over. Sets
are alike within a kind, come back as `turnaround` has it, and may be shared by several lists of one day.
Times are whole minutes of one clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from time import monotonic

from cases.planning.kinds import PlanningError
from cases.planning.ordering_kinds import DayList, SetKind
from cases.planning.ordering_pools import Pool, pool
from cases.planning.ordering_search import Orders, Search

SECONDS = 0.9
"""Time that one search may take unless the caller says otherwise."""


@dataclass(frozen=True, slots=True)
class NewOrder:
    """What was found.

    Attributes
    ----------
    orders : tuple of tuples of int, or None
        Per list the case indices in their new order; as they stand if no case waits even so. None: not found.
    proven : bool
        With `orders` always true. Without: true if no order is free of waiting, false if time ran out.
    least : bool
        Whether no order without waiting swaps fewer pairs.
    swaps : int
        Pairs of cases of a list that stand the other way round than before.
    states : int
        How many partial orders were looked at.
    """

    orders: Orders | None
    proven: bool
    least: bool
    swaps: int
    states: int


def find_order(lists: Sequence[DayList], kinds: Sequence[SetKind], *, seconds: float = SECONDS) -> NewOrder:
    """Find orders of the lists in which every case has its sets at its start.

    Parameters
    ----------
    lists : sequence of DayList
        Made for up to about 20 cases in all that may move.
    kinds : sequence of SetKind
    seconds : float
        Time after which the search says what it knows.

    Returns
    -------
    NewOrder

    Raises
    ------
    PlanningError
        Starts and cases of different number, starts out of order, a case without length, an unknown kind.

    Notes
    -----
    Depth first over which case comes next in the list whose next position starts first. The next start
    depends only on which cases are placed, so a partial order is a state: the cases placed, and what of
    each kind is there when. A state that led nowhere is not entered again, nor one whose sets are all there
    no sooner; cases alike in length and needs are tried once; and where the uses of a kind still to come do
    not fit before the last start even if each is as short as the shortest, nothing below is tried. The
    orders found are then improved by uniform-cost search over the same states, where the cost of a case is
    the number of cases before it that it overtakes: the sum is the number of swapped pairs, and the first
    full order that comes out has the fewest. The order as it stands is tried before anything else.

    Examples
    --------
    One set, 60 minutes round. The two cases that use it stand together; the short one between them helps:

    >>> from cases.planning.ordering_kinds import DayList, ListCase, SetKind
    >>> from cases.planning.turnaround import Round
    >>> one_set = SetKind(ready=(0,), way=Round(decon=60))
    >>> user, other = ListCase(90, ((0,),)), ListCase(70)
    >>> found = find_order([DayList((480, 570, 660), (user, user, other))], [one_set])
    >>> found.orders, found.swaps, found.least
    (((0, 2, 1),), 1, True)
    >>> find_order([DayList((480, 570), (user, user))], [one_set]).proven
    True
    """
    _check(lists, kinds)
    until = monotonic() + seconds
    needs = _scarce_needs(lists, kinds)
    pools: list[Pool] = [pool(kind.ready, kind.way) for kind in kinds]
    search = Search(lists, needs, pools, until)
    first = search.as_it_stands() or search.any_order()
    if first is None:
        return NewOrder(None, not search.stopped, False, 0, search.states)
    near = search.nearer(first)
    swaps = sum(_swaps(order) for order in near)
    better = search.least_order(swaps) if swaps else None
    orders = better or near
    return NewOrder(orders, True, not search.stopped, sum(_swaps(order) for order in orders), search.states)


def _check(lists: Sequence[DayList], kinds: Sequence[SetKind]) -> None:
    for number, one in enumerate(lists):
        if len(one.starts) != len(one.cases):
            raise PlanningError(f"List {number}: {len(one.starts)} starts but {len(one.cases)} cases.")
        if any(later < earlier for earlier, later in zip(one.starts, one.starts[1:], strict=False)):
            raise PlanningError(f"List {number}: its starts are not in order.")
        for place, case in enumerate(one.cases):
            if case.minutes < 1:
                raise PlanningError(f"List {number}: case {place} has no length.")
            if any(not need or not all(0 <= kind < len(kinds) for kind in need) for need in case.needs):
                raise PlanningError(f"List {number}: case {place} needs a kind of set that is not given.")


def _scarce_needs(
    lists: Sequence[DayList], kinds: Sequence[SetKind]
) -> list[list[tuple[tuple[int, ...], ...]]]:
    """Per list and case the needs that can go unmet: no kind that would do has a set for each case."""
    begins = min((one.starts[0] for one in lists if one.starts), default=0)
    wanted = [0] * len(kinds)
    for one in lists:
        for case in one.cases:
            for need in case.needs:
                for kind in set(need):
                    wanted[kind] += 1
    plenty = {
        number
        for number, kind in enumerate(kinds)
        if sum(minute <= begins for minute in kind.ready) >= wanted[number]
    }
    return [
        [tuple(need for need in case.needs if not plenty.intersection(need)) for case in one.cases]
        for one in lists
    ]


def _swaps(order: Sequence[int]) -> int:
    return sum(a > b for n, a in enumerate(order) for b in order[n + 1 :])
