"""What is surely not exceeded when the exact law is too dear: P(short) if shorts too had taken what they
asked for.

A short case takes nothing, so on every path the real shelf holds at least what it would hold if every case
had taken all it asked for. Demands without that feedback are independent from case to case, so per item its
law is easy, and independent items multiply. Within items that some case links, chances of missing are added
(Bonferroni).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from cases.planning.agenda import Visit
from cases.planning.coverage import Sides, in_order_of_help
from cases.planning.flows import Finding
from cases.planning.kinds import OneMore
from cases.planning.parts import Floats, Unions
from cases.planning.rows import NeedClass, PartRows, SlotClass
from cases.planning.stores import Sets
from cases.planning.tracks import Track


class Demands:
    """Laws of each item's shelf if every case took what it asks for, worked out when first asked for."""

    def __init__(self, asked: Sequence[Mapping[str, Floats]]) -> None:
        self._asked = asked
        self._shelf: dict[str, list[Floats]] = {}
        self._lack: dict[tuple[str, int], Floats] = {}

    def lack(self, track: Track, t: int) -> Floats:
        """Greatest chance that taker `t` finds fewer than 0, 1, ..., most. Shape (most + 1,)."""
        key = (track.item, t)
        if key not in self._lack:
            if isinstance(track.store, Sets):
                found = self._of_sets(track, track.store, t)
            elif track.wide:
                found = np.eye(1, track.most[t] + 1)[0]
            else:
                found = self._of_units(track, t)
            self._lack[key] = np.minimum(1.0, np.concatenate([[0.0], np.cumsum(found)[:-1]]))
        return self._lack[key]

    def asked(self, track: Track, t: int) -> Floats:
        """Chances that taker `t` asks for 0, 1, ... of the item."""
        return self._asked[track.takers[t]][track.item]

    def _of_units(self, track: Track, t: int) -> Floats:
        """Law of what taker `t` finds, at 0, 1, ..., most."""
        laws = self._shelf.setdefault(track.item, [np.ones(1)])
        while len(laws) <= t:
            s = len(laws) - 1
            asked, law = self.asked(track, s), laws[s]
            new = np.zeros(track.states(s + 1))
            for k, chance in enumerate(asked):
                new += np.bincount(track.after[s][k], weights=law * chance, minlength=len(new))
            laws.append(new)
        return np.bincount(track.found[t], weights=laws[t], minlength=track.most[t] + 1).astype(np.float64)

    def _of_sets(self, track: Track, store: Sets, t: int) -> Floats:
        """The same for sets: all asked for by cases whose set is not back in time are counted as away."""
        away = np.ones(1)
        for s in range(t):
            if store.meets(s, t):
                asked, own = self.asked(track, s), store.own(s)
                away = np.convolve(away, np.concatenate([[asked[: own + 1].sum()], asked[own + 1 :]]))
        found = np.zeros(track.most[t] + 1)
        for gone, chance in enumerate(away):
            there = min(track.most[t], max(0, store.own(t) + store.least(t, gone)))
            found[there] += chance
        return found


class _Judged:
    """One part of a case, and the chances at most that items are too few for it."""

    def __init__(self, rows: PartRows, visit: Visit, demands: Demands) -> None:
        self._rows = rows
        self._lacks = {
            item: demands.lack(*visit.turns[item]).tolist()
            for items in (*(s.items() for s in rows.slots), *(n.items() for n in rows.needs))
            for item in items
            if item in visit.turns
        }
        self._classes: list[SlotClass | NeedClass] = [*rows.slots, *rows.needs]
        self._totals = [one.expect(self._lack)[one.row] for one in self._classes]

    def _lack(self, item: str, n: int) -> float:
        chances = self._lacks.get(item)
        return 0.0 if chances is None or n <= 0 else chances[min(n, len(chances) - 1)]

    def short(self) -> Floats:
        """Chance of short at most: unknown outcomes covered, short, taken as fitting. Shape (3,)."""
        return self._short(self._totals)

    def short_with(self, item: str) -> Floats:
        """The same if there were one more of `item`."""

        def lack(other: str, n: int) -> float:
            return self._lack(other, n - (other == item))

        return self._short(
            [
                one.expect(lack)[one.row] if item in one.items() else total
                for one, total in zip(self._classes, self._totals, strict=True)
            ]
        )

    def _short(self, totals: Sequence[Floats]) -> Floats:
        p, known = self._rows.p, self._rows.known
        lost = p * np.minimum(1.0, sum(totals, np.zeros(len(p))))
        low, unknown = float(lost[known].sum()), float(p[~known].sum())
        return np.minimum(1.0, [low, low + unknown, float(lost.sum())])

    def known(self) -> float:
        """Chance of the outcomes that have their rules on file."""
        return float(self._rows.p[self._rows.known].sum())

    def missing(self) -> dict[str, float]:
        """Per item the chance at most that it is drawn and too few are there."""
        found: dict[str, float] = {}
        p = self._rows.p
        lists = [slot.lacking(self._lack, p) for slot in self._rows.slots]
        lists += [need.expected(self._lack, p) for need in self._rows.needs]
        for one in lists:
            for item, chance in one.items():
                if item in self._lacks:
                    found[item] = min(1.0, found.get(item, 0.0) + chance)
        return found


def bound(
    visit: Visit, demands: Demands, linked: Unions, explain: bool, good_enough: float = -1.0
) -> Finding:
    """Proven upper bounds for one case.

    Parameters
    ----------
    visit : Visit
    demands : Demands
    linked : Unions
        Items joined where one part of this or an earlier case draws on them.
    explain : bool
        Also give `missing` and the items whose one more lowers the bound.
    good_enough : float
        A bound for which the latter are left out.
    """
    parts = [_Judged(rows, visit, demands) for rows in visit.law.rows]
    homes = [
        linked.find(("item", items[0])) if items else ("part", number)
        for number, items in enumerate(visit.part_items)
    ]
    shorts = [part.short() for part in parts]
    low, high, failed = _together(homes, shorts)
    unknown = 1.0 - float(np.prod([part.known() for part in parts]))
    total = Sides(1.0 - high, 1.0 - low, low, high, max(0.0, unknown))
    if not explain:
        return Finding(total, failed, {}, ())
    missing: dict[str, float] = {}
    more = []
    for number, part in enumerate(parts):
        for item, p in part.missing().items():
            missing[item] = missing.get(item, 0.0) + p
            if p > 0 and high > good_enough:
                eased = [*shorts[:number], part.short_with(item), *shorts[number + 1 :]]
                new_low, new_high, _ = _together(homes, eased)
                if new_high < high or new_low < low:
                    more.append(OneMore(item, new_low, new_high))
    return Finding(total, failed, missing, in_order_of_help(more))


def _together(homes: Sequence[object], shorts: Sequence[Floats]) -> tuple[float, float, float]:
    """Parts whose items were ever linked add up; groups never linked are independent and multiply."""
    groups: dict[object, Floats] = {}
    for home, short in zip(homes, shorts, strict=True):
        groups[home] = groups[home] + short if home in groups else short
    served, short = np.ones(3), np.zeros(3)
    for one in groups.values():
        one = np.minimum(1.0, one)
        short = short + served * one
        served = served * (1.0 - one)
    return float(short[0]), float(short[1]), float(short[2])
