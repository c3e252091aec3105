"""Cases in order through a shared shelf: the exact law of the shelf before each, as long as it can be
afforded.

Only items that some later case can still miss are carried, items meet in one table only where one part of a
case draws on both, and independent clusters stay apart (`terms`). When a case would cost too much, its
items are "lost": no exact law is kept for them, and cases that draw on them get bounds (`bounds`), until an
item can no longer run short whatever happened before.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.agenda import Visit
from cases.planning.coverage import Side, Sides, one_more, side_of, sides, with_more
from cases.planning.kinds import OneMore
from cases.planning.parts import Floats, Unions
from cases.planning.readings import Outcome, Reading, combine, doubtful_items
from cases.planning.terms import (
    Cluster,
    Group,
    Passage,
    join_clusters,
    join_groups,
    passage,
    tidy,
)

MOST_STATES = 20_000
"""Joint states of one group."""
MOST_OUTCOMES = 4_000
"""Outcomes of one block of a case."""
MOST_MOVES = 400_000
"""States times outcomes of one block of a case."""
MOST_TERMS = 1_000
NOISE = 1e-12
"""A chance below this from a signed sum may be rounding."""
BUDGET = 4_000_000
"""Work for one pass, if no purse is given."""


@dataclass
class Purse:
    """Work that may still be done, in moves (states times outcomes times terms).

    A bound on time counted in work and not in seconds, so that the same input always gives the same answer.
    """

    left: int

    def pay(self, work: int) -> bool:
        """Take `work` out if there is enough."""
        if work > self.left:
            return False
        self.left -= work
        return True


@dataclass(frozen=True)
class Finding:
    """What the case finds (see `CaseAnswer`).

    `failed` is the chance of a short case with unknown pairs taken as fitting. `noise` is the size of what
    rounding may have left in the chances, 0 where they are sums of positive numbers.
    """

    total: Sides
    failed: float
    missing: Mapping[str, float]
    more: tuple[OneMore, ...]
    noise: float = 0.0


@dataclass
class _Block:
    outcomes: list[Outcome]
    group: Group
    reading: Reading


class Flow:
    """The law of the shelf, moved on case by case.

    Parameters
    ----------
    visits : iterable of Visit
        The cases that will come.
    mode : str
        "all": what each case finds; "served": only histories in which every case was served are kept, but
        for those let come freely (`kept` is their chance); "count": terms also count the short
        cases (`spread` is the law of that count).
    purse : Purse, optional

    Attributes
    ----------
    broken : bool
        A case was beyond exact treatment.
    """

    def __init__(self, visits: Iterable[Visit], mode: str = "all", purse: Purse | None = None) -> None:
        self._mode = mode
        self._clusters: list[Cluster] = []
        self._purse = purse or Purse(BUDGET)
        self._lost = {item for visit in visits for item, (track, _) in visit.turns.items() if track.wide}
        self.broken = False
        self._loose = np.ones(1)

    def kept(self) -> float:
        """Mode "served": chance that all cases so far were served."""
        return float(self._loose.sum())

    def spread(self) -> Floats:
        """Mode "count": chance of 0, 1, ... short cases so far, shape (cases + 1,) or less."""
        total = self._loose
        for cluster in self._clusters:
            total = np.convolve(total, np.bincount(cluster.shorts, weights=_mass(cluster)))
        return np.asarray(total, dtype=np.float64)

    def skip(self) -> None:
        """An impossible case: short, takes nothing."""
        if self._mode == "served":
            self._loose = np.zeros(1)
        elif self._mode == "count":
            self._loose = np.concatenate([[0.0], self._loose])

    def visit(self, visit: Visit, explain: bool = False, free: bool = False) -> Finding | None:
        """Let a case come. None: it is beyond exact treatment, and what it draws on is lost.

        With `explain` also the missing items and the one that would help most are found. In mode "served" a
        `free` case may also be short.
        """
        moving = [item for item in visit.turns if visit.moves(item)]
        mine = [c for c in self._clusters if any(item in c.items for item in moving)]
        others = [c for c in self._clusters if c not in mine]
        known = not any(item in self._lost and _before(visit, item) > 1 for item in moving)
        cluster = self._joined(mine) if known else None
        blocks = self._blocks(visit, moving, cluster) if cluster is not None else None
        if cluster is None or blocks is None:
            self._lose(visit, moving, mine)
            return None
        finding = self._finding(cluster, blocks, explain)
        if not self._move(visit, cluster, blocks, "all" if free else self._mode):
            self._lose(visit, moving, mine)
            return finding
        self._lost -= set(moving)
        self._clusters = [*others, *self._settled(tidy(cluster, MOST_STATES))]
        return finding

    def _settled(self, cluster: Cluster) -> list[Cluster]:
        if cluster.groups and self._mode == "served":
            mass = float(_mass(cluster).sum())
            self._loose = self._loose * mass
            cluster.weights = cluster.weights / mass if mass > 0 else cluster.weights
        if cluster.groups:
            return [cluster]
        if self._mode == "count":
            self._loose = np.convolve(self._loose, np.bincount(cluster.shorts, weights=cluster.weights))
        elif self._mode == "served":
            self._loose = self._loose * cluster.weights.sum()
        return []

    def _lose(self, visit: Visit, moving: Sequence[str], mine: Sequence[Cluster]) -> None:
        self.broken = True
        self._clusters = [c for c in self._clusters if c not in mine]
        for cluster in mine:
            self._lost |= cluster.items
        for item in moving:
            track, t = visit.turns[item]
            if track.states(t + 1) > 1:
                self._lost.add(item)
            else:
                self._lost.discard(item)

    def _joined(self, mine: Sequence[Cluster]) -> Cluster | None:
        if np.prod([float(len(c.weights)) for c in mine]) > MOST_TERMS:
            return None
        return join_clusters(mine)

    def _blocks(self, visit: Visit, moving: Sequence[str], cluster: Cluster) -> list[_Block] | None:
        """Parts and groups joined where they touch; the cluster's groups are replaced by the joined ones."""
        unions = Unions()
        home = {item: n for n, group in enumerate(cluster.groups) for item in group.items}
        for number, items in enumerate(visit.part_items):
            unions.join([("part", number), *(("group", home[i]) for i in items if i in home)])
        joined: dict[object, tuple[list[int], set[int], list[str]]] = {}
        for number, items in enumerate(visit.part_items):
            parts, homes, new = joined.setdefault(unions.find(("part", number)), ([], set(), []))
            parts.append(number)
            homes.update(home[i] for i in items if i in home)
            new.extend(i for i in items if i in moving and i not in home)
        terms = len(cluster.weights)
        blocks, used = [], set()
        for parts, homes, new in joined.values():
            groups = [cluster.groups[n] for n in sorted(homes)]
            if np.prod([float(len(g.states)) for g in groups]) > MOST_STATES:
                return None
            ways = float(np.prod([float(len(visit.outcomes[n])) for n in parts]))
            if ways > MOST_OUTCOMES or ways * np.prod([float(len(g.states)) for g in groups]) > MOST_MOVES:
                return None
            used |= homes
            group = groups[0] if len(groups) == 1 else join_groups(groups, terms)
            group = _with_new(group, new)
            outcomes = visit.opened[parts[0]]
            for number in parts[1:]:
                outcomes = combine(outcomes, visit.opened[number])
            work = len(group.states) * len(outcomes)
            if work > MOST_MOVES or not self._purse.pay(work * (4 + terms)):
                return None
            blocks.append(_Block(outcomes, group, _read(visit, outcomes, group)))
        rest = [g for n, g in enumerate(cluster.groups) if n not in used]
        cluster.groups = [b.group for b in blocks] + rest
        return blocks

    def _finding(self, cluster: Cluster, blocks: Sequence[_Block], explain: bool) -> Finding:
        weights = cluster.weights.copy()
        for group in cluster.groups[len(blocks) :]:
            weights = weights * group.law.sum(axis=1)
        here = [side_of(b.reading, b.group.law) for b in blocks]
        total = sides(here, weights)
        failed = sides([_all_known(b.reading, b.group.law) for b in blocks], weights).short_low
        noise = NOISE if cluster.signed else 0.0
        if not explain:
            return Finding(total, failed, {}, (), noise)
        missing: dict[str, float] = {}
        better: list[tuple[str, int, Side]] = []
        for number, block in enumerate(blocks):
            lacking = block.reading.missing()
            if lacking:
                shares = weights.copy()
                for other, side in enumerate(here):
                    shares = shares if other == number else shares * side.mass
                law = shares @ block.group.law
                for item, chance in lacking.items():
                    missing[item] = missing.get(item, 0.0) + float(chance @ law)
                    better.append(
                        (item, number, with_more(block.reading, here[number], block.group.law, item))
                    )
        return Finding(total, failed, missing, one_more(here, weights, better, total), noise)

    def _move(self, visit: Visit, cluster: Cluster, blocks: Sequence[_Block], mode: str) -> bool:
        """Move the law past the case; False if that would cost too much."""
        steps = {item: track.after[t] for item, (track, t) in visit.turns.items()}
        live: list[tuple[Passage, _Block]] = []
        for block in blocks:
            if block.group.items:
                sizes = [self._size_after(visit, block.group, c) for c in range(len(block.group.items))]
                chances = [o.p for o in block.outcomes]
                passed = passage(block.group, steps, sizes, block.reading.draws, chances)
                if passed is None or len(passed.states) > MOST_STATES:
                    return False
                live.append((passed, block))
        still = [b for b in blocks if not b.group.items]
        one = np.ones((1, 1))
        surely = float(np.prod([b.reading.served()[0] for b in still]))
        unsure = sides([_all_known(b.reading, one) for b in still], np.ones(1)).short_low
        split = len(live) > 1 or mode == "count"
        if split and mode != "served" and len(cluster.weights) * 3 > MOST_TERMS:
            return False
        _split(cluster, live, len(blocks), surely, unsure, mode)
        return True

    def _size_after(self, visit: Visit, group: Group, c: int) -> int:
        item = group.items[c]
        if item in visit.turns:
            track, t = visit.turns[item]
            return track.states(t + 1)
        return int(group.states[:, c].max()) + 1


