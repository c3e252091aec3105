"""A part of a case read against a shelf: only what may be missing is kept, and it is decided for many
shelves at once.

Outcomes that ask for the same doubtful items are one. A shelf state is one line of a table `there`, shape
(states, items): how many units of each doubtful item the case would find.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from cases.planning.kinds import UNUSED, CaseDemand
from cases.planning.parts import Bools, Floats, Ints, Part, distinct_lines, serving

Demand = tuple[tuple[str, int], ...]
Need = tuple[int, str, tuple[str | None, ...]]
"""Need number, its name, and the items that may meet it in order; None = one that is surely there."""


@dataclass(frozen=True)
class Outcome:
    """What may be drawn, as far as it may be missing.

    Attributes
    ----------
    p : float
    unknown : bool
        A pair without a rule on file is in it.
    units : tuple of (item, number), sorted by item
    needs : tuple of Need, in order
        An empty option list is a need that nothing serves.
    spare : tuple of (item, chance)
        Second units that may be opened besides; none once the outcome is opened out (`open_out`).
    """

    p: float
    unknown: bool
    units: Demand
    needs: tuple[Need, ...]
    spare: tuple[tuple[str, float], ...] = ()

    def numbers(self) -> list[tuple[str, int, float]]:
        """(item, number, chance of that number), second units counted in."""
        if not self.spare:
            return [(item, n, 1.0) for item, n in self.units]
        found = []
        for item, n in self.units:
            ways = {n: 1.0}
            for other, extra in self.spare:
                if other == item:
                    grown: dict[int, float] = {}
                    for k, share in ways.items():
                        grown[k] = grown.get(k, 0.0) + share * (1.0 - extra)
                        grown[k + 1] = grown.get(k + 1, 0.0) + share * extra
                    ways = grown
            found += [(item, k, share) for k, share in ways.items() if share > 0]
        return found

    def choices(self) -> list[Demand]:
        """Set items for the needs, every way that could be taken, first choice first."""
        found = []
        for way in product(*(options for _, _, options in self.needs)):
            count: dict[str, int] = {}
            for item in way:
                if item is not None:
                    count[item] = count.get(item, 0) + 1
            found.append(tuple(sorted(count.items())))
        return found


def read(case: CaseDemand, part: Part, plenty: Callable[[str], bool]) -> list[Outcome]:
    """Outcomes of a part, those that no doubtful item tells apart taken together.

    Parameters
    ----------
    plenty : callable
        Whether the shelf surely holds all the case may draw of an item.

    Returns
    -------
    list of Outcome
        Chances sum to 1; in a fixed order; second units not opened out.
    """
    slots = [s for s in part.slots if not all(plenty(item) for item in case.slots[s].items)]
    columns: list[Ints] = [part.unknown.astype(np.int64)]
    columns += [_doubtful(case, part, slot, plenty) for slot in slots]
    needs = [_need_codes(case, part, number, plenty) for number in part.needs]
    columns += [codes for codes, _ in needs]
    lines, line_of_row = distinct_lines(columns)
    chances = np.bincount(line_of_row, weights=part.p, minlength=len(lines))
    found = []
    for line, p in zip(lines.tolist(), chances.tolist(), strict=True):
        wanted = tuple(
            (number, case.needs[number].name, options[code])
            for number, (_, options), code in zip(part.needs, needs, line[1 + len(slots) :], strict=True)
            if code >= 0
        )
        units: dict[str, int] = {}
        spare = []
        for slot, index in zip(slots, line[1 : 1 + len(slots)], strict=True):
            if index != UNUSED:
                item, extra = case.slots[slot].items[index], case.slots[slot].extra
                units[item] = units.get(item, 0) + 1
                if extra > 0:
                    spare.append((item, extra))
        found.append(Outcome(p, bool(line[0]), tuple(sorted(units.items())), wanted, tuple(spare)))
    return found


def open_out(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """The same outcomes with each pattern of second units as one of its own."""
    gathered: dict[tuple[bool, Demand, tuple[Need, ...]], float] = {}
    for outcome in outcomes:
        ways: list[tuple[Demand, float]] = [(outcome.units, outcome.p)]
        for item, extra in outcome.spare:
            more = [(_added(units, ((item, 1),)), p * extra) for units, p in ways]
            ways = [(units, p * (1.0 - extra)) for units, p in ways] + more
        for units, p in ways:
            if p > 0:
                key = (outcome.unknown, units, outcome.needs)
                gathered[key] = gathered.get(key, 0.0) + p
    return [Outcome(p, unknown, units, needs) for (unknown, units, needs), p in gathered.items()]


def _doubtful(case: CaseDemand, part: Part, slot: int, plenty: Callable[[str], bool]) -> Ints:
    """Drawn index of a slot where the item is doubtful, else `UNUSED`."""
    table = [UNUSED if plenty(item) else index for index, item in enumerate(case.slots[slot].items)]
    return np.array([*table, UNUSED], dtype=np.int64)[part.column(slot)]


def _need_codes(
    case: CaseDemand, part: Part, number: int, plenty: Callable[[str], bool]
) -> tuple[Ints, list[tuple[str | None, ...]]]:
    """Per row the number of its list of options; -1 where the first option is surely there."""
    patterns: dict[tuple[str | None, ...], int] = {(): 0}
    masks = [(option.item, serving(case, part, option)) for option in case.needs[number].options]
    bits = np.zeros(len(part.p), dtype=np.int64)
    for place, (_, mask) in enumerate(masks):
        bits += mask.astype(np.int64) << place
    values, inverse = np.unique(bits, return_inverse=True)
    codes = []
    for value in values.tolist():
        options: list[str | None] = []
        for place, (item, _) in enumerate(masks):
            if value >> place & 1 and item not in options:
                options.append(None if plenty(item) else item)
                if options[-1] is None:
                    break
        key = tuple(options)
        codes.append(-1 if key == (None,) else patterns.setdefault(key, len(patterns)))
    return np.array(codes, dtype=np.int64)[inverse.ravel()], list(patterns)


def combine(first: Sequence[Outcome], second: Sequence[Outcome]) -> list[Outcome]:
    """Outcomes of two independent parts taken as one."""
    found = []
    for a in first:
        for b in second:
            units: dict[str, int] = dict(a.units)
            for item, n in b.units:
                units[item] = units.get(item, 0) + n
            needs = tuple(sorted((*a.needs, *b.needs), key=lambda need: need[0]))
            found.append(Outcome(a.p * b.p, a.unknown or b.unknown, tuple(sorted(units.items())), needs))
    return found


def doubtful_items(outcomes: Sequence[Outcome]) -> list[str]:
    """All items named in the outcomes, sorted."""
    names = {item for o in outcomes for item, _ in o.units}
    names |= {item for o in outcomes for _, _, options in o.needs for item in options if item is not None}
    return sorted(names)


@dataclass(frozen=True)
class Draw:
    """Outcome number, what it takes, and in which states it does, shape (states,)."""

    outcome: int
    takes: Demand
    where: Bools


class Reading:
    """The outcomes of one part decided for a table of shelf states.

    Parameters
    ----------
    outcomes : sequence of Outcome
    items : sequence of str
        Names of the columns of `there`; at least `doubtful_items(outcomes)`.
    there : int array, shape (states, items)

    Attributes
    ----------
    ok : bool array, shape (outcomes, states)
        The outcome finds all it needs.
    draws : list of Draw
        Every way in which an outcome is met.
    known, unknown : float
        Chance of the outcomes without, with a pair that has no rule on file.
    """

    def __init__(self, outcomes: Sequence[Outcome], items: Sequence[str], there: Ints) -> None:
        self.outcomes = outcomes
        self._column = {item: c for c, item in enumerate(items)}
        self._there = np.ascontiguousarray(there.T)
        self._enough: dict[tuple[str, int], Bools] = {}
        self._p = np.array([o.p for o in outcomes])
        self._unknown = np.array([o.unknown for o in outcomes], dtype=np.bool_)
        self.known = float(self._p[~self._unknown].sum())
        self.unknown = float(self._p[self._unknown].sum())
        self.draws: list[Draw] = []
        self.ok = np.zeros((len(outcomes), len(there)), dtype=np.bool_)
        self._missing: dict[str, Floats] | None = None
        self._naming: dict[str | None, list[int]] = {}
        for number, outcome in enumerate(outcomes):
            for takes, where in self._met(outcome):
                self.draws.append(Draw(number, takes, where))
                self.ok[number] |= where
            if not self.ok[number].all():
                named = {i for i, _ in outcome.units} | {
                    i for _, _, options in outcome.needs for i in options
                }
                for item in named:
                    self._naming.setdefault(item, []).append(number)

    def _holds(self, takes: Demand, more: str | None = None) -> Bools:
        mask: Bools | None = None
        for item, n in takes:
            key = (item, n - (item == more))
            if key not in self._enough:
                self._enough[key] = self._there[self._column[item]] >= key[1]
            one = self._enough[key]
            mask = one if mask is None else mask & one
        return np.ones(self._there.shape[1], dtype=np.bool_) if mask is None else mask

    def _met(self, outcome: Outcome, more: str | None = None) -> list[tuple[Demand, Bools]]:
        """Ways in which an outcome is met, first choice first, with the states where it is taken."""
        if not outcome.needs:
            return [(outcome.units, self._holds(outcome.units, more))]
        units = self._holds(outcome.units, more)
        ways = []
        for sets in outcome.choices():
            takes = _added(outcome.units, sets)
            where = units & self._holds(takes, more)
            ways.append((takes, where))
            units = units & ~where
        return ways

    def covered(self) -> Floats:
        """Chance, per state, of an outcome that finds all and has its rules on file. Shape (states,)."""
        return np.asarray((self._p * ~self._unknown) @ self.ok, dtype=np.float64)

    def missed(self) -> Floats:
        """Chance, per state, of an outcome that has its rules on file and finds too little."""
        return np.asarray((self._p * ~self._unknown) @ ~self.ok, dtype=np.float64)

    def served(self) -> Floats:
        """Chance, per state, of an outcome that finds all, unknown ones included."""
        return np.asarray(self._p @ self.ok, dtype=np.float64)

    def failed(self) -> Floats:
        """Chance, per state, of an outcome that finds too little, unknown ones included."""
        return np.asarray(self._p @ ~self.ok, dtype=np.float64)

    def with_one_more(self, item: str) -> tuple[Floats, Floats]:
        """`covered` and `missed` if the case found one more of `item`."""
        ok = self.ok.copy()
        for number in self._naming.get(item, ()):
            for _, where in self._met(self.outcomes[number], item):
                ok[number] |= where
        known = self._p * ~self._unknown
        return np.asarray(known @ ok, dtype=np.float64), np.asarray(known @ ~ok, dtype=np.float64)

    def missing(self) -> dict[str, Floats]:
        """Per item the chance, per state, that it is drawn and too few are there.

        For a need that no option meets, each option that serves is missing; where every need alone could be
        met but not all at once, the items of the first choice that are too few.
        """
        if self._missing is not None:
            return self._missing
        found = self._missing = {}
        for number, outcome in enumerate(self.outcomes):
            if self.ok[number].all():
                continue
            for item, where in self._lacking(outcome):
                if where.any():
                    share = outcome.p * where
                    found[item] = np.asarray(
                        found[item] + share if item in found else share, dtype=np.float64
                    )
        return found

    def helpers(self) -> set[str]:
        """Items of which one more may help: those missing, and options of needs that contend for one set."""
        found = set(self.missing())
        for number, outcome in enumerate(self.outcomes):
            if len(outcome.needs) > 1 and not self.ok[number].all():
                found |= {i for _, _, options in outcome.needs for i in options if i is not None}
        return found

    def _lacking(self, outcome: Outcome) -> list[tuple[str, Bools]]:
        lacks = {item: ~self._holds(((item, n),)) for item, n in outcome.units}
        unmet_any = np.zeros(self._there.shape[1], dtype=np.bool_)
        for _, _, options in outcome.needs:
            alone = [self._holds(() if i is None else ((i, 1),)) for i in options]
            unmet = ~np.logical_or.reduce(alone) if alone else np.ones_like(unmet_any)
            unmet_any |= unmet
            for item in options:
                if item is not None:
                    lacks[item] = lacks[item] | unmet if item in lacks else unmet
        ways = outcome.choices()
        if len(outcome.needs) > 1 and ways:
            contested = ~np.logical_or.reduce([self._holds(way) for way in ways]) & ~unmet_any
            for item, n in ways[0]:
                lacks[item] = lacks[item] | (contested & ~self._holds(((item, n),)))
        return list(lacks.items())

    def unserved(self) -> Mapping[str, float]:
        """By need's name: chance that no listed option serves what is drawn."""
        found: dict[str, float] = {}
        for outcome in self.outcomes:
            for _, name, options in outcome.needs:
                if not options:
                    found[name] = found.get(name, 0.0) + outcome.p
        return found


def _added(units: Demand, sets: Demand) -> Demand:
    if not sets:
        return units
    total = dict(units)
    for item, n in sets:
        total[item] = total.get(item, 0) + n
    return tuple(sorted(total.items()))
