"""What one case may draw, as flat arrays: worked out once for all cases that have the same law.

A case is made of *groups* that are drawn independently. A group has *combinations*, each with its chance; a
combination has *terms*, all of which must be met. A term of a slot asks for one or more of one item. A term
of a need asks for the first of its *options* that is there.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.fit import Joint
from cases.planning.kinds import CaseDemand, PlanningError
from cases.planning.parts import Bools, Floats, Ints
from cases.planning.rows import NeedClass, PartRows, SlotClass

MOST_AT_ONCE = 8
"""Units of one item that one case may ask for at once; more is refused."""

_Law = tuple[float, ...]
_Option = tuple[int, _Law]


@dataclass(frozen=True)
class Pattern:
    """The law of one case, with items by number.

    Attributes
    ----------
    items : int array, shape (k,)
        Numbers of the items that it may draw, ascending.
    chance : float array, shape (k, K)
        Chance that it asks for exactly 1, 2, ..., K of each. A need asks for all its options, which is the
        most it can take.
    surplus : float array, shape (k, K)
        Where several groups draw on one item: how much likelier exactly 1, 2, ... in all are than 1, 2, ...
        as the greatest that one group asks for. Nought elsewhere.
    labels : tuple of str, length g
        Words for each group, for messages.
    tie : int array, shape (g,)
        Groups with one number depend on one another beyond their items.
    combo_group : int array, combo_p : float array, combo_unknown : bool array, shapes (x,)
        Per combination its group, its chance (sum 1 over each group), and whether it holds a pair without a
        rule.
    entry_combo, entry_term : int arrays, shape (e,)
        Which terms each combination has.
    term_need : bool array, shape (t,)
    option_term, option_pair : int arrays, shape (o,)
        The options of each term in their order, each naming a place in `items`. A term without one is never
        met.
    option_law : float array, shape (o, K)
        Chance that exactly 1, 2, ..., K are asked for, given the term. Sum 1.
    bond_a, bond_b : int arrays, bond_p : float array, shape (b,)
        Places in `items` of two items that one combination may ask for, and the chance that it does.
    impossible : bool
        No combination meets the rules: all arrays are empty.
    """

    items: Ints
    chance: Floats
    surplus: Floats
    labels: tuple[str, ...]
    tie: Ints
    combo_group: Ints
    combo_p: Floats
    combo_unknown: Bools
    entry_combo: Ints
    entry_term: Ints
    term_need: Bools
    option_term: Ints
    option_pair: Ints
    option_law: Floats
    bond_a: Ints
    bond_b: Ints
    bond_p: Floats
    impossible: bool = False

    @property
    def width(self) -> int:
        """K."""
        return int(self.chance.shape[1])


def pattern_of(
    blocks: Sequence[tuple[Joint, int]],
    number: Mapping[str, int],
    *,
    sure: Collection[str] = (),
    once: Sequence[tuple[str, Sequence[str], float]] = (),
) -> Pattern:
    """The pattern of a case.

    Parameters
    ----------
    blocks : sequence of (Joint, tie)
        What is drawn independently but for the shelf: one joint law, or one for each side. Blocks with one
        tie of 0 or more depend on one another; -1: on none.
    number : mapping of item to int
        Numbers of all items.
    sure : collection of str
        Items that never run out: a need that one of them meets asks for nothing.
    once : sequence of (name, options, chance)
        Needs beside the blocks, each asking for a set with a chance. They are drawn apart and tied to blocks
        of tie 0.

    Raises
    ------
    PlanningError
        An item without a number, or more than `MOST_AT_ONCE` of one item asked for at once.
    """
    if any(law.impossible for law, _ in blocks):
        return nothing()
    made = _Maker(number, sure)
    for law, tie in blocks:
        for rows, part in zip(law.rows, law.parts, strict=True):
            made.add(rows, _label(law.case, part.slots, part.needs), tie)
    for name, options, chance in once:
        made.need(name, options, chance)
    return made.pattern()


def slots_pattern(slots: Sequence[tuple[str, Ints, Floats, float, float]]) -> Pattern:
    """The pattern of independent slots with distinct items: `(name, items, chances, use, extra)` each.

    Raises
    ------
    PlanningError
        Chances that are not finite, negative or all nought; an item in two slots.
    """
    made = _Maker({}, ())
    for name, items, weights, use, extra in slots:
        p = np.asarray(weights, dtype=np.float64)
        if not np.isfinite(p).all() or (p < 0).any() or not p.sum() > 0:
            raise PlanningError(
                f"Slot {name}: its chances must be numbers of nought or more, not all nought."
            )
        if set(made.laws) & set(items.tolist()):
            raise PlanningError(f"Slot {name} draws on an item of another slot: give their joint law.")
        law = _cut((1.0 - extra, extra))
        p = np.append(use * p / p.sum(), 1.0 - use)
        terms = [made.term(False, ((item, law),)) for item in items.tolist()]
        made.group(name, p, np.zeros(len(p), dtype=np.bool_), -1, np.arange(len(terms)), _ints(terms))
        for item, chance in zip(items.tolist(), p.tolist(), strict=False):
            made.asks(item, np.array([1.0 - chance, *(chance * share for share in law)]))
    return made.pattern()


class _Maker:
    """Gathers the groups of one pattern."""

    def __init__(self, number: Mapping[str, int], sure: Collection[str]) -> None:
        self._number, self._sure = number, sure
        self._terms: dict[tuple[bool, tuple[_Option, ...]], int] = {}
        self._labels: list[str] = []
        self._ties: list[int] = []
        self._p: list[Floats] = []
        self._unknown: list[Bools] = []
        self._owner: list[Ints] = []
        self._term: list[Ints] = []
        self._combos = 0
        self.laws: dict[int, list[Floats]] = {}

    def add(self, rows: PartRows, label: str, tie: int) -> None:
        """One independent part of a joint law."""
        owners: list[Ints] = []
        terms: list[Ints] = []
        classes: list[SlotClass | NeedClass] = [*rows.slots, *rows.needs]
        for one in classes:
            own = self._slot_terms(one) if isinstance(one, SlotClass) else self._need_terms(one)
            count = np.array([len(each) for each in own], dtype=np.int64)
            size = count[one.row]
            flat = _ints([term for each in own for term in each])
            inside = np.arange(int(size.sum())) - np.repeat(np.cumsum(size) - size, size)
            owners.append(np.repeat(np.arange(len(one.row)), size))
            terms.append(flat[np.repeat((np.cumsum(count) - count)[one.row], size) + inside])
        owner, term = np.concatenate([_ints([]), *owners]), np.concatenate([_ints([]), *terms])
        self.group(label, rows.p, ~rows.known, tie, owner, term)
        for one in classes:
            asked = one.asked(rows.p) if isinstance(one, SlotClass) else self._need_asked(one, rows.p)
            for item, law in asked.items():
                if item not in self._sure and len(law) > 1:
                    self.asks(self._of(item), law)

    def need(self, name: str, options: Sequence[str], chance: float) -> None:
        """A need of its own that asks with a chance."""
        items = [self._of(item) for item in options]
        term = self.term(True, tuple((item, (1.0,)) for item in items))
        p = np.array([chance, 1.0 - chance])
        self.group(name, p, np.zeros(2, dtype=np.bool_), 0, _ints([0]), _ints([term]))
        for item in items:
            self.asks(item, np.array([1.0 - chance, chance]))

    def group(self, label: str, p: Floats, unknown: Bools, tie: int, owner: Ints, term: Ints) -> None:
        """One group: its combinations, and the terms that each (`owner`) has.

        Combinations without a chance are left out.
        """
        there = p > 0
        place = np.cumsum(there) - 1 + self._combos
        kept = there[owner]
        owner, term = place[owner[kept]], term[kept]
        order = np.argsort(owner, kind="stable")
        self._labels.append(label)
        self._ties.append(tie)
        self._p.append(p[there])
        self._unknown.append(unknown[there])
        self._owner.append(owner[order])
        self._term.append(term[order])
        self._combos += int(there.sum())

    def asks(self, item: int, law: Floats) -> None:
        """One more group asks for so many of an item: chances of 0, 1, ..."""
        self.laws.setdefault(item, []).append(law)

    def term(self, need: bool, options: tuple[_Option, ...]) -> int:
        """The number of a term; equal ones are one."""
        return self._terms.setdefault((need, options), len(self._terms))

    def _of(self, item: str) -> int:
        if item not in self._number:
            raise PlanningError(f"Item {item} has no number.")
        return self._number[item]

    def _slot_terms(self, one: SlotClass) -> list[list[int]]:
        """Per combination of the class the terms that it has."""
        laws: dict[tuple[int, int], dict[int, float]] = {}
        for way, item, n in zip(one.way.tolist(), one.item.tolist(), one.number.tolist(), strict=True):
            law = laws.setdefault((int(one.combination[way]), item), {})
            law[n] = law.get(n, 0.0) + float(one.share[way])
        found: list[list[int]] = [[] for _ in range(one.size)]
        for (combination, item), law in laws.items():
            name = one.names[item]
            if name not in self._sure:
                chances = _cut([law.get(n, 0.0) for n in range(1, max(law) + 1)])
                found[combination].append(self.term(False, ((self._of(name), chances),)))
        return found

    def _need_terms(self, one: NeedClass) -> list[list[int]]:
        """Per pattern of the class the terms that it has."""
        found = []
        for pattern in one.patterns:
            asking = self._asking(pattern)
            wanted = _counted(asking)
            found.append(
                [
                    self.term(True, tuple((self._of(i), (0.0,) * (wanted[i] - 1) + (1.0,)) for i in options))
                    for options in asking
                ]
            )
        return found

    def _need_asked(self, one: NeedClass, p: Floats) -> dict[str, Floats]:
        """Per set the chances that it may meet 0, 1, 2, ... needs, those left out that ask for nothing."""
        shares = np.bincount(one.row, weights=p, minlength=len(one.patterns)).tolist()
        found: dict[str, Floats] = {}
        for pattern, share in zip(one.patterns, shares, strict=True):
            for item, n in _counted(self._asking(pattern)).items():
                law = found.setdefault(item, np.zeros(len(one.names) + 1))
                law[n] += share
        for law in found.values():
            law[0] = max(0.0, 1.0 - law[1:].sum())
        return {item: law[: 1 + int(np.flatnonzero(law).max())] for item, law in found.items()}

    def _asking(self, pattern: Sequence[Sequence[str]]) -> list[Sequence[str]]:
        """The needs that no sure item meets."""
        return [options for options in pattern if not any(item in self._sure for item in options)]

    def pattern(self) -> Pattern:
        """All that was gathered, as arrays."""
        items = sorted(self.laws)
        place = {item: n for n, item in enumerate(items)}
        totals = [_in_all(self.laws[item]) for item in items]
        width = max([1, *(len(law) - 1 for law in totals)])
        if width > MOST_AT_ONCE:
            raise PlanningError(f"A case asks for more than {MOST_AT_ONCE} of one item at once.")
        surplus = [_surplus(self.laws[item], total) for item, total in zip(items, totals, strict=True)]
        options = [(n, place[item], law) for (_, own), n in self._terms.items() for item, law in own]
        sizes = [len(p) for p in self._p]
        combo_p = np.concatenate([np.empty(0), *self._p])
        owner = np.concatenate([_ints([]), *self._owner])
        term = np.concatenate([_ints([]), *self._term])
        return Pattern(
            _ints(items),
            _table([law[1:].tolist() for law in totals], width),
            _table([law.tolist() for law in surplus], width),
            tuple(self._labels),
            _ints(self._ties),
            np.repeat(np.arange(len(sizes)), sizes),
            combo_p,
            np.concatenate([np.empty(0, dtype=np.bool_), *self._unknown]),
            owner,
            term,
            np.array([need for need, _ in self._terms], dtype=np.bool_),
            _ints([n for n, _, _ in options]),
            _ints([pair for _, pair, _ in options]),
            _table([law for _, _, law in options], width),
            *self._bonds(place, combo_p, owner, term),
        )

    def _bonds(
        self, place: Mapping[int, int], p: Floats, owner: Ints, term: Ints
    ) -> tuple[Ints, Ints, Floats]:
        """How likely two items are asked for together; a need counts by its first option."""
        size = len(place) + 1
        item = _ints([place[own[0][0]] if own else len(place) for _, own in self._terms])[term]
        table = np.zeros(size * size)
        for lag in range(1, int(np.bincount(owner).max(initial=0))):
            mate = np.flatnonzero(owner[lag:] == owner[:-lag])
            a, b = item[mate], item[mate + lag]
            codes = np.minimum(a, b) * size + np.maximum(a, b)
            table += np.bincount(codes, weights=p[owner[mate]], minlength=size * size)
        together = np.triu(table.reshape(size, size)[:-1, :-1], k=1)
        first, second = np.nonzero(together)
        return first, second, together[first, second]


def nothing() -> Pattern:
    """The pattern of a case whose rules leave no combination."""
    none, nobody = _ints([]), np.empty(0)
    empty = np.empty((0, 1))
    flags = np.empty(0, dtype=np.bool_)
    return Pattern(
        items=none,
        chance=empty,
        surplus=empty,
        labels=(),
        tie=none,
        combo_group=none,
        combo_p=nobody,
        combo_unknown=flags,
        entry_combo=none,
        entry_term=none,
        term_need=flags,
        option_term=none,
        option_pair=none,
        option_law=empty,
        bond_a=none,
        bond_b=none,
        bond_p=nobody,
        impossible=True,
    )


def _label(case: CaseDemand, slots: Sequence[int], needs: Sequence[int]) -> str:
    return ", ".join([*(case.slots[n].name for n in slots), *(case.needs[n].name for n in needs)])


def _in_all(laws: Sequence[Floats]) -> Floats:
    total = laws[0]
    for law in laws[1:]:
        total = np.convolve(total, law)
    return total


def _surplus(laws: Sequence[Floats], total: Floats) -> Floats:
    """P(in all n) - P(the greatest is n), n = 1, 2, ..."""
    if len(laws) == 1:
        return np.zeros(len(total) - 1)
    greatest = np.ones(len(total))
    for law in laws:
        greatest = greatest * np.cumsum(np.pad(law, (0, len(total) - len(law))))
    return np.asarray((total - np.diff(greatest, prepend=0.0))[1:], dtype=np.float64)


def _counted(needs: Sequence[Sequence[str]]) -> dict[str, int]:
    """How many of the needs each item may meet."""
    found: dict[str, int] = {}
    for item in (item for options in needs for item in options):
        found[item] = found.get(item, 0) + 1
    return found


def _cut(law: Sequence[float]) -> _Law:
    """Without the noughts at its end."""
    kept = list(law)
    while len(kept) > 1 and kept[-1] == 0.0:
        kept.pop()
    return tuple(kept)


def _table(lines: Sequence[Sequence[float]], width: int) -> Floats:
    table = np.zeros((len(lines), width))
    for n, line in enumerate(lines):
        table[n, : len(line)] = line
    return table


def _ints(values: Sequence[int]) -> Ints:
    return np.array(values, dtype=np.int64)
