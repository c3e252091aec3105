"""The search of `ordering`: partial orders as states; depth first for any, by cost for the least change."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from heapq import heappop, heappush
from itertools import accumulate, product
from time import monotonic
from typing import NamedTuple

from cases.planning.ordering_kinds import DayList
from cases.planning.ordering_pools import Pool, State

ENDED = 2**62
"""Next start of a list that is complete."""

_LOOK_AT_CLOCK = 128

_FIRST_TRY = 200
"""Partial orders that the first try may look at; each later one may look at a quarter more."""

Orders = tuple[tuple[int, ...], ...]
Needs = tuple[tuple[int, ...], ...]
Path = tuple[int, int, "Path"] | None


class _Node(NamedTuple):
    """Cases placed (a bit mask per list), each list's next start, whether one of it moved, what is there."""

    placed: tuple[int, ...]
    nexts: tuple[int, ...]
    moved: tuple[bool, ...]
    pools: tuple[State, ...]


class _Step(NamedTuple):
    which: int
    case: int
    swaps: int
    node: _Node


class _Uses(NamedTuple):
    """The uses of one kind still to come.

    Their lengths; minutes before which the first, second, ... cannot begin, ascending; minutes by which the
    last, last but one, ... must have ended, descending.
    """

    lengths: Sequence[int]
    begins: Sequence[int]
    ends: Sequence[int]


class _Line:
    """One list: what `starts_after` needs, which cases stay, which are alike."""

    def __init__(self, given: DayList, needs: Sequence[Needs]) -> None:
        self.size = len(given.cases)
        self.starts = given.starts
        self.minutes = [case.minutes for case in given.cases]
        ends = [start + minutes for start, minutes in zip(self.starts, self.minutes, strict=True)]
        self.gaps = [max(0, later - end) for later, end in zip(self.starts[1:], ends, strict=False)]
        # Without overlaps the starts of an untouched list come out by the same sum as those of a changed one.
        self.overlaps = any(later < end for later, end in zip(self.starts[1:], ends, strict=False))
        self.fixed = [case.fixed for case in given.cases]
        self.ways = [list(dict.fromkeys(product(*own))) for own in needs]
        self.only = [[need[0] for need in own if len(need) == 1] for own in needs]
        # Kinds of which some case uses several sets at once.
        self.doubled = {kind for own in self.only for kind in own if own.count(kind) > 1}
        alike: dict[tuple[int, Needs], int] = {}
        self.twin = [-1] * self.size
        for case in range(self.size):
            if not self.fixed[case]:
                key = (self.minutes[case], tuple(needs[case]))
                self.twin[case] = alike.get(key, -1)
                alike[key] = case
        self._gaps_left = [sum(self.gaps[place:]) for place in range(self.size + 1)]
        self._known: dict[tuple[int, int], dict[int, _Uses]] = {}
        self._may = [[kind for need in own for kind in need] for own in needs]
        self._wanted: dict[int, tuple[int, ...]] = {}

    def wanted(self, placed: int, kinds: int) -> tuple[int, ...]:
        """Per kind how many uses may still come, by the mask of what is placed."""
        known = self._wanted.get(placed)
        if known is None:
            counts = [0] * kinds
            for case in range(self.size):
                if not placed >> case & 1:
                    for kind in self._may[case]:
                        counts[kind] += 1
            known = self._wanted[placed] = tuple(counts)
        return known

    def uses(self, placed: int, start: int) -> dict[int, _Uses]:
        """Per kind what must still use it, by the mask of what is placed and the start of what comes next."""
        known = self._known.get((placed, start))
        if known is None:
            rest = [case for case in range(self.size) if not placed >> case & 1]
            own = [self.minutes[case] for case in rest]
            end = start + sum(own) + self._gaps_left[placed.bit_count()]
            if self.overlaps:
                end = max(end, self.starts[-1] + max(own, default=0))
            lengths: dict[int, list[int]] = {}
            for case in sorted(rest, key=self.minutes.__getitem__):
                for kind in self.only[case]:
                    lengths.setdefault(kind, []).append(self.minutes[case])
            known = {}
            for kind, found in sorted(lengths.items()):
                # A list has one case at a time: its first and its last uses stand one after the other.
                alone = kind not in self.doubled
                before = (0, *accumulate(found[:-1])) if alone else (0,) * len(found)
                begins = tuple([start + minutes for minutes in before])
                known[kind] = _Uses(tuple(found), begins, tuple([end - minutes for minutes in before]))
            self._known[placed, start] = known
        return known


