"""The most cases that any plan within a purse can be proven to serve on average.

By a programme, and by a ceiling without one.

With u_ik the k-th unit bought of item i (in order), and d_cik what it takes off case c's m_c,

    maximise sum of z_c,   z_c <= 1 - m_c + sum of d_cik u_ik + spare_c (1 - s_c),   z_c <= s_c,   z_c >= 0,

where the switch s_c is only there for a case that is short for sure at first (spare_c = m_c - 1 > 0).
"""

from __future__ import annotations

import numpy as np

from cases.planning.buying import Purse
from cases.planning.milp import INFINITE, Programme, Row, minimise
from cases.planning.misses import Misses
from cases.planning.parts import Floats, Ints

STEPS = 12
"""Units of one item that are told apart: beyond them no bound is claimed, and no more are proposed."""

GAP = 1e-6
"""How near to its bound the solver must come, in cases."""

_NOTHING = 1e-12


def best_plan(table: Misses, start: Ints, purse: Purse, seconds: float) -> tuple[Ints | None, float, bool]:
    """The programme's plan, what no plan exceeds, and whether the plan is proven to be the best.

    Parameters
    ----------
    table, start, purse : as in `spending.spend`
    seconds : float
        Time; then the best plan so far, or None.
    """
    gains = unit_gains(table, start, purse)
    cut = any(own[STEPS:].any() for own in gains)
    columns = _Columns(table, start, [min(len(own), STEPS) for own in gains])
    rows = [*columns.case_rows(), *columns.order_rows(), columns.budget_row(purse)]
    total, cases = columns.total, table.draws.cases
    found = minimise(
        Programme(
            cost=(-1.0,) * cases + (0.0,) * (total - cases),
            upper=(1.0,) * total,
            rows=tuple(rows),
            integral=(False,) * cases + (True,) * (total - cases),
        ),
        seconds=seconds,
        gap=GAP,
    )
    if not found.feasible:
        # Buying nothing always is an answer, so this says that none was found in time.
        return None, INFINITE if cut or found.proven else -found.bound + GAP, False
    bound = INFINITE if cut else -found.bound + GAP
    return columns.plan(found.values), bound, found.proven and not cut


class _Columns:
    """Where each column stands: z by case, s by case, then each item's units one after the other."""

    def __init__(self, table: Misses, start: Ints, steps: list[int]) -> None:
        self._table, self._start, self._steps = table, start, steps
        self._cases = table.draws.cases
        self._first = (2 * self._cases + np.cumsum([0, *steps])).tolist()
        self.total = int(self._first[-1])

    def case_rows(self) -> list[Row]:
        """What a case's served part is at most."""
        short = self._table.short(self._start).tolist()
        rows = []
        for case, (now, drops) in enumerate(zip(short, self._drops(), strict=True)):
            spare, switch = max(0.0, now - 1.0), self._cases + case
            terms = [(case, 1.0), *((column, -drop) for column, drop in drops)]
            if spare:
                terms.append((switch, spare))
                rows.append(Row((case, switch), (1.0, -1.0), high=0.0))
            where, values = zip(*terms, strict=True)
            rows.append(Row(where, values, high=1.0 - now + spare + 1e-9))
        return rows

    def order_rows(self) -> list[Row]:
        """A unit is bought before the next one of its item."""
        return [
            Row((first + k, first + k + 1), (1.0, -1.0), low=0.0)
            for first, n in zip(self._first, self._steps, strict=False)
            for k in range(n - 1)
        ]

    def budget_row(self, purse: Purse) -> Row:
        """What all units cost."""
        prices = np.repeat(purse.cost, self._steps)
        columns = tuple(range(2 * self._cases, self.total))
        return Row(columns, tuple(prices.tolist()), high=purse.budget * (1.0 + 1e-12))

    def plan(self, values: tuple[float, ...]) -> Ints:
        """Units by item, shape (items,)."""
        return np.array(
            [
                round(sum(values[first : first + n]))
                for first, n in zip(self._first, self._steps, strict=False)
            ],
            dtype=np.int64,
        )

    def _drops(self) -> list[list[tuple[int, float]]]:
        """Per case, each unit's column and what the unit takes off."""
        found: list[list[tuple[int, float]]] = [[] for _ in range(self._cases)]
        draws = self._table.draws
        for pair, (case, item) in enumerate(zip(draws.case.tolist(), draws.item.tolist(), strict=True)):
            units = np.minimum(self._start[item] + np.arange(self._steps[item] + 1), self._table.width - 1)
            drops = -np.diff(self._table.chance[pair, units])
            found[case] += [(self._first[item] + k, d) for k, d in enumerate(drops.tolist()) if d > _NOTHING]
        return found


def linear_ceiling(table: Misses, start: Ints, purse: Purse) -> float:
    """No plan within the purse serves more, at least: a knapsack that may take parts of units.

    Each unit is counted with all it takes off every case's m_c, also where the case stays short for sure;
    per item the best line over its units, best line for its cost first.
    """
    now = float(np.maximum(0.0, 1.0 - table.short(start)).sum())
    lines: list[tuple[float, float]] = []
    for cost, own in zip(purse.cost.tolist(), unit_gains(table, start, purse), strict=True):
        lines += [(gain / cost, gain) for gain in _hull(own)]
    left, total = purse.budget, now
    for rate, gain in sorted(lines, reverse=True):
        if left <= 0.0 or gain <= 0.0:
            break
        share = min(1.0, left * rate / gain)
        total += gain * share
        left -= gain / rate * share
    return min(float(table.draws.cases), total)


def _hull(gains: Floats) -> list[float]:
    """Gains of the units one by one, evened out so that they do not rise: the hull of their sums."""
    blocks: list[tuple[float, int]] = []
    for gain in gains.tolist():
        total, n = gain, 1
        while blocks and blocks[-1][0] * n <= total * blocks[-1][1]:
            before, m = blocks.pop()
            total, n = total + before, n + m
        blocks.append((total, n))
    return [total / n for total, n in blocks for _ in range(n)]


def unit_gains(table: Misses, start: Ints, purse: Purse) -> list[Floats]:
    """Per item what each further unit takes off the sums of all cases, as many as may be bought."""
    affordable = (purse.budget * (1.0 + 1e-12) / purse.cost).astype(np.int64)
    steps = np.minimum(np.minimum(purse.most, table.width), affordable)
    totals = np.zeros((len(start), table.width))
    np.add.at(totals, table.draws.item, table.chance)
    found = []
    for total, own, n in zip(totals, start.tolist(), steps.tolist(), strict=True):
        columns = np.minimum(own + np.arange(n + 1), table.width - 1)
        found.append(np.asarray(-np.diff(total[columns]), dtype=np.float64))
    return found
