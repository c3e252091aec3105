"""Who may draw what, from a site's facts to the arrays of `planning.misses`."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from math import exp

import numpy as np

from cases.planning.misses import Draws
from cases.planning.misses_pooled import NO_POOL
from cases.reorders.demand import Draw, ItemFacts
from cases.reorders.held import held_units, kept
from cases.reorders.levels import Kept
from cases.reorders.windows import window_end
from trays.catalogue.models import FamilyKind

Case = tuple[str, int]
"""("booked", id of a case) or ("unbooked", id of a family)."""


@dataclass
class Pairs:
    """Draws on the way to arrays, item by item in the order of drawing.

    `cases` numbers the cases, `days` are theirs; `put_off` marks draws beyond their item's own window.
    """

    case: list[int] = field(default_factory=list)
    item: list[int] = field(default_factory=list)
    one: list[float] = field(default_factory=list)
    two: list[float] = field(default_factory=list)
    unbooked: list[float] = field(default_factory=list)
    put_off: list[bool] = field(default_factory=list)
    pool: list[int] = field(default_factory=list)
    kept: dict[int, int] = field(default_factory=dict)
    cases: dict[Case, int] = field(default_factory=dict)
    days: list[date] = field(default_factory=list)

    def add(
        self,
        case: Case,
        day: date,
        item: int,
        chances: tuple[float, float],
        unbooked: float,
        *,
        put_off: bool = False,
        pool: int = NO_POOL,
    ) -> None:
        if case not in self.cases:
            self.cases[case] = len(self.cases)
            self.days.append(day)
        self.case.append(self.cases[case])
        self.item.append(item)
        self.one.append(chances[0])
        self.two.append(chances[1])
        self.unbooked.append(unbooked)
        self.put_off.append(put_off)
        self.pool.append(pool)

    def arrays(self) -> Draws:
        return Draws(
            np.array(self.case, dtype=np.int64),
            np.array(self.item, dtype=np.int64),
            np.array(self.one),
            np.array(self.two),
            np.array(self.unbooked),
            np.array(self.pool, dtype=np.int64),
            self.kept,
        )


def pairs_of(items: Sequence[ItemFacts], day: date, *, unbooked_cases: bool = True) -> Pairs:
    """The draws of every booked case up to the last window's end, beyond what is held for it.

    `unbooked_cases`: also each family's next case that is not booked (see `wishes`).
    """
    ends = [window_end(item.component, day) for item in items]
    last = max(ends, default=day)
    unbooked = _unbooked(items, ends, day) if unbooked_cases else {}
    pairs = Pairs()
    for number, (item, end) in enumerate(zip(items, ends, strict=True)):
        if item.component.family.kind == FamilyKind.CONSUMABLE:
            continue
        draws = sorted((draw for draw in item.draws if draw.day <= last), key=lambda draw: draw.day)
        held = kept(held_units(item.units, draws))
        pools = {key: len(pairs.kept) + n for n, key in enumerate(held.lists)}
        pairs.kept |= {pools[key]: units for key, units in held.lists.items()}
        before = [draw for draw in draws if draw.day <= end]
        _booked(pairs, item, number, before, held, pools, day, put_off=False)
        if number in unbooked:
            share, mean = unbooked[number]
            pairs.add(("unbooked", item.component.family_id or 0), end, number, (share, 0.0), mean)
        _booked(pairs, item, number, draws[len(before) :], held, pools, day, put_off=True)
    return pairs


def _booked(
    pairs: Pairs,
    item: ItemFacts,
    number: int,
    draws: Sequence[Draw],
    held: Kept,
    pools: Mapping[int, int],
    day: date,
    *,
    put_off: bool,
) -> None:
    """Each draw with the chances of one and of two beyond what is held for its case."""
    for draw in draws:
        own = held.cases.get(draw.case_id, 0)
        chances = ((draw.one, draw.two), (draw.two, 0.0), (0.0, 0.0))[min(own, 2)]
        if chances[0] + chances[1] > 0.0:
            pool = NO_POOL if draw.list_id is None else pools.get(draw.list_id, NO_POOL)
            mean = item.unbooked(day, draw.day)
            pairs.add(("booked", draw.case_id), draw.day, number, chances, mean, put_off=put_off, pool=pool)


def _unbooked(items: Sequence[ItemFacts], ends: Sequence[date], day: date) -> dict[int, tuple[float, float]]:
    """By item: chance that its family's next unbooked case draws it, and mean of all unbooked use of it."""
    means: dict[int, dict[int, float]] = defaultdict(dict)
    for number, (item, end) in enumerate(zip(items, ends, strict=True)):
        mean = item.unbooked(day, end)
        if mean > 0.0 and item.component.family.kind != FamilyKind.CONSUMABLE:
            means[item.component.family_id or 0][number] = mean
    found: dict[int, tuple[float, float]] = {}
    for own in means.values():
        total = sum(own.values())
        comes = 1.0 - exp(-total)
        found |= {number: (comes * mean / total, mean) for number, mean in own.items()}
    return found
