"""A list over independent parts: which choice of each part makes the cheapest list within a limit of loss."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from cases.planning.parts import Floats, Ints

Menu = tuple[Ints, Floats]
"""The choices of one part: what each costs, and the chance that the part is then short. Shapes (choices,)."""


def together(losses: Iterable[float]) -> float:
    """Chance that some part is short, from the chance of each."""
    total = 0.0
    for loss in losses:
        total += (1.0 - total) * loss
    return total


def undominated(cost: Ints, loss: Floats) -> Ints:
    """Places of the choices that lose less than every cheaper one, by cost; of equal ones the first."""
    order = np.lexsort((loss, cost))
    ranked = loss[order]
    better = np.ones(len(order), dtype=np.bool_)
    better[1:] = ranked[1:] < np.minimum.accumulate(ranked)[:-1]
    return np.asarray(order[better], dtype=np.int64)


def cheapest(menus: Sequence[Menu], limit: float) -> list[int]:
    """Which choice of each part: the least cost in all within `limit`, then the least loss.

    Returns
    -------
    list of int, one per part
        Where nothing is within the limit, what loses least.

    Notes
    -----
    A knapsack over whole points: for each cost in all, the least P(short) of the parts so far.
    """
    cost, short = np.zeros(1, dtype=np.int64), np.zeros(1)
    picked = np.zeros((1, 0), dtype=np.int64)
    for own_cost, own_loss in menus:
        grown = short[:, None] + (1.0 - short[:, None]) * own_loss
        before, own = np.nonzero(grown <= limit)
        if not len(before):
            return [int(np.argmin(loss)) for _, loss in menus]
        points, losses = cost[before] + own_cost[own], grown[before, own]
        kept = undominated(points, losses)
        cost, short = points[kept], losses[kept]
        picked = np.column_stack([picked[before[kept]], own[kept]])
    return [int(n) for n in picked[0]]
