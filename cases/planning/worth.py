"""What many shelves are worth to one list: expected cases served and chance that none is short, exactly.

The rule is that of `sharing`: in order, a case takes its whole demand if it is all there, else nothing. The
state is what has been taken so far, which is the same for every shelf; only whether a demand still fits
differs, so all shelves go through one enumeration side by side.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from cases.planning.asks import asks
from cases.planning.fit import joint
from cases.planning.kinds import CaseDemand, PlanningError
from cases.planning.parts import Floats, Ints

MOST_WORK = 20_000_000
"""States · demands · shelves that are gone through at most."""

MOST_DEMANDS = 20_000
"""Distinct demands that one case may have."""

Demand = tuple[tuple[int, int], ...]
"""(item number, units), sorted."""


class TooMuchWorkError(PlanningError):
    """The list is too large for every history to be listed."""


@dataclass(frozen=True)
class Worth:
    """Of each shelf. Both arrays have shape (shelves,)."""

    served: Floats
    p_all: Floats


@dataclass(frozen=True)
class WholeList:
    """A list as the laws of its cases' demands, over numbered items.

    Attributes
    ----------
    items : tuple of str
    demands : per case, its distinct demands with their chances; None for an impossible case
    """

    items: tuple[str, ...]
    demands: tuple[tuple[tuple[Demand, float], ...] | None, ...]

    @classmethod
    def of(cls, cases: Sequence[CaseDemand]) -> WholeList:
        """Write out a list.

        Raises
        ------
        PlanningError
            A case that needs sets: these come back, and are not bought by the unit.
        TooMuchWorkError
            A case with more than `MOST_DEMANDS` demands.
        """
        names = sorted({item for case in cases for slot in case.slots for item in slot.items})
        number = {item: n for n, item in enumerate(names)}
        return cls(tuple(names), tuple(_demands(case, number) for case in cases))

    def worth(self, shelves: Ints) -> Worth:
        """Go through every history of the list.

        Parameters
        ----------
        shelves : int array, shape (shelves, items)
            Units of each item; items in the order of `items`.

        Raises
        ------
        TooMuchWorkError
            More than `MOST_WORK` to go through.
        """
        none = (0,) * len(self.items)
        ones = np.ones(len(shelves))
        law, clean = {none: ones}, {none: ones}
        served, work = np.zeros(len(shelves)), 0
        for demands in self.demands:
            work += len(law) * len(demands or ()) * len(shelves)
            if work > MOST_WORK:
                raise TooMuchWorkError("This list has too many histories to go through them all.")
            if demands is None:
                clean = {}
                continue
            found, law = _taken(law, demands, shelves, stay=True)
            served = served + found
            _, clean = _taken(clean, demands, shelves, stay=False)
        return Worth(served, sum(clean.values(), np.zeros(len(shelves))))


Law = dict[tuple[int, ...], Floats]


def _taken(
    law: Law, demands: Sequence[tuple[Demand, float]], shelves: Ints, *, stay: bool
) -> tuple[Floats, Law]:
    """One case draws: the chance that it is served, and the law of what has been taken after it.

    `stay`: histories in which it is short go on; else they are left out.
    """
    served, after = np.zeros(len(shelves)), Law()

    def add(state: tuple[int, ...], mass: Floats) -> None:
        after[state] = after[state] + mass if state in after else mass

    for state, mass in law.items():
        for demand, p in demands:
            fits = np.ones(len(shelves), dtype=np.bool_)
            gone = list(state)
            for item, n in demand:
                gone[item] += n
                fits &= shelves[:, item] >= gone[item]
            taken = mass * p * fits
            served = served + taken
            if fits.any():
                add(tuple(gone), taken)
            if stay and not fits.all():
                add(state, mass * p * ~fits)
    return served, after


def _demands(case: CaseDemand, number: Mapping[str, int]) -> tuple[tuple[Demand, float], ...] | None:
    if case.needs:
        raise PlanningError(f"Case {case.ref}: sets come back and are not bought by the unit.")
    law = joint(case)
    if law.impossible:
        return None
    parts = asks(law)
    if np.prod([float(len(part)) for part in parts]) > MOST_DEMANDS:
        raise TooMuchWorkError(f"Case {case.ref} has more than {MOST_DEMANDS} demands.")
    found: dict[Demand, float] = {}
    for way in product(*parts):
        units = sorted((number[item], n) for ask in way for item, n in ask.units)
        found[tuple(units)] = found.get(tuple(units), 0.0) + float(np.prod([ask.p for ask in way]))
    return tuple(found.items())
