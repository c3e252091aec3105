"""What no purchase for a list can exceed: a relaxation that forgets all but a few truths.

For case c, part g and demand x let z = P(c is served | part g of c asks for x), and y_i the units bought of
item i. Any plan, under the rule that a case takes its whole demand or nothing, meets

    P(c served) = sum over x of p_gx z_gx                   for each part g of c,
    z_gx <= (stock_i + y_i) / n                             for n units of i in x,
    sum over c, g, x of n p_gx z_gx <= stock_i + y_i        since what is taken of i was there,
    cost · y <= budget,  0 <= y <= most,

so the greatest sum of P(c served), or the least of them for "none is short", is an upper bound.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cases.planning.asks import Ask, asks
from cases.planning.buying import Purse
from cases.planning.fit import Joint, joint
from cases.planning.kinds import CaseDemand
from cases.planning.milp import INFINITE, Programme, Row, installed, minimise
from cases.planning.parts import Ints

SECONDS = 2.0

LEAST = 1e-6
"""Demands less likely than this are counted as served: the bound stays one."""


def most_served(
    cases: Sequence[CaseDemand], items: Sequence[str], start: Ints, purse: Purse, aim: str
) -> float:
    """An upper bound of the aim over all purchases within the purse.

    Parameters
    ----------
    cases, items
        `items` by number; `start` (items,) is what is there.
    aim : "served" or "all"

    Notes
    -----
    Without the solver: each case alone, with as much of each item as the whole budget would buy.
    """
    laws = [joint(case) for case in cases]
    simple = _alone(laws, items, start, purse, aim)
    if not installed():
        return simple
    return min(simple, _relaxed(laws, {item: n for n, item in enumerate(items)}, start, purse, aim))


def _alone(laws: Sequence[Joint], items: Sequence[str], start: Ints, purse: Purse, aim: str) -> float:
    affordable = (purse.budget * (1.0 + 1e-12) / purse.cost).astype(np.int64)
    there = dict(zip(items, (start + np.minimum(purse.most, affordable)).tolist(), strict=True))
    covers = [_cover(law, there) for law in laws]
    return sum(covers) if aim == "served" else min(covers, default=1.0)


def _cover(law: Joint, there: dict[str, int]) -> float:
    if law.impossible:
        return 0.0
    total = 1.0
    for part in asks(law):
        total *= sum(ask.p for ask in part if all(there.get(item, 0) >= n for item, n in ask.units))
    return min(1.0, total)


def _relaxed(laws: Sequence[Joint], number: dict[str, int], start: Ints, purse: Purse, aim: str) -> float:
    """The relaxation as a programme. Columns: y per item, P(served) per case, then z per demand kept."""
    n, cases = len(number), len(laws)
    rows: list[Row] = [Row(tuple(range(n)), tuple(purse.cost.tolist()), high=purse.budget)]
    taken: list[list[tuple[int, float]]] = [[] for _ in range(n)]
    columns = n + cases
    for case, law in enumerate(laws):
        if law.impossible:
            rows.append(Row((n + case,), (1.0,), high=0.0))
        for part in asks(law):
            columns = _part_rows(part, n + case, columns, number, start, rows, taken)
    for item, entries in enumerate(taken):
        where, values = zip(*entries, strict=True) if entries else ((), ())
        rows.append(Row((item, *where), (-1.0, *values), high=float(start[item])))
    worst = columns
    if aim == "all":
        rows += [Row((worst, n + case), (1.0, -1.0), high=0.0) for case in range(cases)]
    aimed = [0.0] * n + [-1.0 if aim == "served" else 0.0] * cases + [0.0] * (columns - n - cases)
    upper = [float(m) for m in purse.most.tolist()] + [1.0] * (columns - n)
    found = minimise(
        Programme(
            cost=(*aimed, -1.0 if aim == "all" else 0.0),
            upper=(*upper, 1.0),
            rows=tuple(rows),
            integral=(True,) * n + (False,) * (columns - n + 1),
        ),
        seconds=SECONDS,
    )
    # The solver keeps its rows to 1e-7; so much is added for each case.
    return -found.bound + 1e-6 * (1 + cases) if np.isfinite(found.bound) else INFINITE


def _part_rows(
    part: Sequence[Ask],
    served: int,
    first: int,
    number: dict[str, int],
    start: Ints,
    rows: list[Row],
    taken: list[list[tuple[int, float]]],
) -> int:
    """Rows of one part's demands, from column `first`; the first column that is free after them."""
    kept = [ask for ask in part if ask.p >= LEAST]
    spared = sum(ask.p for ask in part if ask.p < LEAST)
    columns = tuple(range(first, first + len(kept)))
    rows.append(Row((served, *columns), (1.0, *(-ask.p for ask in kept)), high=spared))
    for column, ask in zip(columns, kept, strict=True):
        for item, n in ask.units:
            own = number[item]
            taken[own].append((column, n * ask.p))
            if start[own] < n:
                rows.append(Row((column, own), (float(n), -1.0), high=float(start[own])))
    return first + len(kept)