class Search:
    """One search; `stopped`: it ran out of time; `states`: how many partial orders it looked at."""

    def __init__(
        self, lists: Sequence[DayList], needs: Sequence[Sequence[Needs]], pools: Sequence[Pool], until: float
    ) -> None:
        self._lines = [_Line(one, own) for one, own in zip(lists, needs, strict=True)]
        self._pools = list(pools)
        self._until = until
        self._dead: dict[tuple[object, ...], list[tuple[int, ...]]] = {}
        self._lots = random.Random(1)  # noqa: S311  # nosec B311 - repeatable, and no secret
        self._pause = 0
        self.states, self.stopped = 0, False

    def as_it_stands(self) -> Orders | None:
        """The orders as they stand, if nobody waits."""
        orders = tuple(tuple(range(line.size)) for line in self._lines)
        return orders if self._holds(self._first(), orders) else None

    def any_order(self) -> Orders | None:
        """An order without waiting, found depth first, near the order that stands; None if none was found."""
        limit = _FIRST_TRY
        while not self.stopped:
            self._pause = self.states + limit
            steps = self._deeper(self._first())
            if steps is not None:
                return self._orders(reversed(steps))
            if self.states < self._pause:
                return None
            # The rest of a try is rarely better than its beginning: another, with other choices first.
            limit += limit // 4
        return None

    def nearer(self, orders: Orders) -> Orders:
        """These orders with neighbours put back as they stood, pair by pair, while nobody waits."""
        lines = [list(order) for order in orders]
        changed = True
        while changed and not self.stopped:
            changed = False
            for line in lines:
                for place in range(len(line) - 1):
                    if line[place] > line[place + 1]:
                        line[place], line[place + 1] = line[place + 1], line[place]
                        if self._holds(self._first(), lines):
                            changed = True
                        else:
                            line[place], line[place + 1] = line[place + 1], line[place]
        return tuple(tuple(line) for line in lines)

    def _holds(self, node: _Node, orders: Sequence[Sequence[int]]) -> bool:
        """Whether nobody waits in these orders, from here on."""
        if self._complete(node):
            return True
        self._count()
        which = node.nexts.index(min(node.nexts))
        case = orders[which][node.placed[which].bit_count()]
        return any(self._holds(step.node, orders) for step in self._steps(node, case))

    def least_order(self, below: int) -> Orders | None:
        """The order that swaps fewest pairs, if they are fewer than `below`; by ascending cost."""
        first = self._first()
        seen = {first}
        line: list[tuple[int, int, int, _Node, Path]] = [(0, 0, 0, first, None)]
        number = 0
        while line and not self.stopped:
            cost, depth, _, node, path = heappop(line)
            if self._complete(node):
                return self._orders(_unwound(path))
            self._count()
            if self._hopeless(node):
                continue
            for step in self._steps(node):
                after = cost + step.swaps
                if after < below and step.node not in seen:
                    seen.add(step.node)
                    number += 1
                    heappush(line, (after, depth - 1, number, step.node, (step.which, step.case, path)))
        return None

    def _first(self) -> _Node:
        nexts = tuple(line.starts[0] if line.size else ENDED for line in self._lines)
        moved = tuple(not line.overlaps for line in self._lines)
        now = min(nexts, default=ENDED)
        masks = (0,) * len(self._lines)
        pools = [one.first for one in self._pools]
        return _Node(masks, nexts, moved, self._kept(pools, masks, now) if masks else ())

    def _complete(self, node: _Node) -> bool:
        return all(start == ENDED for start in node.nexts)

    def _count(self) -> None:
        self.states += 1
        if self.states % _LOOK_AT_CLOCK == 0 and monotonic() > self._until:
            self.stopped = True

    def _orders(self, steps: Iterator[tuple[int, int]]) -> Orders:
        orders: list[list[int]] = [[] for _ in self._lines]
        for which, case in steps:
            orders[which].append(case)
        return tuple(tuple(order) for order in orders)

    def _deeper(self, node: _Node) -> list[tuple[int, int]] | None:
        """The rest of an order from here, last step first; None if there is none or time is up."""
        if self._complete(node):
            return []
        self._count()
        if self._buried(node):
            return None
        slack = self._slack(node)
        if any(spare < 0 for spare in slack.values()):
            return None
        for step in sorted(self._steps(node), key=lambda step: self._urgency(step, slack)):
            if self.stopped or self.states >= self._pause:
                return None
            found = self._deeper(step.node)
            if found is not None:
                found.append((step.which, step.case))
                return found
        if not self.stopped and self.states < self._pause:
            self._bury(node)
        return None

    def _steps(self, node: _Node, only: int | None = None) -> Iterator[_Step]:
        """Each way to fill the next position, of the list whose next start is first; `only` with one case."""
        start = min(node.nexts)
        which = node.nexts.index(start)
        line, placed = self._lines[which], node.placed[which]
        place = placed.bit_count()
        choice = [place] if line.fixed[place] else range(line.size) if only is None else [only]
        for case in choice:
            if placed >> case & 1 or (line.fixed[case] and case != place):
                continue
            if line.twin[case] >= 0 and not placed >> line.twin[case] & 1:
                continue
            end = start + line.minutes[case]
            moved = node.moved[which] or case != place
            if place + 1 == line.size:
                follows = ENDED
            else:
                follows = end + line.gaps[place] if moved else line.starts[place + 1]
            nexts = (*node.nexts[:which], follows, *node.nexts[which + 1 :])
            now = min(nexts)
            overtaken = (((1 << case) - 1) & ~placed).bit_count()
            masks = (*node.placed[:which], placed | 1 << case, *node.placed[which + 1 :])
            for way in line.ways[case]:
                pools = self._taken(node.pools, way, start, end)
                if pools is not None:
                    after = _Node(
                        masks,
                        nexts,
                        (*node.moved[:which], moved, *node.moved[which + 1 :]),
                        self._kept(pools, masks, now),
                    )
                    yield _Step(which, case, overtaken, after)

    def _kept(self, pools: Sequence[State], masks: tuple[int, ...], now: int) -> tuple[State, ...]:
        """What of the pools can still matter."""
        lists = [line.wanted(mask, len(self._pools)) for line, mask in zip(self._lines, masks, strict=True)]
        return tuple(
            [
                one.at(state, now, sum(uses))
                for one, state, uses in zip(self._pools, pools, zip(*lists, strict=True), strict=True)
            ]
        )

    def _taken(
        self, pools: tuple[State, ...], way: tuple[int, ...], start: int, end: int
    ) -> list[State] | None:
        left = list(pools)
        for kind in way:
            left[kind] = self._pools[kind].take(left[kind], start, end)
            if left[kind] is None:
                return None
        return left

    def _urgency(self, step: _Step, slack: dict[int, int]) -> tuple[float, float]:
        """Cases that use what is tightest come first, by lot where that is alike."""
        least = min((slack[kind] for kind in self._lines[step.which].only[step.case]), default=ENDED)
        return (least, self._lots.random())

    # What need not be tried

    def _hopeless(self, node: _Node) -> bool:
        return self._buried(node) or any(spare < 0 for spare in self._slack(node).values())

    def _slack(self, node: _Node) -> dict[int, int]:
        """Per kind with uses to come, minutes to spare for them at the most; below nought it cannot be."""
        lists: dict[int, list[_Uses]] = {}
        for line, placed, start in zip(self._lines, node.placed, node.nexts, strict=True):
            if start != ENDED:
                for kind, uses in line.uses(placed, start).items():
                    lists.setdefault(kind, []).append(uses)
        found: dict[int, int] = {}
        for kind, several in lists.items():
            sets = sorted(self._pools[kind].soonest(node.pools[kind]))
            in_turn = len(self._lines) == 1 and kind not in self._lines[0].doubled
            found[kind] = _spare(_joined(several), sets, self._pools[kind].way, in_turn=in_turn)
        return found

    def _where(self, node: _Node) -> tuple[tuple[object, ...], tuple[int, ...]]:
        """What must be equal to compare two states, and the minutes that compare number by number."""
        equal: list[object] = [node.placed, node.nexts, node.moved]
        minutes: list[int] = []
        for one, state in zip(self._pools, node.pools, strict=True):
            if one.sooner:
                minutes += state
            else:
                equal.append(state)
        return tuple(equal), tuple(minutes)

    def _buried(self, node: _Node) -> bool:
        key, minutes = self._where(node)
        return any(
            all(a <= b for a, b in zip(other, minutes, strict=True)) for other in self._dead.get(key, ())
        )

    def _bury(self, node: _Node) -> None:
        key, minutes = self._where(node)
        others = self._dead.setdefault(key, [])
        others[:] = [
            other for other in others if not all(b <= a for a, b in zip(other, minutes, strict=True))
        ]
        others.append(minutes)


