"""What may be left out of a pick list: for every cost saved in a part, the least chance of missing something.

Loss(D) = P(the outcome asks for something in D) is monotone and submodular, and additive inside a class of
units of which an outcome asks for at most one (the sizes of a slot). Two things follow. If more is left out,
some class must bear its share, so the loss grows by at least the m-th smallest of all classes' running sums:
a bound. And once all other classes are decided, the last class is a matter of sorting (of a knapsack where
costs differ). So every choice in all classes but the largest is tried, all that are still in question side
by side, and those that the bound rules out leave.

Second units against waste are left to the sorting as well. Across slots their losses overlap a little, so
that a sum is the most that is lost; how much less it can be is known (`UnitTable.blur`), and stated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.parts import Bools, Floats, Ints
from cases.planning.units import UnitTable

MOST_STATES = 1_024
"""Choices that are followed side by side; beyond it the most promising are."""
LEAST_STATES = 64
"""So many are, however many outcomes there are."""

EVEN = 1e-15
"""Losses this close are equal, and the first found stays."""

Left = tuple[tuple[int, bool], ...]
"""What is left out: a unit of the table by its place, and whether only the second one that comes with it."""


@dataclass(frozen=True)
class Frontier:
    """The best that may be left out of one part.

    Attributes
    ----------
    loss : list of float
        By cost saved (0, 1, ...), the least chance found of asking for something left out, or of a little
        less; only those within the limit.
    left : list of Left
        What is then left out; it saves this much or more.
    hoped : list of float
        Proven lower bounds of the least loss, possibly for more cost saved.
    """

    loss: list[float]
    left: list[Left]
    hoped: list[float]


def frontier(table: UnitTable, limit: float) -> Frontier:
    """The frontier of a part for losses up to `limit`, beside what is lost already."""
    search = _Search(table, limit)
    search.run()
    return search.answer()


@dataclass(frozen=True)
class _States:
    """Choices over the units of all classes but the last.

    `alive` (states, outcomes) are the chances not lost yet, `gone` (states, units) what is left out, `loss`
    and `saved` (states,) what that comes to.
    """

    alive: Floats
    gone: Bools
    loss: Floats
    saved: Ints

    def take(self, kept: Ints | Bools) -> _States:
        return _States(self.alive[kept], self.gone[kept], self.loss[kept], self.saved[kept])

    def beside(self, other: _States) -> _States:
        return _States(
            np.concatenate([self.alive, other.alive]),
            np.concatenate([self.gone, other.gone]),
            np.concatenate([self.loss, other.loss]),
            np.concatenate([self.saved, other.saved]),
        )


class _Search:
    """All choices over the units that may go, class by class, least likely first.

    Units are numbered by their place in `units`. Each has up to two steps: the second unit that comes with
    it goes, then it goes itself.
    """

    def __init__(self, table: UnitTable, limit: float) -> None:
        share = table.p @ table.asks
        # Least likely first; of equals the last in slot and rank, so that the list does not flicker.
        order = np.lexsort((-np.arange(len(share)), share))
        able = (share <= limit) | ((table.extra > 0) & (table.extra * share <= limit))
        self.units = order[able[order]]
        self.whole = share[self.units] <= limit
        self.extra, self.first = table.extra[self.units], table.first[self.units]
        self.second = np.where(self.extra > 0, table.second[self.units], 0)
        self.both = self.first + self.second
        self.p, self.asks = _collapse(table.p, table.asks[:, self.units])
        self.blur = table.blur if (self.extra > 0).any() else 0.0
        # Sums of losses may go beyond the limit by the blur and still be within it.
        self.within, self.limit = limit, limit / (1.0 - self.blur)
        self.even = bool((self.first == 1).all() and (self.second <= 1).all())
        self.classes = _classes(self.asks, self.whole)
        self.line = [unit for members in self.classes[:-1] for unit in members if self.whole[unit]]
        top = int(np.where(self.whole, self.both, self.second).sum())
        self.loss = np.full(top + 1, np.inf)
        self.loss[0] = 0.0
        self.left: list[Left] = [()] * (top + 1)
        self.complete = True

    # What comes out

    def answer(self) -> Frontier:
        """The frontier: what saves more is also an answer for less."""
        loss = np.array(
            [
                self._real(left) if one < np.inf else one
                for one, left in zip(self.loss, self.left, strict=True)
            ]
        )
        left = list(self.left)
        for saved in range(len(loss) - 2, -1, -1):
            if loss[saved + 1] < loss[saved]:
                loss[saved], left[saved] = loss[saved + 1], left[saved + 1]
        within = int((loss <= self.within).sum())
        named = [tuple((int(self.units[unit]), only) for unit, only in some) for some in left[:within]]
        return Frontier(loss[:within].tolist(), named, self._hoped(loss))

    def _real(self, left: Left) -> float:
        """What is really lost without `left`."""
        gone, second = (sorted(some) for some in pieces(left))
        stays = np.where(self.asks[:, second] > 0, 1.0 - self.extra[second], 1.0).prod(axis=1)
        return float(self.p @ (1.0 - stays * ~(self.asks[:, gone] > 0).any(axis=1)))

    def _hoped(self, loss: Floats) -> list[float]:
        if not self.complete:
            hoped = np.append([0.0], self._growth(self._root(), 0)[0])
        elif self.blur:
            hoped = np.minimum.accumulate(self.loss[::-1])[::-1] * (1.0 - self.blur)
        else:
            hoped = loss
        return [float(one) for one in hoped[hoped <= self.within]]

    def _root(self) -> _States:
        none = np.zeros((1, len(self.units)), dtype=np.bool_)
        return _States(self.p[None, :], none, np.zeros(1), np.zeros(1, dtype=np.int64))

    # The search

    def run(self) -> None:
        """Fill `loss` and `left`."""
        if not len(self.units):
            return
        self._drop_greedily()
        states = self._root()
        for place, unit in enumerate(self.line):
            states = self._in_question(states, place)
            grown = states.loss + states.alive @ self.asks[:, unit]
            without = states.take(grown <= self.limit)
            gone = without.gone.copy()
            gone[:, unit] = True
            without = _States(
                without.alive * (self.asks[:, unit] == 0),
                gone,
                grown[grown <= self.limit],
                without.saved + self.both[unit],
            )
            states = without.beside(states)
        self._sort_out(self._in_question(states, len(self.line)))

    def _in_question(self, states: _States, place: int) -> _States:
        """States that may still lead to something better than what is known, capped."""
        growth = np.column_stack([np.zeros(len(states.loss)), self._growth(states, place)])
        total = states.loss[:, None] + growth
        known = np.minimum.accumulate(self.loss[::-1])[::-1]
        reach = states.saved[:, None] + np.arange(total.shape[1])
        better = total < np.append(known, np.inf)[np.minimum(reach, len(known))] - EVEN
        better &= total <= self.limit
        kept = np.flatnonzero(better.any(axis=1))
        most = max(LEAST_STATES, min(MOST_STATES, 8_000_000 // max(1, states.alive.shape[1])))
        if len(kept) > most:
            self.complete = False
            far = (total[kept] <= self.limit).sum(axis=1) + states.saved[kept]
            kept = np.sort(kept[np.lexsort((states.loss[kept], -far))[:most]])
        return states.take(kept)

    def _sort_out(self, states: _States) -> None:
        """The last class, and all second units, for every state at once."""
        if not len(states.loss):
            return
        steps, costs, of = self._steps(states, len(self.line))
        sums = np.column_stack([np.zeros(len(states.loss)), self._sums(steps, costs, of, monotone=False)])
        total = states.loss[:, None] + sums
        reach = states.saved[:, None] + np.arange(total.shape[1])
        for saving in np.unique(reach[total <= self.limit]).tolist():
            here = np.where(reach == saving, total, np.inf)
            state, column = divmod(int(np.argmin(here)), here.shape[1])
            if here[state, column] < self.loss[saving] - EVEN:
                gone = [(unit, False) for unit in np.flatnonzero(states.gone[state]).tolist()]
                more = self._chosen(steps[state], costs, of, column)
                self.loss[saving], self.left[saving] = here[state, column], (*gone, *more)

    def _drop_greedily(self) -> None:
        """Leave out what costs the least chance per point, again and again: a first answer to beat."""
        alive, loss, saved = self.p.copy(), 0.0, 0
        done: dict[int, bool] = {}
        while True:
            share = alive @ self.asks
            offers = []
            for unit in range(len(self.units)):
                if unit not in done and self.extra[unit] > 0:
                    offers.append((self.extra[unit] * share[unit], int(self.second[unit]), unit, True))
                elif self.whole[unit] and done.get(unit, True):
                    offers.append(
                        ((1.0 - self.extra[unit]) * share[unit], int(self.first[unit]), unit, False)
                    )
            if not offers:
                return
            step, cost, unit, only = min(offers, key=lambda offer: offer[0] / offer[1])
            loss, saved = loss + float(step), saved + cost
            if loss > self.limit:
                return
            done[unit] = only
            if not only:
                alive = alive * (self.asks[:, unit] == 0)
            if loss < self.loss[saved] - EVEN:
                self.loss[saved], self.left[saved] = loss, tuple(done.items())

    # Bounds and sums

    def _growth(self, states: _States, place: int) -> Floats:
        """Least growth of the loss if 1, 2, ... more points are saved, per state."""
        steps, costs, of = self._steps(states, place)
        sums = []
        for members in self.classes:
            own = np.isin(of, members)
            if own.any():
                sums.append(self._sums(steps[:, own], costs[own], of[own]))
        return np.sort(np.concatenate(sums, axis=1), axis=1) if sums else np.zeros((len(states.loss), 0))

    def _steps(self, states: _States, place: int) -> tuple[Floats, Ints, Ints]:
        """What each step still open adds to the loss, per state; its points; its unit.

        The second unit's step stands before the unit's own. In a state in which a unit is gone, its steps
        are out of reach.
        """
        share = states.alive @ self.asks
        share[states.gone] = np.inf
        second = np.flatnonzero(self.extra > 0)
        ended = set(self.line[:place])
        first = [u for u in np.flatnonzero(self.whole).tolist() if u not in ended]
        of = np.concatenate([second, np.array(first, dtype=np.int64)])
        factor = np.concatenate([self.extra[second], 1.0 - self.extra[first]])
        costs = np.concatenate([self.second[second], self.first[first]])
        return share[:, of] * factor, costs, of

    def _sums(self, steps: Floats, costs: Ints, of: Ints, *, monotone: bool = True) -> Floats:
        """Least sum of steps that saves 1, 2, ... points (or more, if `monotone`), per state."""
        if self.even:
            return np.asarray(np.cumsum(np.sort(steps, axis=1), axis=1), dtype=np.float64)
        table = np.full((len(steps), int(costs.sum()) + 1), np.inf)
        table[:, 0] = 0.0
        for columns in _by_unit(of):
            before, cost, step = table.copy(), 0, np.zeros(len(steps))
            for column in columns:
                cost, step = cost + int(costs[column]), step + steps[:, column]
                table[:, cost:] = np.minimum(table[:, cost:], before[:, :-cost] + step[:, None])
        if monotone:
            table = np.minimum.accumulate(table[:, ::-1], axis=1)[:, ::-1]
        return table[:, 1:]

    def _chosen(self, steps: Floats, costs: Ints, of: Ints, saving: int) -> Left:
        """What is left out by the least sum of steps that saves so much."""
        if self.even:
            taken = np.argsort(steps, kind="stable")[:saving].tolist()
        else:
            taken = _knapsack(steps, costs, of, saving)
        gone: dict[int, bool] = {}
        for column in taken:
            unit = int(of[column])
            gone[unit] = unit not in gone and self.extra[unit] > 0
        return tuple(gone.items())


def _knapsack(steps: Floats, costs: Ints, of: Ints, saving: int) -> list[int]:
    best: dict[int, tuple[float, list[int]]] = {0: (0.0, [])}
    for columns in _by_unit(of):
        grown = dict(best)
        for start, (total, taken) in best.items():
            cost, step, more = start, total, list(taken)
            for column in columns:
                cost, step = cost + int(costs[column]), step + float(steps[column])
                more = [*more, column]
                if cost not in grown or step < grown[cost][0]:
                    grown[cost] = (step, more)
        best = grown
    return best[saving][1]


def _by_unit(of: Ints) -> list[list[int]]:
    """The columns of each unit, its second unit's before its own."""
    found: dict[int, list[int]] = {}
    for column, unit in enumerate(of.tolist()):
        found.setdefault(unit, []).append(column)
    return list(found.values())


