"""The search for a good purchase: what is added to a plan, step by step, by a value that is asked in batches.

A plan is a whole number of units of each item. Three climbs start from nothing and add by gain per cost:
single items; single items and pairs; single items and bundles (what a case lacks for one of its outcomes,
since three empty slots gain nothing until all three are filled). The best of them is improved by swaps: one
bought unit goes, one or two others come, until none gains. A heuristic: it need not find the best plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import Protocol

import numpy as np

from cases.planning.parts import Floats, Ints

Move = tuple[tuple[int, int], ...]
"""(item number, units to add), each item once."""

GRAIN = 1e-13
"""Values nearer than this are equal."""

PAIRED = 24
"""Pairs are made of so many items at most: those that help most by themselves first."""

MOST_SWAPS = 200


@dataclass(frozen=True)
class Purse:
    """What may be spent.

    Attributes
    ----------
    cost : float array, shape (items,), above nought
    most : int array, shape (items,)
        Units that may be added.
    budget : float
        In the unit of `cost`.
    """

    cost: Floats
    most: Ints
    budget: float

    def price(self, plan: Ints) -> float:
        """What a plan costs."""
        return float(plan @ self.cost)

    def allows(self, plan: Ints, move: Move) -> bool:
        """Whether the plan with the move is within the budget and what may be added."""
        if any(plan[item] + n > self.most[item] for item, n in move):
            return False
        price = self.price(plan) + sum(float(self.cost[item]) * n for item, n in move)
        return price <= self.budget * (1.0 + 1e-12)

    def price_of(self, move: Move) -> float:
        """What a move costs; less than nought where it gives more back than it takes."""
        return sum(float(self.cost[item]) * n for item, n in move)


class Value(Protocol):
    """What plans are worth."""

    def worth(self, plan: Ints) -> float:
        """Of one plan."""

    def after(self, plan: Ints, moves: Sequence[Move]) -> Floats:
        """Of the plan after each of the moves, shape (moves,)."""

    def bundles(self, plan: Ints) -> Sequence[Move]:
        """What is missing for one outcome of one case, for each that is worth a try."""


def search(value: Value, purse: Purse) -> Ints:
    """A good plan within the purse, shape (items,): the best of three climbs, then swaps."""
    starts = [_climb(value, purse, pairs=pairs, bundles=b) for pairs, b in ((0, 0), (1, 0), (0, 1))]
    return _swap(value, purse, max(starts, key=lambda plan: _rank(value, purse, plan)))


def trimmed(value: Value, plan: Ints, grain: float = GRAIN) -> Ints:
    """The plan without the units whose absence costs no more than `grain`, one after the other."""
    plan = plan.copy()
    for item in np.flatnonzero(plan).tolist():
        while plan[item] and value.after(plan, [((item, -1),)])[0] >= value.worth(plan) - grain:
            plan[item] -= 1
    return plan


def _rank(value: Value, purse: Purse, plan: Ints) -> tuple[float, float]:
    return round(value.worth(plan), 13), -purse.price(plan)


def _climb(value: Value, purse: Purse, *, pairs: int, bundles: int) -> Ints:
    plan = np.zeros(len(purse.cost), dtype=np.int64)
    while True:
        moves = [move for move in _singles(purse) if purse.allows(plan, move)]
        if pairs:
            moves += _pairs(value, purse, plan, moves)
        if bundles:
            moves += [move for move in value.bundles(plan) if move and purse.allows(plan, move)]
        if not moves:
            return trimmed(value, plan)
        gains = value.after(plan, moves) - value.worth(plan)
        prices = np.array([purse.price_of(move) for move in moves])
        best = int((gains / prices).argmax())
        if gains[best] <= GRAIN:
            return trimmed(value, plan)
        plan = _moved(plan, moves[best])


def _singles(purse: Purse) -> list[Move]:
    return [((item, 1),) for item in range(len(purse.cost))]


def _pairs(value: Value, purse: Purse, plan: Ints, singles: Sequence[Move]) -> list[Move]:
    if not singles:
        return []
    gains = value.after(plan, singles)
    first = [singles[n][0][0] for n in np.argsort(-gains, kind="stable")[:PAIRED].tolist()]
    moves = [_joined(a, b) for a, b in combinations_with_replacement(sorted(first), 2)]
    return [move for move in moves if purse.allows(plan, move)]


def _joined(a: int, b: int) -> Move:
    return ((a, 2),) if a == b else ((a, 1), (b, 1))


def _swap(value: Value, purse: Purse, plan: Ints) -> Ints:
    for _ in range(MOST_SWAPS):
        moves = [move for move in _swaps(value, purse, plan) if purse.allows(plan, move)]
        if not moves:
            break
        values = value.after(plan, moves)
        now = _rank(value, purse, plan)
        best = max(range(len(moves)), key=lambda n: (round(float(values[n]), 13), -purse.price_of(moves[n])))
        better = _moved(plan, moves[best])
        if _rank(value, purse, better) <= now:
            break
        plan = better
    return trimmed(value, plan)


def _swaps(value: Value, purse: Purse, plan: Ints) -> list[Move]:
    """One bought unit out, one or two others in."""
    found: list[Move] = []
    for gone in np.flatnonzero(plan).tolist():
        less = _moved(plan, ((gone, -1),))
        singles = [move for move in _singles(purse) if move[0][0] != gone and purse.allows(less, move)]
        for move in [*singles, *_pairs(value, purse, less, singles)]:
            if all(item != gone for item, _ in move):
                found.append(tuple(sorted([(gone, -1), *move])))
    return found


def _moved(plan: Ints, move: Move) -> Ints:
    plan = plan.copy()
    for item, n in move:
        plan[item] += n
    return plan