def _unwound(path: Path) -> Iterator[tuple[int, int]]:
    steps = []
    while path is not None:
        which, case, path = path
        steps.append((which, case))
    return reversed(steps)


def _joined(several: Sequence[_Uses]) -> _Uses:
    """The uses of several lists as those of one."""
    if len(several) == 1:
        return several[0]
    return _Uses(
        [length for uses in several for length in uses.lengths],
        sorted([minute for uses in several for minute in uses.begins]),
        sorted([minute for uses in several for minute in uses.ends], reverse=True),
    )


def _spare(uses: _Uses, sets: list[int], way: int, *, in_turn: bool) -> int:
    """Minutes to spare at the most for these uses by sets that are there from `sets` on (ascending).

    Taken one after the other, each as short as the shortest, each must end by its minute. And n uses by m
    sets leave n - m ways back: from when each set is there until the end there must be time for all uses
    and these ways.
    """
    if not sets:
        return -1
    number, shortest = len(uses.lengths), min(uses.lengths)
    comes = list(sets)
    for place in range(number):
        begins = max(heappop(comes), uses.begins[place])
        if begins + shortest > uses.ends[number - 1 - place]:
            return -1
        heappush(comes, begins + shortest + way)
    spare = 0
    for begin, end, minute in zip(uses.begins, uses.ends, sets, strict=False):
        spare += end - max(begin, minute)
    if in_turn and len(sets) == 2:
        # Between two uses of one set there is one of the other, which may be longer than the way.
        spare -= sum(length - way for length in sorted(uses.lengths)[:-2] if length > way)
    return spare - sum(uses.lengths) - way * (number - min(number, len(sets)))
