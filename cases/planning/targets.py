"""Levels of many items so that each *case* reaches its target, not each item its own.

A case that draws four items misses its target four times over if each item keeps it alone. Here, with the
chances of `misses`, levels S are chosen so that

    sum over the pairs j of case c of miss_j(S_item(j)) <= allowed_c    for every case c,

at little cost. The left side is a proven upper bound of P(case c is short), so every case reaches its target.
The least cost is an integer programme (a covering); what is done is a greedy, followed by taking back each
unit that no case needs. It reaches the targets always and the least cost mostly.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from cases.planning.kinds import SLACK, PlanningError
from cases.planning.misses import Misses
from cases.planning.parts import Bools, Floats, Ints

LOOK = 3
"""Units of one item that are tried at once: a case that takes two gains nothing from the first alone."""

_NOTHING = 1e-15


@dataclass(frozen=True)
class CaseLevels:
    """Levels that let every case reach its target.

    Attributes
    ----------
    units : int array, shape (items,)
        To be there for the draws that are not put off.
    in_the_end : int array, shape (items,)
        To be there for all draws; the same where none is put off.
    short : float array, shape (cases,)
        P(short) of each case, at most, with these levels.
    """

    units: Ints
    in_the_end: Ints
    short: Floats


def levels_for_cases(
    table: Misses,
    allowed: Floats,
    *,
    cost: Floats | None = None,
    least: Ints | None = None,
    put_off: Bools | None = None,
) -> CaseLevels:
    """Find levels with which P(short) of each case is at most what it is allowed.

    Parameters
    ----------
    table : Misses
    allowed : float array, shape (cases,)
        1 - target of each case, above nought.
    cost : float array, shape (items,), optional
        Of one unit, above nought; alike if left out.
    least : int array, shape (items,), optional
        Units that will be there anyway.
    put_off : bool array, shape (pairs,), optional
        Draws for which the item can still be ordered later on. They take part in the choice, so that what
        is allowed to a case is not spent before they come, but nothing is kept for them yet.

    Returns
    -------
    CaseLevels

    Raises
    ------
    PlanningError
        A case that is allowed nothing, or a cost that is not above nought.

    Examples
    --------
    >>> from cases.planning.misses import Draws, misses
    >>> chance, nought = np.array([0.9, 0.1, 0.9, 0.1]), np.zeros(4)
    >>> table = misses(Draws(np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]), chance, nought, nought))
    >>> levels_for_cases(table, np.array([0.02, 0.02])).units.tolist()
    [2, 1]
    """
    cost = np.ones(table.draws.items) if cost is None else cost
    if not (np.isfinite(allowed).all() and (allowed > 0.0).all()):
        raise PlanningError("A case must be allowed some chance of being short: no stock is sure.")
    if not (np.isfinite(cost).all() and (cost > 0.0).all()):
        raise PlanningError("The cost of a unit is above nought.")
    floor = np.zeros(table.draws.items, dtype=np.int64) if least is None else least.astype(np.int64)
    limit = allowed + SLACK
    units = np.maximum(floor, _needed(table, limit))
    _raise_until_met(table, units, limit, cost)
    everywhere = np.ones(len(table.draws.item), dtype=np.bool_)
    _take_back(table, units, limit, cost, floor, everywhere)
    now = units.copy()
    if put_off is not None and put_off.any():
        _take_back(table, now, limit, cost, floor, ~put_off)
    return CaseLevels(now, units, table.short(units))


def _needed(table: Misses, limit: Floats) -> Ints:
    """The least level of each item at which no single draw spends more than all its case is allowed."""
    over = (table.chance > limit[table.draws.case][:, None]).sum(axis=1)
    units = np.zeros(table.draws.items, dtype=np.int64)
    np.maximum.at(units, table.draws.item, over)
    return units


def _raise_until_met(table: Misses, units: Ints, limit: Floats, cost: Floats) -> None:
    """Add, in place, the units that take most of the excess away for their cost, until there is none."""
    draws = table.draws
    while True:
        excess = np.maximum(0.0, table.short(units) - limit)
        active = np.flatnonzero(excess[draws.case] > 0.0)
        if not len(active):
            return
        item, room = draws.item[active], excess[draws.case[active]]
        here = _column(table, active, units[item])
        best = (0.0, 0, 0)
        for more in range(1, LOOK + 1):
            saved = np.minimum(here - _column(table, active, units[item] + more), room)
            gains = np.bincount(item, weights=saved, minlength=draws.items) / (cost * more)
            first = int(gains.argmax())
            if gains[first] > best[0] + _NOTHING:
                best = (float(gains[first]), first, more)
        if not best[2]:
            raise PlanningError("No number of units lets every case reach its target.")
        units[best[1]] += best[2]


def _take_back(table: Misses, units: Ints, limit: Floats, cost: Floats, floor: Ints, counted: Bools) -> None:
    """Take, in place, each unit away that no counted draw needs, the dearest and least useful first."""
    pairs = list(_by_item(table, counted))
    short = table.short(units)
    moved = True
    while moved:
        moved = False
        for item in _least_useful(table, units, cost, counted):
            if units[item] <= floor[item]:
                continue
            own = pairs[item]
            cases = table.draws.case[own]
            more = _column(table, own, units[item] - 1) - _column(table, own, units[item])
            if (short[cases] + more <= limit[cases]).all():
                units[item] -= 1
                short[cases] += more
                moved = True


def _least_useful(table: Misses, units: Ints, cost: Floats, counted: Bools) -> list[int]:
    every = np.arange(len(table.draws.item))
    column = units[table.draws.item]
    saved = _column(table, every, np.maximum(column - 1, 0)) - _column(table, every, column)
    worth = np.bincount(table.draws.item, weights=saved * counted, minlength=len(units)) / cost
    order = np.lexsort((np.arange(len(units)), worth))
    return [item for item in order.tolist() if units[item] > 0]


def _by_item(table: Misses, counted: Bools) -> Iterator[Ints]:
    """The counted pairs of each item."""
    order = np.argsort(table.draws.item, kind="stable")
    ends = np.cumsum(np.bincount(table.draws.item, minlength=table.draws.items))
    for own in np.split(order, ends[:-1]) if len(ends) else ():
        yield own[counted[own]].astype(np.int64)


def _column(table: Misses, pairs: Ints, units: Ints) -> Floats:
    return np.asarray(table.chance[pairs, np.minimum(units, table.width - 1)], dtype=np.float64)
