"""Slots joined by fit rules: the joint law of what a case draws, in independent parts.

The joint law is the product of the slots' laws ("unused" is one more outcome), times the rules' weights,
restricted to combinations that meet every rule, over its total. Slots that are joined by a rule, by a common
item (both sides: demands add) or by a need for a set stand in one part; parts are independent. Total zero:
the case is impossible, a data error to show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from cases.planning.kinds import UNUSED, CaseDemand, TooManyOutcomesError
from cases.planning.parts import Floats, Ints, Part, Unions
from cases.planning.rows import PartRows, part_rows

MOST_ROWS = 1_000_000
"""Combinations that may be listed for one part."""

_REFUSED, _UNKNOWN, _ALLOWED = 0, 1, 2


@dataclass(frozen=True)
class Joint:
    """A case with its parts. `impossible`: no combination meets the rules; the parts are then empty."""

    case: CaseDemand
    parts: tuple[Part, ...]
    impossible: bool
    like: Joint | None = field(default=None, repr=False, compare=False)

    @cached_property
    def rows(self) -> tuple[PartRows, ...]:
        """The parts by their classes; worked out when first asked for."""
        if self.like is not None:
            return self.like.rows
        return tuple(part_rows(self.case, part) for part in self.parts)

    @cached_property
    def asked(self) -> dict[str, Floats]:
        """`demand_laws` of this law; worked out when first asked for."""
        return demand_laws(self) if self.like is None else self.like.asked


def for_case(law: Joint, case: CaseDemand) -> Joint:
    """The joint law of a case with the same slots, rules and needs; what was worked out is used again."""
    return Joint(case, law.parts, law.impossible, law.like or law)


def joint(case: CaseDemand) -> Joint:
    """Joint law of a case.

    Returns
    -------
    Joint
        Parts in order of their first slot; needs that name no slot come last.

    Raises
    ------
    TooManyOutcomesError
        More than `MOST_ROWS` combinations in one part.

    Notes
    -----
    Built slot by slot, rows that break a rule leaving as soon as both its slots are placed.
    """
    status, weights = _rule_tables(case), _rule_weights(case)
    groups = _groups(case)
    parts = []
    for slots, needs in groups:
        part = _part(case, slots, needs, status, weights)
        if part is None:
            return Joint(case, (), True)
        parts.append(part)
    return Joint(case, tuple(parts), False)


def clash(case: CaseDemand) -> tuple[int, ...]:
    """Numbers of the rules that leave no combination: so few that without one of them there would be some.

    Empty for a possible case.
    """
    kept = list(range(len(case.rules)))
    if not joint(_ruled(case, kept)).impossible:
        return ()
    for number in list(kept):
        without = [n for n in kept if n != number]
        if joint(_ruled(case, without)).impossible:
            kept = without
    return tuple(kept)


def _ruled(case: CaseDemand, numbers: Sequence[int]) -> CaseDemand:
    """The case with these of its rules, and the slots that they join; without needs."""
    rules = tuple(case.rules[n] for n in numbers)
    return replace(case, rules=rules, needs=())


def marginals(law: Joint) -> tuple[Floats, ...]:
    """Chance of each item of each slot under the joint law.

    Returns
    -------
    tuple of float arrays, one per slot, shapes (N_slot,)
        They sum to the chance that the slot is used. Empty tuple for an impossible case.
    """
    if law.impossible:
        return ()
    found: dict[int, Floats] = {}
    for part in law.parts:
        for slot in part.slots:
            n = len(law.case.slots[slot].items)
            counted = np.bincount(part.column(slot) + 1, weights=part.p, minlength=n + 1)
            found[slot] = np.asarray(counted[1:], dtype=np.float64)
    return tuple(found[s] for s in range(len(law.case.slots)))


def demand_laws(law: Joint) -> dict[str, Floats]:
    """Per item the chances that the case asks for 0, 1, 2, ... of it, whatever is in stock.

    A slot asks for one, or for two where a second is opened. For a set item every need that it may meet
    counts as asked, which is the most it can be.

    Returns
    -------
    dict of item to float array, shape (most + 1,)
        `most` is the most that may be asked for at once. Items that are never drawn are left out.
    """
    found: dict[str, Floats] = {}
    for rows in law.rows:
        laws = [one.asked(rows.p) for one in rows.slots] + [one.asked(rows.p) for one in rows.needs]
        for one in laws:
            found.update((item, asked) for item, asked in one.items() if len(asked) > 1)
    return found


def _groups(case: CaseDemand) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    unions = Unions()
    for slot, own in enumerate(case.slots):
        unions.join([("slot", slot), *(("item", item) for item in own.items)])
    for rule in case.rules:
        unions.join([("slot", rule.a), ("slot", rule.b)])
    for number, need in enumerate(case.needs):
        unions.join([("need", number), *(("item", option.item) for option in need.options)])
        unions.join([("need", number), *(("slot", s) for option in need.options for s, _ in option.serves)])
    gathered: dict[object, tuple[list[int], list[int]]] = {}
    for slot in range(len(case.slots)):
        gathered.setdefault(unions.find(("slot", slot)), ([], []))[0].append(slot)
    for number in range(len(case.needs)):
        gathered.setdefault(unions.find(("need", number)), ([], []))[1].append(number)
    return [(tuple(slots), tuple(needs)) for slots, needs in gathered.values()]


def _rule_tables(case: CaseDemand) -> dict[tuple[int, int], Ints]:
    """Per pair of slots (a < b) a table of states, shape (Na + 1, Nb + 1); the last row and column are
    "unused"."""
    tables: dict[tuple[int, int], Ints] = {}
    for rule in case.rules:
        na, nb = len(case.slots[rule.a].items), len(case.slots[rule.b].items)
        table = np.zeros((na + 1, nb + 1), dtype=np.int64)
        for i, j in rule.unknown:
            if 0 <= i < na and 0 <= j < nb:
                table[i, j] = _UNKNOWN
        for i, j in rule.allow:
            if 0 <= i < na and 0 <= j < nb:
                table[i, j] = _ALLOWED
        table[UNUSED, :] = _ALLOWED
        table[:, UNUSED] = _ALLOWED
        key, oriented = ((rule.a, rule.b), table) if rule.a < rule.b else ((rule.b, rule.a), table.T)
        tables[key] = np.minimum(tables[key], oriented) if key in tables else oriented
    return tables


def _rule_weights(case: CaseDemand) -> dict[tuple[int, int], Floats]:
    """Per pair of slots (a < b) what the rules make of the chance of each pair, shape (Na + 1, Nb + 1)."""
    tables: dict[tuple[int, int], Floats] = {}
    for rule in case.rules:
        if rule.weight:
            table = np.pad(np.array(rule.weight, dtype=np.float64), (0, 1), constant_values=1.0)
            key, oriented = ((rule.a, rule.b), table) if rule.a < rule.b else ((rule.b, rule.a), table.T)
            tables[key] = tables[key] * oriented if key in tables else oriented
    return tables


def _slot_outcomes(case: CaseDemand, slot: int) -> tuple[Ints, Floats]:
    """Indices with a positive chance, and the chances; "unused" last."""
    own = case.slots[slot]
    weights = np.asarray(own.weights, dtype=np.float64)
    p = own.use * weights / weights.sum() if len(weights) else weights
    indices = np.flatnonzero(p > 0)
    chances = p[indices]
    if own.use < 1.0:
        indices = np.append(indices, UNUSED)
        chances = np.append(chances, 1.0 - own.use)
    return indices.astype(np.int64), chances


def too_many(case: CaseDemand) -> TooManyOutcomesError:
    """The error of a case with more than `MOST_ROWS` combinations."""
    return TooManyOutcomesError(f"Case {case.ref}: more than {MOST_ROWS} combinations; add rules.")


def _part(
    case: CaseDemand,
    slots: tuple[int, ...],
    needs: tuple[int, ...],
    status: dict[tuple[int, int], Ints],
    weights: dict[tuple[int, int], Floats],
) -> Part | None:
    rows = np.zeros((1, 0), dtype=np.int64)
    p, unknown = np.ones(1), np.zeros(1, dtype=np.bool_)
    for place, slot in enumerate(slots):
        indices, chances = _slot_outcomes(case, slot)
        if len(rows) * len(indices) > MOST_ROWS:
            raise too_many(case)
        rows = np.column_stack([np.repeat(rows, len(indices), axis=0), np.tile(indices, len(rows))])
        p = np.outer(p, chances).ravel()
        unknown = np.repeat(unknown, len(indices))
        for before, earlier in enumerate(slots[:place]):
            table = status.get((earlier, slot))
            if table is not None:
                state = table[rows[:, before], rows[:, place]]
                keep = state != _REFUSED
                unknown = (unknown | (state == _UNKNOWN))[keep]
                rows, p = rows[keep], p[keep]
            if (earlier, slot) in weights:
                p = p * weights[earlier, slot][rows[:, before], rows[:, place]]
    total = p.sum()
    if not total > 0:
        return None
    return Part(slots, rows, p / total, unknown, needs)
