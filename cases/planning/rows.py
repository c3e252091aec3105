"""A part of a case as flat arrays: what each combination asks for, decided for one shelf at once.

Slots that may draw the same item stand in one class, as do needs that one set may meet. A class has few
distinct combinations; each asks for numbers of items in one or more ways (a second unit opened or not).
Within a combination of the part, classes draw on different items, so their chances multiply.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np

from cases.planning.kinds import UNUSED, CaseDemand
from cases.planning.parts import Bools, Floats, Ints, Part, Unions, distinct_lines, serving

Counts = Mapping[str, int]
"""How many of each item are there; an item not named is not."""
Lack = Callable[[str, int], float]
"""The chance that fewer than so many of an item are there."""


@dataclass(frozen=True)
class SlotClass:
    """Slots that share items: W ways in which U distinct combinations ask for units, E entries in all.

    Attributes
    ----------
    row : int array, shape (R,)
        The combination of each row of the part.
    size : int
        U.
    combination, share : arrays, shape (W,)
        Per way its combination, and its chance given that.
    names : tuple of str
        The items that may be asked for.
    way, item, number : int arrays, shape (E,)
        Per entry the way that asks, the item (index into `names`), and how many of it.
    """

    row: Ints
    size: int
    combination: Ints
    share: Floats
    names: tuple[str, ...]
    way: Ints
    item: Ints
    number: Ints

    @property
    def single(self) -> bool:
        """Whether every combination asks for one unit of one item, or for none."""
        alone = len(set(self.way.tolist())) == len(self.way) == len(self.names)
        return alone and len(self.share) == self.size and bool((self.number == 1).all())

    def items(self) -> tuple[str, ...]:
        """All items that may be asked for."""
        return self.names

    def asked(self, p: Floats) -> dict[str, Floats]:
        """Per item the chances that 0, 1, 2, ... are asked for, rows having the chances `p`."""
        weight, most = self._weights(p)[self.way], int(self.number.max(initial=0)) + 1
        shape = (len(self.names), most)
        codes = self.item * most + self.number
        table = np.bincount(codes, weights=weight, minlength=shape[0] * most).astype(np.float64)
        return _laws(self.names, table.reshape(shape))

    def judge(self, counts: Counts) -> tuple[Floats, Floats]:
        """Chance, per combination, that all asked for is there, and that it is not. Shapes (U,)."""
        unmet = np.zeros(len(self.share), dtype=np.bool_)
        unmet[self.way[self._too_few(counts)]] = True
        return self._sum(self.share * ~unmet), self._sum(self.share * unmet)

    def short_of(self, counts: Counts, p: Floats) -> dict[str, float]:
        """Per item the chance that more is asked for than is there, rows having the chances `p`."""
        few = self._too_few(counts)
        lost = np.bincount(self.item[few], weights=self._weights(p)[self.way[few]], minlength=len(self.names))
        return {name: chance for name, chance in zip(self.names, lost.tolist(), strict=True) if chance > 0}

    def _too_few(self, counts: Counts) -> Bools:
        there = np.array([counts.get(name, 0) for name in self.names], dtype=np.int64)
        return np.asarray(self.number > there[self.item], dtype=np.bool_)

    def expect(self, lack: Lack) -> Floats:
        """Chances of lack added up over the items, per combination. Shape (U,)."""
        total = np.bincount(self.way, weights=self._table(lack), minlength=len(self.share))
        return self._sum(self.share * total)

    def lacking(self, lack: Lack, p: Floats) -> dict[str, float]:
        """Per item the chance that it is asked for and lacking, rows having the chances `p`."""
        weight = self._weights(p)[self.way] * self._table(lack)
        lost = np.bincount(self.item, weights=weight, minlength=len(self.names))
        return {name: chance for name, chance in zip(self.names, lost.tolist(), strict=True) if chance > 0}

    def _weights(self, p: Floats) -> Floats:
        """Chance of each way, rows having the chances `p`. Shape (W,)."""
        return self.share * np.bincount(self.row, weights=p, minlength=self.size)[self.combination]

    def _table(self, lack: Lack) -> Floats:
        """Per entry its chance of lack; each (item, number) is asked once."""
        asked, inverse = self._asked
        values = np.array([lack(name, n) for name, n in asked], dtype=np.float64)
        return np.asarray(values[inverse], dtype=np.float64)

    @cached_property
    def _asked(self) -> tuple[list[tuple[str, int]], Ints]:
        """The distinct (item, number) pairs, and each entry's."""
        most = int(self.number.max(initial=0)) + 1
        codes, inverse = np.unique(self.item * most + self.number, return_inverse=True)
        return [(self.names[code // most], code % most) for code in codes.tolist()], inverse.ravel()

    def _sum(self, values: Floats) -> Floats:
        return np.bincount(self.combination, weights=values, minlength=self.size).astype(np.float64)


@dataclass(frozen=True)
class NeedClass:
    """Needs that share sets: V distinct patterns of which options serve.

    Attributes
    ----------
    row : int array, shape (R,)
        The pattern of each row of the part.
    names : tuple of str
        Names of the needs.
    patterns : tuple of patterns; per need the items that serve, in order, each once
    """

    row: Ints
    names: tuple[str, ...]
    patterns: tuple[tuple[tuple[str, ...], ...], ...]

    def items(self) -> set[str]:
        """All sets that may be taken."""
        return {item for pattern in self.patterns for options in pattern for item in options}

    def asked(self, p: Floats) -> dict[str, Floats]:
        """Per set the chances that 0, 1, 2, ... needs may be met by it, rows having the chances `p`."""
        names = tuple(sorted(self.items()))
        place = {item: number for number, item in enumerate(names)}
        table = np.zeros((len(names), len(self.names) + 1))
        for pattern, chance in zip(self.patterns, self._weights(p), strict=True):
            for item, n in _counted(item for options in pattern for item in options).items():
                table[place[item], n] += chance
        return _laws(names, table)

    def most(self) -> dict[str, int]:
        """Per set, how many needs some pattern may meet by it."""
        found: dict[str, int] = {}
        for pattern in self.patterns:
            for item, n in _counted(item for options in pattern for item in options).items():
                found[item] = max(n, found.get(item, 0))
        return found

    def judge(self, counts: Counts) -> Bools:
        """Whether, per pattern, every need can be met at once. Shape (V,)."""
        return np.array([_met(pattern, counts) for pattern in self.patterns], dtype=np.bool_)

    def expect(self, lack: Lack) -> Floats:
        """Chances of lack added up over the needs, per pattern: each its least lacking option. Shape (V,)."""
        return np.array([sum(_unmet(pattern, lack)) for pattern in self.patterns], dtype=np.float64)

    def short_of(self, counts: Counts, p: Floats) -> dict[str, float]:
        """Per set the chance that a need it serves is not met, rows having the chances `p`.

        Where every need alone could be met but not all at once, the sets of the first choice that are too
        few.
        """
        found: dict[str, float] = {}
        for pattern, chance in zip(self.patterns, self._weights(p), strict=True):
            for item in _short_of(pattern, counts):
                found[item] = found.get(item, 0.0) + chance
        return found

    def expected(self, lack: Lack, p: Floats) -> dict[str, float]:
        """The same with chances of lack instead of a shelf: at most."""
        found: dict[str, float] = {}
        for pattern, chance in zip(self.patterns, self._weights(p), strict=True):
            for options, unmet in zip(pattern, _unmet(pattern, lack), strict=True):
                if unmet > 0:
                    for item in options:
                        found[item] = found.get(item, 0.0) + chance * unmet
        return found

    def unserved(self, p: Floats) -> dict[str, float]:
        """By need's name: chance that no option serves."""
        found: dict[str, float] = {}
        for pattern, chance in zip(self.patterns, self._weights(p), strict=True):
            for name, options in zip(self.names, pattern, strict=True):
                if not options and chance > 0:
                    found[name] = found.get(name, 0.0) + chance
        return found

    def _weights(self, p: Floats) -> list[float]:
        return list(np.bincount(self.row, weights=p, minlength=len(self.patterns)).tolist())


@dataclass(frozen=True)
class PartRows:
    """A part of a case by its classes; `p` and `known` per row, shape (R,)."""

    p: Floats
    known: Bools
    slots: tuple[SlotClass, ...]
    needs: tuple[NeedClass, ...]

    @cached_property
    def drawn(self) -> tuple[tuple[str, ...], Ints] | None:
        """Items that are drawn, and their places in each row, shape (R, slots), -1 for "not used".

        None where presence alone does not decide: slots that share items, second units, needs for sets.
        """
        if self.needs or not all(one.single for one in self.slots):
            return None
        names: list[str] = []
        columns = []
        for one in self.slots:
            place = np.full(one.size, -1, dtype=np.int64)
            place[one.way] = len(names) + one.item
            names += one.names
            columns.append(place[one.row])
        return tuple(names), np.column_stack(columns) if columns else np.zeros(
            (len(self.p), 0), dtype=np.int64
        )


def _laws(names: Sequence[str], table: Floats) -> dict[str, Floats]:
    """Laws of numbers from the chances of 1, 2, ... (one line each, the first column empty), each cut at the
    greatest that can occur."""
    table[:, 0] = np.maximum(0.0, 1.0 - table[:, 1:].sum(axis=1))
    lengths = ((table > 0) * np.arange(1, table.shape[1] + 1)).max(axis=1, initial=1)
    return {name: line[:n] for name, line, n in zip(names, table, lengths.tolist(), strict=True)}


def part_rows(case: CaseDemand, part: Part) -> PartRows:
    """Put the slots and needs of a part into classes."""
    slots = tuple(_slot_class(case, part, group) for group in _slot_groups(case, part))
    needs = tuple(_need_class(case, part, group) for group in _need_groups(case, part))
    return PartRows(part.p, ~part.unknown, slots, needs)


def _slot_groups(case: CaseDemand, part: Part) -> list[list[int]]:
    return _grouped((slot, case.slots[slot].items) for slot in part.slots)


def _need_groups(case: CaseDemand, part: Part) -> list[list[int]]:
    return _grouped((need, [option.item for option in case.needs[need].options]) for need in part.needs)


def _grouped(members: Iterable[tuple[int, Iterable[str]]]) -> list[list[int]]:
    unions, all_members = Unions(), []
    for member, items in members:
        unions.join([("member", member), *(("item", item) for item in items)])
        all_members.append(member)
    found: dict[object, list[int]] = {}
    for member in all_members:
        found.setdefault(unions.find(("member", member)), []).append(member)
    return list(found.values())


def _slot_class(case: CaseDemand, part: Part, slots: Sequence[int]) -> SlotClass:
    lines, row = distinct_lines([part.column(slot) for slot in slots])
    if len(slots) == 1:
        return _one_slot(case, slots[0], lines[:, 0], row)
    combination: list[int] = []
    share: list[float] = []
    asked: list[tuple[int, str, int]] = []
    for number, line in enumerate(lines.tolist()):
        for units, chance in _ways(case, slots, line):
            asked += [(len(share), item, n) for item, n in units.items()]
            combination.append(number)
            share.append(chance)
    names = tuple(sorted({item for _, item, _ in asked}))
    place = {item: n for n, item in enumerate(names)}
    entries = np.array([(way, place[item], n) for way, item, n in asked], dtype=np.int64).reshape(-1, 3)
    return SlotClass(
        row,
        len(lines),
        np.array(combination, dtype=np.int64),
        np.array(share, dtype=np.float64),
        names,
        entries[:, 0],
        entries[:, 1],
        entries[:, 2],
    )


def _one_slot(case: CaseDemand, slot: int, lines: Ints, row: Ints) -> SlotClass:
    """The class of a slot that shares no item: each item drawn asks for one, or for two with chance e."""
    own = case.slots[slot]
    used = np.flatnonzero(lines != UNUSED)
    item, one, two = np.arange(len(used)), np.ones(len(lines)), np.zeros(0, dtype=np.int64)
    if own.extra > 0:
        one[used] = 1.0 - own.extra
        two = used
    return SlotClass(
        row,
        len(lines),
        np.concatenate([np.arange(len(lines)), two]),
        np.concatenate([one, np.full(len(two), own.extra)]),
        tuple(own.items[index] for index in lines[used].tolist()),
        np.concatenate([used, len(lines) + np.arange(len(two))]),
        np.concatenate([item, item[: len(two)]]),
        np.concatenate([np.ones(len(used), dtype=np.int64), np.full(len(two), 2)]),
    )


def _ways(case: CaseDemand, slots: Sequence[int], line: Sequence[int]) -> list[tuple[dict[str, int], float]]:
    """Units asked for by one combination, each way a second one may be opened, with its chance."""
    ways: list[tuple[dict[str, int], float]] = [({}, 1.0)]
    for slot, index in zip(slots, line, strict=True):
        if index == UNUSED:
            continue
        item, extra = case.slots[slot].items[index], case.slots[slot].extra
        grown = [(_plus(units, item, 1), chance * (1.0 - extra)) for units, chance in ways]
        if extra > 0:
            grown += [(_plus(units, item, 2), chance * extra) for units, chance in ways]
        ways = [(units, chance) for units, chance in grown if chance > 0]
    return ways


def _plus(units: Mapping[str, int], item: str, n: int) -> dict[str, int]:
    return {**units, item: units.get(item, 0) + n}


def _need_class(case: CaseDemand, part: Part, needs: Sequence[int]) -> NeedClass:
    masks = [[serving(case, part, option) for option in case.needs[need].options] for need in needs]
    columns = []
    for own in masks:
        bits = np.zeros(len(part.p), dtype=np.int64)
        for place, mask in enumerate(own):
            bits += mask.astype(np.int64) << place
        columns.append(bits)
    lines, row = distinct_lines(columns)
    patterns = tuple(
        tuple(_served(case, need, code) for need, code in zip(needs, line, strict=True))
        for line in lines.tolist()
    )
    return NeedClass(row, tuple(case.needs[need].name for need in needs), patterns)


def _served(case: CaseDemand, need: int, code: int) -> tuple[str, ...]:
    options = case.needs[need].options
    return tuple(dict.fromkeys(option.item for n, option in enumerate(options) if code >> n & 1))


def _counted(way: Iterable[str]) -> dict[str, int]:
    count: dict[str, int] = {}
    for item in way:
        count[item] = count.get(item, 0) + 1
    return count


def _met(pattern: Sequence[Sequence[str]], counts: Counts) -> bool:
    if len(pattern) == 1:
        return any(counts.get(item, 0) > 0 for item in pattern[0])
    return any(
        all(counts.get(item, 0) >= n for item, n in _counted(way).items()) for way in product(*pattern)
    )


def _short_of(pattern: Sequence[Sequence[str]], counts: Counts) -> set[str]:
    unmet = {i for options in pattern if not any(counts.get(i, 0) > 0 for i in options) for i in options}
    if unmet or any(not options for options in pattern) or _met(pattern, counts):
        return unmet
    first = _counted(options[0] for options in pattern)
    return {item for item, n in first.items() if counts.get(item, 0) < n}


def _unmet(pattern: Sequence[Sequence[str]], lack: Lack) -> list[float]:
    """Per need the chance at most that none of its options is there, each wanted by all that it may meet."""
    wanted = _counted(item for options in pattern for item in options)
    return [min((lack(item, wanted[item]) for item in options), default=1.0) for options in pattern]
