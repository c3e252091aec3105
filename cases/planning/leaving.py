"""What may be left out of a pick list: for every number of units left out of a part, the least chance of
missing one.

Loss(D) = P(the outcome asks for something in D) is monotone and submodular, and additive inside a class of
units of which an outcome asks for at most one. That gives the bound: if m more are left out, some class
must bear its share, so the loss grows by at least the m-th smallest of all classes' running sums of
residual losses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.fit import Joint, marginals
from cases.planning.parts import Bools, Floats
from cases.planning.readings import open_out, read

MOST_NODES = 1_500
"""Nodes of the search; beyond it the better of what was found and of dropping one by one is taken."""

MOST_LISTED = 20_000
"""Outcomes, second units opened out, that are listed for the search; beyond it chances are added up."""

_EVEN = 1e-15

Unit = tuple[str, int]
"""An item and which of its units it is: 1 for the first, 2 for the second."""


@dataclass(frozen=True)
class Frontier:
    """Best lists of one part.

    Attributes
    ----------
    loss : list of float
        By number left out (0, 1, ...), the least chance found of asking for one of them; only those within
        the limit.
    left : list of tuple of Unit
        The units then left out.
    hoped : list of float
        Proven lower bounds of `loss`, possibly for more units; equal to `loss` where the search was complete.
    """

    loss: list[float]
    left: list[tuple[Unit, ...]]
    hoped: list[float]


def frontier(law: Joint, number: int, limit: float, given: frozenset[str] = frozenset()) -> Frontier:
    """Frontier of part `number` of a case without needs, for losses up to `limit`.

    The first unit of each item in `given` is brought in any case and is not up for choice.
    """
    case, part = law.case, law.parts[number]
    if len(part.p) << sum(case.slots[slot].extra > 0 for slot in part.slots) > MOST_LISTED:
        return _by_sums(law, number, limit, given)
    outcomes = open_out(read(case, part, lambda item: False))
    order = [item for slot in part.slots for item in case.slots[slot].items]
    most: dict[str, int] = {}
    for outcome in outcomes:
        for item, n in outcome.units:
            most[item] = max(most.get(item, 0), n)
    first = {item: 2 if item in given else 1 for item in order}
    units = [(item, k) for item in dict.fromkeys(order) for k in range(first[item], most.get(item, 0) + 1)]
    place = {unit: column for column, unit in enumerate(units)}
    asks = np.zeros((len(outcomes), len(units)), dtype=np.bool_)
    for row, outcome in enumerate(outcomes):
        for item, n in outcome.units:
            for k in range(first[item], n + 1):
                asks[row, place[item, k]] = True
    p = np.array([outcome.p for outcome in outcomes])
    search = _Search(p, asks, limit)
    search.run()
    left = [tuple(units[c] for c in sorted(chosen)) for chosen in search.chosen]
    return Frontier(search.loss, left, search.hoped())


def _by_sums(law: Joint, number: int, limit: float, given: frozenset[str]) -> Frontier:
    """Frontier of a part too large to list: P(asking for any unit left out) is at most the sum of their
    chances.

    Lower bounds as in the search: the items of one slot exclude each other, so within a slot the chances do
    add.
    """
    case, part = law.case, law.parts[number]
    asked = law.asked
    order = dict.fromkeys(item for slot in part.slots for item in case.slots[slot].items)
    units = []
    for item in order:
        tails = np.cumsum(asked.get(item, np.ones(1))[::-1])[::-1].tolist()
        units += [(tails[k], (item, k)) for k in range(2 if item in given else 1, len(tails))]
    # Least likely first; of one item the later unit first, of equals the last in slot and rank.
    units = [unit for _, unit in sorted(enumerate(units), key=lambda one: (one[1][0], -one[0]))]
    loss: list[float] = [0.0]
    left: list[tuple[Unit, ...]] = [()]
    for share, unit in units:
        if loss[-1] + share > limit:
            break
        loss.append(loss[-1] + share)
        left.append((*left[-1], unit))
    shares = marginals(law)
    sums: list[float] = []
    for slot in part.slots:
        own = case.slots[slot]
        first = [
            p for item, p in zip(own.items, shares[slot].tolist(), strict=True) if p > 0 and item not in given
        ]
        sums += np.cumsum(np.sort(first)).tolist()
    later = sum(unit[1] > 1 for _, unit in units)
    hoped = [0.0] * (1 + later) + [growth for growth in sorted(sums) if growth <= limit]
    return Frontier(loss, left, hoped)


class _Search:
    """Depth first over the units that may go, least likely first.

    `p` has shape (outcomes,), `asks` shape (outcomes, units).
    """

    def __init__(self, p: Floats, asks: Bools, limit: float) -> None:
        share = p @ asks
        # Least likely first; of equals the last in slot and rank, so that the list does not flicker.
        free = [c for c in np.lexsort((-np.arange(len(share)), share)).tolist() if share[c] <= limit]
        self._free = free
        self._p, kept = _collapse(p, asks[:, free])
        self._asks = kept.astype(np.float64)
        self._spared = 1.0 - self._asks
        self._limit = limit
        self._classes = _classes(kept)
        self._nodes = 0
        self.loss: list[float] = [0.0]
        self.chosen: list[tuple[int, ...]] = [()]
        self._root: list[float] = []

    @property
    def complete(self) -> bool:
        """Whether the search ended by itself."""
        return self._nodes <= MOST_NODES

    def hoped(self) -> list[float]:
        """Lower bounds of the loss per number left out."""
        return self.loss if self.complete else self._root

    def run(self) -> None:
        """Fill `loss` and `chosen`."""
        if len(self._classes) <= 1:
            self._by_rank()
            return
        self._root = [
            0.0,
            *(b for b in self._bounds(self._p, list(range(len(self._free)))) if b <= self._limit),
        ]
        self._drop_greedily()
        self._deepen(self._p, 0.0, (), list(range(len(self._free))))

    def _keep(self, loss: float, chosen: Sequence[int]) -> None:
        n = len(chosen)
        columns = tuple(self._free[c] for c in chosen)
        if n == len(self.loss):
            self.loss.append(loss)
            self.chosen.append(columns)
        elif n < len(self.loss) and loss < self.loss[n] - _EVEN:
            self.loss[n], self.chosen[n] = loss, columns

    def _by_rank(self) -> None:
        """One class: losses add, so the least likely go first."""
        share = self._p @ self._asks
        total, chosen = 0.0, []
        for c in range(len(self._free)):
            total += float(share[c])
            chosen.append(c)
            if total <= self._limit:
                self._keep(total, chosen)

    def _drop_greedily(self) -> None:
        """Leave out the unit of least residual loss, again and again."""
        alive, loss = self._p.copy(), 0.0
        chosen: list[int] = []
        rest = list(range(len(self._free)))
        while rest:
            residual = (alive @ self._asks)[rest]
            c = rest.pop(int(np.argmin(residual)))
            loss += float(residual.min())
            if loss > self._limit:
                return
            chosen.append(c)
            alive = alive * self._spared[:, c]
            self._keep(loss, chosen)

    def _bounds(self, alive: Floats, rest: Sequence[int]) -> list[float]:
        """Least growth of the loss if 1, 2, ... more of `rest` go."""
        residual = alive @ self._asks
        still = set(rest)
        sums = [np.cumsum(np.sort(residual[[c for c in members if c in still]])) for members in self._classes]
        return np.sort(np.concatenate(sums)).tolist()  # type: ignore[no-any-return]

    def _deepen(self, alive: Floats, loss: float, chosen: tuple[int, ...], rest: list[int]) -> None:
        self._nodes += 1
        if not rest or not self.complete:
            return
        promising = False
        for more, growth in enumerate(self._bounds(alive, rest), start=len(chosen) + 1):
            if loss + growth > self._limit:
                break
            if more >= len(self.loss) or loss + growth < self.loss[more] - _EVEN:
                promising = True
                break
        if not promising:
            return
        c, others = rest[0], rest[1:]
        grown = loss + float(alive @ self._asks[:, c])
        if grown <= self._limit:
            self._keep_any(grown, (*chosen, c))
            self._deepen(alive * self._spared[:, c], grown, (*chosen, c), others)
        self._deepen(alive, loss, chosen, others)

    def _keep_any(self, loss: float, chosen: tuple[int, ...]) -> None:
        while len(self.loss) < len(chosen):
            self.loss.append(np.inf)
            self.chosen.append(())
        self._keep(loss, chosen)


def _collapse(p: Floats, asks: Bools) -> tuple[Floats, Bools]:
    """Outcomes that ask for the same free units as one; those that ask for none are left out."""
    distinct, inverse = np.unique(asks, axis=0, return_inverse=True)
    total = np.bincount(inverse.ravel(), weights=p, minlength=len(distinct)).astype(np.float64)
    kept = distinct.any(axis=1) if distinct.shape[1] else np.zeros(len(distinct), dtype=np.bool_)
    return total[kept], distinct[kept]


def _classes(asks: Bools) -> list[list[int]]:
    """Units in classes, no two of a class asked for by one outcome; greedily, in order."""
    together = asks.astype(np.int64).T @ asks.astype(np.int64) > 0
    classes: list[list[int]] = []
    for c in range(asks.shape[1]):
        for members in classes:
            if not together[c, members].any():
                members.append(c)
                break
        else:
            classes.append([c])
    return classes