def _classes(asks: Floats, whole: Bools) -> list[list[int]]:
    """Units in classes, no outcome asking for two of a class; greedily, in order; last the one with the most
    that may go as a whole."""
    together = asks.T @ asks > 0
    found: list[list[int]] = []
    for unit in range(asks.shape[1]):
        for members in found:
            if not together[unit, members].any():
                members.append(unit)
                break
        else:
            found.append([unit])
    return sorted(found, key=lambda members: sum(bool(whole[unit]) for unit in members))


def _collapse(p: Floats, asks: Bools) -> tuple[Floats, Floats]:
    """Outcomes that ask for the same units as one; those that ask for none are left out."""
    packed = np.packbits(asks, axis=1) if asks.shape[1] else np.zeros((len(asks), 1), dtype=np.uint8)
    codes = np.ascontiguousarray(packed).view(np.dtype((np.void, packed.shape[1]))).ravel()
    _, first, inverse = np.unique(codes, return_index=True, return_inverse=True)
    total = np.bincount(inverse.ravel(), weights=p, minlength=len(first))
    kept = asks[first].any(axis=1)
    return np.asarray(total[kept], dtype=np.float64), asks[first[kept]].astype(np.float64)


def pieces(left: Sequence[tuple[int, bool]]) -> tuple[set[int], set[int]]:
    """Units that are left out, and those of which only the second one is."""
    return {unit for unit, only in left if not only}, {unit for unit, only in left if only}