def _mass(cluster: Cluster) -> Floats:
    mass = cluster.weights
    for group in cluster.groups:
        mass = mass * group.law.sum(axis=1)
    return mass


def _before(visit: Visit, item: str) -> int:
    track, t = visit.turns[item]
    return track.states(t)


def _all_known(reading: Reading, law: Floats) -> Side:
    """A block with unknown pairs taken as fitting."""
    mass = law.sum(axis=1)
    return Side(law @ reading.served(), law @ reading.failed(), mass, np.zeros_like(mass), mass)


def _with_new(group: Group, new: Sequence[str]) -> Group:
    """The group with items that have had one state until now."""
    if not new:
        return group
    states = np.hstack([group.states, np.zeros((len(group.states), len(new)), dtype=np.int64)])
    return Group(group.items + tuple(new), states, group.law)


def _read(visit: Visit, outcomes: Sequence[Outcome], group: Group) -> Reading:
    """What each outcome finds in each state of the group."""
    items = doubtful_items(outcomes)
    there = np.empty((len(group.states), len(items)), dtype=np.int64)
    for place, item in enumerate(items):
        track, t = visit.turns[item]
        if item in group.items:
            there[:, place] = track.found[t][group.states[:, group.items.index(item)]]
        else:
            there[:, place] = track.found[t][0]
    return Reading(outcomes, items, there)


