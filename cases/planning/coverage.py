"""One case: what it finds, what it misses and which single item would help most.

The chance of cover and the chance of short are each summed from the outcomes that make them up, never one
from the other, so that a chance of short of 1e-9 keeps its digits.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.fit import Joint, joint
from cases.planning.kinds import CaseAnswer, CaseDemand, Missing, OneMore
from cases.planning.parts import Floats
from cases.planning.readings import Reading
from cases.planning.rows import NeedClass, PartRows, SlotClass

GRAIN = 1e-12
"""A relative difference that rounding may make."""


@dataclass(frozen=True)
class Side:
    """One independent block of a case, per term of the law it is met under. All arrays have shape (terms,).

    `covered` + `missed` = the share without unknown pairs (`known`), `known` + `unknown` = `mass`.
    """

    covered: Floats
    missed: Floats
    known: Floats
    unknown: Floats
    mass: Floats


@dataclass(frozen=True)
class Sides:
    """P(cover) and P(short) of a case, low and high as in `CaseAnswer`, and P(unknown)."""

    cover_low: float
    cover_high: float
    short_low: float
    short_high: float
    unknown: float


def sides(blocks: Sequence[Side], weights: Floats) -> Sides:
    """Put the blocks of a case together.

    Parameters
    ----------
    blocks : sequence of Side
        Independent within a term.
    weights : float array, shape (terms,)
        Signed weights of the terms.

    Notes
    -----
    P(short) is the chance that block 1 fails, plus that block 1 holds and block 2 fails, and so on: sums of
    products of positive numbers.
    """
    good, known = weights, weights
    short_low = short_high = unknown = np.zeros_like(weights)
    for block in blocks:
        short_low = short_low * block.known + good * block.missed
        short_high = short_high * block.mass + good * (block.missed + block.unknown)
        unknown = unknown * block.mass + known * block.unknown
        good, known = good * block.covered, known * block.known
    cover, lost, high = float(good.sum()), float(unknown.sum()), float(short_high.sum())
    low = min(high, float(short_low.sum())) if lost else high
    return Sides(cover, cover + lost, low, high, lost)


def side_of(reading: Reading, states: Floats) -> Side:
    """A block's sums under laws of the shelf, shape (terms, states), which need not have mass one."""
    mass = states.sum(axis=1)
    return Side(
        states @ reading.covered(),
        states @ reading.missed(),
        reading.known * mass,
        reading.unknown * mass,
        mass,
    )


def one_more(
    blocks: Sequence[Side], weights: Floats, candidates: Iterable[tuple[str, int, Side]], now: Sides
) -> tuple[OneMore, ...]:
    """P(short) with one block replaced, for each candidate (item, block number, block with one more of
    it)."""
    found = []
    for item, number, better in candidates:
        new = sides([*blocks[:number], better, *blocks[number + 1 :]], weights)
        if _less(new.short_high, now.short_high) or _less(new.short_low, now.short_low):
            found.append(OneMore(item, max(0.0, new.short_low), max(0.0, new.short_high)))
    return in_order_of_help(found)


def in_order_of_help(found: Iterable[OneMore]) -> tuple[OneMore, ...]:
    """Least P(short) first; of those equal but for rounding, by name."""
    return tuple(sorted(found, key=lambda m: (_coarse(m.p_short_high), _coarse(m.p_short_low), m.item)))


def _coarse(p: float) -> float:
    """The chance to ten digits, so that no last bit decides an order."""
    return float(f"{p:.9e}")


def _less(new: float, now: float) -> bool:
    """Less by more than rounding can make."""
    return new < now * (1.0 - GRAIN)


def ranked(chances: Mapping[str, float]) -> tuple[Missing, ...]:
    """Positive chances, greatest first, ties by name."""
    kept = [(item, p) for item, p in chances.items() if p > 0]
    return tuple(Missing(item, p) for item, p in sorted(kept, key=lambda pair: (-_coarse(pair[1]), pair[0])))


def impossible(case: CaseDemand) -> CaseAnswer:
    """Answer for a case whose rules leave no combination."""
    return CaseAnswer(case.ref, True, True, 0.0, 0.0, 1.0, 1.0, 0.0, (), (), (), ())


