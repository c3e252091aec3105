"""A block filled: its boxes, and the second units against waste that are brought with them.

What is worked out once is kept, for cases that are alike in a block on one shelf.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cases.planning.boxes import Block, Entries
from cases.planning.bringing import Box, SlotRanks, Stock
from cases.planning.kinds import SLACK, CaseDemand
from cases.planning.parts import Bools, Floats, Ints, Part
from cases.planning.splitting import Menu, undominated

Second = tuple[int, int]
"""The place of a slot in its block, and the index of the item of which a second unit is brought."""
Least = tuple[Box | None, ...]
"""The minimum of each slot of a block."""


@dataclass(frozen=True)
class Choice:
    """Boxes with some second units: points in all, the chance that all drawn is brought, which units."""

    cost: int
    chance: float
    boxes: Least
    seconds: tuple[Second, ...]


class Choosing:
    """The choices of one block as a menu: boxes, and points spent on second units.

    What second units gain is first taken at its most; `settle` puts better figures in the place of one
    choice of boxes. Which were settled before does not change what a search that settles all it rests on
    ends with.

    Attributes
    ----------
    menu : cost and loss of each choice, those left out that cost more for no less
    first : the menu before anything was settled
    entry, place : int arrays
        The boxes of each choice, and its place among their figures.
    """

    def __init__(self, entries: Entries, gains: Menu, goal: float, settled: Callable[[int], Menu]) -> None:
        self._settled, self._done = settled, np.zeros(len(entries.cost), dtype=np.bool_)
        steps, most = gains
        self._done[:] = len(steps) == 1
        full = entries.full[:, None]
        chance = np.minimum(full, entries.bare[:, None] + most)
        # More second units than bring an entry to its full chance are of no use.
        useful = np.ones(chance.shape, dtype=np.bool_)
        useful[:, 1:] = chance[:, :-1] < full
        useful &= chance >= goal - SLACK
        entry, more = np.nonzero(useful)
        self._gather(entries.cost[entry] + steps[more], 1.0 - chance[useful], entry, np.zeros_like(entry))
        self.first = self.menu

    def _gather(self, cost: Ints, loss: Floats, entry: Ints, place: Ints) -> None:
        kept = undominated(cost, loss)
        self.menu: Menu = (cost[kept], loss[kept])
        self.entry, self.place = entry[kept], place[kept]
        self._all = (cost, loss, entry, place)

    def settle(self, number: int) -> bool:
        """Take the boxes of a choice at their settled figures; False where they are."""
        own = int(self.entry[number])
        if self._done[own]:
            return False
        self._done[own] = True
        points, lost = self._settled(own)
        cost, loss, entry, place = self._all
        others = entry != own
        self._gather(
            np.concatenate([cost[others], points]),
            np.concatenate([loss[others], lost]),
            np.concatenate([entry[others], np.full(len(points), own)]),
            np.concatenate([place[others], np.arange(len(points))]),
        )
        return True


class Filling:
    """The choices of one block over what is there, worked out once."""

    def __init__(self, block: Block) -> None:
        self.block = block
        self._entries: dict[tuple[float, Least], Entries] = {}
        self._true: dict[tuple[float, Least], Choosing] = {}
        self._hoped: dict[tuple[float, Least], Choosing] = {}
        self._choices: dict[tuple[float, Least, int], list[Choice]] = {}

    def true(self, goal: float, minimum: Least) -> Choosing:
        """The menu that is settled to what the second units really give."""

        def settled(number: int) -> Menu:
            own = self._at(goal, minimum, number)
            return np.array([one.cost for one in own]), 1.0 - np.array([one.chance for one in own])

        return self._kept(self._true, goal, minimum, settled)

    def hoped(self, goal: float, minimum: Least) -> Choosing:
        """The menu that is settled to lower bounds of the loss, the closest that are known."""

        def settled(number: int) -> Menu:
            entries = self._boxes(goal, minimum)
            held = self.block.held(entries.boxes(number))
            steps, most = _summed(*_useful(self.block, held)[1:])
            chance = np.minimum(entries.full[number], entries.bare[number] + most)
            return entries.cost[number] + steps, 1.0 - chance

        return self._kept(self._hoped, goal, minimum, settled)

    def complete(self, goal: float, minimum: Least) -> bool:
        """Whether no boxes were left out."""
        return self._boxes(goal, minimum).complete

    def at(self, goal: float, minimum: Least, number: int) -> Choice:
        """A choice of the true menu."""
        menu = self.true(goal, minimum)
        return self._at(goal, minimum, int(menu.entry[number]))[int(menu.place[number])]

    def _kept(
        self,
        known: dict[tuple[float, Least], Choosing],
        goal: float,
        minimum: Least,
        settled: Callable[[int], Menu],
    ) -> Choosing:
        if (goal, minimum) not in known:
            known[goal, minimum] = Choosing(self._boxes(goal, minimum), self._gains, goal, settled)
        return known[goal, minimum]

    def _boxes(self, goal: float, minimum: Least) -> Entries:
        if (goal, minimum) not in self._entries:
            self._entries[goal, minimum] = self.block.entries(goal, minimum)
        return self._entries[goal, minimum]

    def _at(self, goal: float, minimum: Least, number: int) -> list[Choice]:
        key = (goal, minimum, number)
        if key not in self._choices:
            self._choices[key] = _choices(self.block, self._boxes(goal, minimum), number)
        return self._choices[key]

    @cached_property
    def _gains(self) -> Menu:
        """At most so much chance is gained by second units of so many points, points ascending from 0.

        A second unit of item i of slot s turns the factor 1 - e_s of the outcomes that draw i into 1. The
        gain of several is at most the sum of e_s P(i drawn) over them, whatever the boxes; taken by gain per
        point, the last in part, that bounds any choice.
        """
        return _summed(*_useful(self.block, None)[1:])


def _summed(gain: Floats, cost: Ints) -> Menu:
    points = np.concatenate([[0], np.cumsum(cost)])
    steps = np.arange(points[-1] + 1)
    return steps, np.interp(steps, points, np.concatenate([[0.0], np.cumsum(gain)]))


def filled(
    case: CaseDemand,
    part: Part,
    ranks: Sequence[SlotRanks],
    stock: Stock,
    known: dict[Hashable, Filling],
) -> Filling:
    """The filling of a part, from `known` if an equal one has been worked out for the same shelf."""
    key = (
        tuple((case.slots[slot], ranks[slot]) for slot in part.slots),
        tuple(tuple(map(stock.units.get, case.slots[slot].items)) for slot in part.slots),
        tuple(
            tuple((o.item, stock.sets.get(o.item, 0) > 0, o.serves) for o in case.needs[need].options)
            for need in part.needs
        ),
        part.slots,
        part.p.tobytes(),
        part.rows.tobytes(),
    )
    found = known.get(key)
    if found is None:
        found = known[key] = Filling(Block(case, part, ranks, stock))
    return found


def _choices(block: Block, entries: Entries, number: int) -> list[Choice]:
    first, boxes = int(entries.cost[number]), entries.boxes(number)
    held = block.held(boxes)
    useful, _, cost = _useful(block, held)
    if not useful:
        return [Choice(first, float(entries.full[number]), boxes, ())]
    p = block.p[held]
    steps = np.arange(len(useful) + 1)[:, None]
    weight = np.ones((len(useful) + 1, len(p)))
    for place, extra in enumerate(block.extra):
        if extra > 0:
            line = np.full(len(block.spare[place]), len(useful) + 1)
            for n, (at, index) in enumerate(useful):
                if at == place:
                    line[index] = n
            # "Not used" comes last, and is never opened twice.
            line[-1] = -1
            of_row = line[block.drawn[place][held]]
            weight *= np.where(of_row < steps, 1.0, 1.0 - extra)
    chance = (weight @ p).tolist()
    points = np.concatenate([[0], np.cumsum(cost)]).tolist()
    return [Choice(first + points[n], chance[n], boxes, tuple(useful[:n])) for n in range(len(chance))]


def _useful(block: Block, held: Bools | None) -> tuple[list[Second], Floats, Ints]:
    """Second units that are there, with gain and points, the greatest gain per point first."""
    seconds: list[Second] = []
    gains_of: list[Floats] = []
    costs: list[Ints] = []
    p = block.p if held is None else block.p[held]
    for place, (extra, spare) in enumerate(zip(block.extra, block.spare, strict=True)):
        if extra > 0 and spare.any():
            drawn = block.drawn[place] if held is None else block.drawn[place][held]
            share = np.bincount(drawn + 1, weights=p, minlength=len(spare))[1:]
            here = np.flatnonzero((share > 0) & spare[:-1])
            seconds += [(place, index) for index in here.tolist()]
            gains_of.append(np.asarray(extra * share[here], dtype=np.float64))
            costs.append(block.unit_costs(block.part.slots[place], 2)[here])
    gain = np.concatenate([np.zeros(0), *gains_of])
    cost = np.concatenate([np.zeros(0, dtype=np.int64), *costs])
    order = np.argsort(-gain / np.maximum(cost, 1), kind="stable")
    return [seconds[n] for n in order.tolist()], gain[order], cost[order]
