"""How many free units of each component let every booked case reach its site's target.

An item that meets its own demand with 98 % still leaves a case short that draws four such items. So the
levels are set for all components at once (`planning.targets`), each booked case being allowed to be short
with 1 - the site's wanted chance on site:

* **Draws.** Every booked case up to the last window's end, less what is held for it. Units held for a list
  serve its cases first, whichever comes first.
* **Windows.** A component is ordered for the cases up to its own window's end (`alerts`). Later draws take
  part in the choice, so that what a case is allowed is not all spent on components with a long lead time.
* **Unbooked work.** Past use not yet booked stands before each draw as a Poisson number. For each family it
  also is a case of its own at the window's end: it comes with the chance of at least one such use, draws one
  of the family's components in proportion to their use, and is allowed its share of what a case is allowed.

Consumables are left out: no verdict counts them, and they keep an item's own chance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from cases.planning.misses import Misses, misses
from cases.planning.parts import Bools, Floats, Ints
from cases.planning.targets import levels_for_cases
from cases.reorders.demand import ItemFacts
from cases.reorders.pairs import Case, Pairs, pairs_of

UNITS_A_CASE = 4.0
"""What a case draws where none is booked to tell."""

LEAST_ALLOWED = 1e-6
"""A site that wants every case for sure is given this: no stock is sure."""


@dataclass(frozen=True, slots=True)
class Missed:
    """A case that would miss its target: `short` at most, where `allowed` is wanted."""

    case: Case
    day: date
    short: float
    allowed: float


@dataclass(frozen=True)
class Wishes:
    """Free units that the cases wish for, item by item in the order of the items."""

    allowed: float
    units: tuple[int, ...]
    rows: "Rows | None" = None

    def missed(self, item: int, units: int) -> list[Missed]:
        """The cases that would miss the target with only so many free units of one item, first by day."""
        if self.rows is None or item >= len(self.rows.units):
            return []
        return self.rows.missed(item, units)


@dataclass(frozen=True)
class Rows:
    """The same as arrays: who is who, the table of misses, and the levels."""

    cases: tuple[Case, ...]
    days: tuple[date, ...]
    table: Misses
    allowed: Floats
    units: Ints
    in_the_end: Ints
    put_off: Bools

    def missed(self, item: int, units: int) -> list[Missed]:
        """See `Wishes.missed`. Draws that are put off are met by later orders."""
        levels = self.units.copy()
        levels[item] = units
        at_now, at_end = self.table.at(levels), self.table.at(self.in_the_end)
        short = self.table.sums(np.where(self.put_off, at_end, at_now))
        found = [
            Missed(self.cases[n], self.days[n], min(1.0, float(short[n])), float(self.allowed[n]))
            for n in np.flatnonzero(short > self.allowed + 1e-11).tolist()
        ]
        return sorted(found, key=lambda one: (one.day, one.case))


def case_wishes(items: Sequence[ItemFacts], *, day: date, target: float, floor: Sequence[int] = ()) -> Wishes:
    """Choose the levels of all items together.

    Parameters
    ----------
    items
        Everything that the site's cases may draw.
    day : date
        Today.
    target : float
        Chance wanted on site for each case.
    floor : sequence of int, one per item, optional
        Free units that are kept whatever the cases ask for.
    """
    allowed = max(LEAST_ALLOWED, 1.0 - target)
    pairs = pairs_of(items, day)
    if not pairs.case:
        return Wishes(allowed, (0,) * len(items))
    draws = pairs.arrays()
    unbooked = _of_unbooked(pairs, allowed)
    each = np.array([allowed if kind == "booked" else unbooked for kind, _ in pairs.cases])
    # Items beyond the last that is drawn have no column.
    least = np.array(floor or (0,) * len(items), dtype=np.int64)[: draws.items]
    put_off = np.array(pairs.put_off, dtype=np.bool_)
    table = misses(draws)
    found = levels_for_cases(table, each, least=least, put_off=put_off)
    rows = Rows(tuple(pairs.cases), tuple(pairs.days), table, each, found.units, found.in_the_end, put_off)
    units = found.units.tolist()
    return Wishes(allowed, (*units, *(0,) * (len(items) - len(units))), rows)


def _of_unbooked(pairs: Pairs, allowed: float) -> float:
    """What an unbooked case is allowed, which draws a single unit: one unit's share of what a case is."""
    booked = {number for (kind, _), number in pairs.cases.items() if kind == "booked"}
    drawn = sum(
        one + two
        for number, one, two in zip(pairs.case, pairs.one, pairs.two, strict=True)
        if number in booked
    )
    return allowed / max(1.0, drawn / len(booked) if booked else UNITS_A_CASE)