def _split(
    cluster: Cluster,
    moved: Sequence[tuple[Passage, _Block]],
    n_blocks: int,
    surely: float,
    unsure: float,
    mode: str,
) -> None:
    """Replace the cluster's law by the law after the case.

    `surely`, `unsure`: chances that the blocks without items are served, are short.
    """
    rest = cluster.groups[n_blocks:]
    served = [p.served(b.group.law) for p, b in moved]
    if mode == "served":
        _set(cluster, moved, rest, [(surely, 0, served)])
        return
    if len(moved) == 1 and mode == "all":
        passed, block = moved[0]
        stays = block.group.law * (block.reading.failed() + unsure * block.reading.served())
        _set(cluster, moved, rest, [(1.0, 0, [surely * served[0] + passed.short(stays)])])
        return
    terms: list[tuple[float, int, list[Floats]]] = [(surely, 0, served)]
    if len(moved) <= 2:
        for number in range(len(moved)):
            laws = []
            for other, (passed, block) in enumerate(moved):
                law = block.group.law
                if other == number:
                    law = law * (
                        block.reading.failed() + (unsure * block.reading.served() if number == 0 else 0.0)
                    )
                elif other < number:
                    law = law * block.reading.served()
                laws.append(passed.short(law))
            terms.append((surely if number else 1.0, 1, laws))
        if not moved:
            terms.append((unsure, 1, []))
    else:
        cluster.signed = True
        terms.append((1.0, 1, [p.short(b.group.law) for p, b in moved]))
        terms.append((-surely, 1, [p.short(b.group.law * b.reading.served()) for p, b in moved]))
    _set(cluster, moved, rest, terms)


def _set(
    cluster: Cluster,
    moved: Sequence[tuple[Passage, _Block]],
    rest: Sequence[Group],
    terms: Sequence[tuple[float, int, list[Floats]]],
) -> None:
    count = len(terms)
    groups = [
        Group(passed.items, passed.states, np.concatenate([laws[n] for _, _, laws in terms]))
        for n, (passed, _) in enumerate(moved)
    ]
    groups += [Group(g.items, g.states, np.tile(g.law, (count, 1))) for g in rest]
    shorts = cluster.shorts
    cluster.groups = groups
    cluster.weights = np.concatenate([factor * cluster.weights for factor, _, _ in terms])
    cluster.shorts = np.concatenate([shorts + more for _, more, _ in terms])
