"""From booked draws and holds to what is left to be met from free units, and the level that meets it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cases.planning.replenish import beyond
from cases.reorders.demand import Draw

Chances = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Kept:
    """How many usable units are held for each case and for each list."""

    cases: Mapping[int, int] = field(default_factory=dict)
    lists: Mapping[int, int] = field(default_factory=dict)

    @property
    def total(self) -> int:
        return sum(self.cases.values()) + sum(self.lists.values())


def net_parts(draws: Iterable[Draw], kept: Kept) -> tuple[int, list[Chances]]:
    """What the draws leave to be met from free units: pieces for sure, and independent laws of the rest.

    Held units of a case serve that case; those of a list serve what its cases have left, together.
    """
    sure = 0
    parts: list[Chances] = []
    by_list: dict[int, list[Chances]] = defaultdict(list)
    for draw in draws:
        sure += draw.fixed
        if draw.one <= 0 and draw.two <= 0:
            continue
        law = np.array([max(0.0, 1.0 - draw.one - draw.two), draw.one, draw.two])
        law = beyond(law / law.sum(), kept.cases.get(draw.case_id, 0))
        if draw.list_id is not None and kept.lists.get(draw.list_id, 0):
            by_list[draw.list_id].append(law)
        elif len(law) > 1:
            parts.append(law)
    for list_id, laws in by_list.items():
        together = beyond(summed(laws), kept.lists[list_id])
        if len(together) > 1:
            parts.append(together)
    return sure, parts


def summed(laws: Sequence[Chances]) -> Chances:
    """The law of the sum of independent demands."""
    total: Chances = np.ones(1)
    for law in laws:
        total = np.convolve(total, law)
    return total