def cover(
    case: CaseDemand, counts: Mapping[str, int], law: Joint | None = None, *, help_wanted: bool = True
) -> CaseAnswer:
    """One case alone against plain counts of units and sets.

    Parameters
    ----------
    case : CaseDemand
    counts : mapping of item to int
        Units, or sets, that it may take; an item not named is not there.
    law : Joint, optional
        `fit.joint(case)` if it is at hand.
    help_wanted : bool
        Whether to try one more of each missing item; without it `one_more` stays empty.

    Returns
    -------
    CaseAnswer
        Exact.

    Raises
    ------
    TooManyOutcomesError
        See `fit.joint`.

    Examples
    --------
    >>> from cases.planning.kinds import SlotLaw
    >>> case = CaseDemand(1, (SlotLaw("femoral", ("F3", "F4"), (1, 3)),))
    >>> answer = cover(case, {"F4": 1})
    >>> answer.p_cover_low, answer.p_short_high, answer.missing
    (0.75, 0.25, (Missing(item='F3', p=0.25),))
    """
    law = law or joint(case)
    if law.impossible:
        return impossible(case)
    parts = [Judged(rows, counts) for rows in law.rows]
    blocks = [part.side() for part in parts]
    weights = np.ones(1)
    total = sides(blocks, weights)
    missing = {item: p for part in parts for item, p in part.missing().items()}
    better = (
        ((item, number, part.side_with(item)) for number, part in enumerate(parts) for item in part.helpers())
        if help_wanted
        else ()
    )
    unserved: dict[str, float] = {}
    for part in parts:
        for name, p in part.unserved().items():
            unserved[name] = unserved.get(name, 0.0) + p
    return CaseAnswer(
        case.ref,
        False,
        True,
        total.cover_low,
        total.cover_high,
        total.short_low,
        total.short_high,
        total.unknown,
        ranked(missing),
        ranked(unserved),
        (),
        one_more(blocks, weights, better, total),
    )


def missed(rows: PartRows, counts: Mapping[str, int]) -> float:
    """P(a part asks for more than is there), pairs without a rule on file taken as fitting."""
    if rows.drawn is not None:
        names, places = rows.drawn
        here = np.array([counts.get(name, 0) < 1 for name in names] + [False])
        return float(rows.p @ here[places].any(axis=1))
    good = np.ones(len(rows.p))
    for slot in rows.slots:
        good *= slot.judge(counts)[0][slot.row]
    for need in rows.needs:
        good *= need.judge(counts)[need.row]
    return float(rows.p @ (1.0 - good))


class Judged:
    """One part of a case decided for plain counts of units and sets; items not named are not there."""

    def __init__(self, rows: PartRows, counts: Mapping[str, int]) -> None:
        self._rows, self._counts = rows, counts
        self._classes: list[SlotClass | NeedClass] = [*rows.slots, *rows.needs]
        self._factors = [_factor(one, counts) for one in self._classes]

    def side(self) -> Side:
        """The part's sums."""
        return self._side(self._factors)

    def side_with(self, item: str) -> Side:
        """The part's sums if there were one more of `item`."""
        more = {**self._counts, item: self._counts.get(item, 0) + 1}
        return self._side(
            [
                _factor(one, more) if item in one.items() else factor
                for one, factor in zip(self._classes, self._factors, strict=True)
            ]
        )

    def _side(self, factors: Sequence[tuple[Floats, Floats]]) -> Side:
        p, known = self._rows.p, self._rows.known
        good, short = np.ones(len(p)), np.zeros(len(p))
        for met, unmet in factors:
            short = short + good * unmet
            good = good * met
        sums = (p[known] @ good[known], p[known] @ short[known], p[known].sum(), p[~known].sum(), p.sum())
        return Side(*(np.array([value], dtype=np.float64) for value in sums))

    def missing(self) -> dict[str, float]:
        """Per item the chance that it is drawn and too few are there, or that a need it serves is unmet."""
        found: dict[str, float] = {}
        for one in self._classes:
            for item, p in one.short_of(self._counts, self._rows.p).items():
                found[item] = found.get(item, 0.0) + p
        return found

    def helpers(self) -> list[str]:
        """Items of which one more may help: those missing, and sets that several needs contend for."""
        found = set(self.missing())
        for need, (_, unmet) in zip(self._rows.needs, self._factors[len(self._rows.slots) :], strict=True):
            if len(need.names) > 1 and unmet.any():
                found |= need.items()
        return sorted(found)

    def unserved(self) -> dict[str, float]:
        """By need's name: chance that no listed option serves what is drawn."""
        found: dict[str, float] = {}
        for need in self._rows.needs:
            for name, p in need.unserved(self._rows.p).items():
                found[name] = found.get(name, 0.0) + p
        return found


def _factor(one: SlotClass | NeedClass, counts: Mapping[str, int]) -> tuple[Floats, Floats]:
    """Per row the chance that the class is met, and that it is not."""
    if isinstance(one, SlotClass):
        met, unmet = one.judge(counts)
        return met[one.row], unmet[one.row]
    ok = one.judge(counts)[one.row]
    return ok.astype(np.float64), (~ok).astype(np.float64)


def with_more(reading: Reading, block: Side, states: Floats, item: str) -> Side:
    """The block if the case found one more of `item`."""
    covered, missed = reading.with_one_more(item)
    return Side(states @ covered, states @ missed, block.known, block.unknown, block.mass)
