"""The law of a shared shelf as a signed sum of products over groups of items.

A group holds the joint states of some items; a cluster holds groups that depend on each other, as terms:
law = sum over terms of weight * product over groups of that group's table. Clusters are independent. One
group in a cluster needs one term; a case that draws on two or more groups splits each term in three
(computation: short cases take nothing, so "short" joins the groups and "served" does not).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cases.planning.parts import MOST_CODE, Bools, Floats, Ints
from cases.planning.readings import Draw

TINY = 1e-18
"""Terms with less mass than this are dropped."""


@dataclass
class Group:
    """Items with a table of joint states.

    Attributes
    ----------
    items : tuple of str, length m
    states : int array, shape (n, m)
        State number of each item at its next taker.
    law : float array, shape (terms, n)
    """

    items: tuple[str, ...]
    states: Ints
    law: Floats


@dataclass
class Cluster:
    """Groups that share terms.

    Attributes
    ----------
    groups : list of Group
    weights : float array, shape (terms,)
    shorts : int array, shape (terms,)
        Cases short so far, where that is counted; else zero.
    signed : bool
        Some terms may be negative: sums keep an absolute error near 1e-15.
    """

    groups: list[Group]
    weights: Floats
    shorts: Ints
    signed: bool = False

    @property
    def items(self) -> set[str]:
        """All items of the groups."""
        return {item for group in self.groups for item in group.items}


def empty_cluster() -> Cluster:
    """A cluster without items and with mass one."""
    return Cluster([], np.ones(1), np.zeros(1, dtype=np.int64))


def empty_group(terms: int) -> Group:
    """A group without items."""
    return Group((), np.zeros((1, 0), dtype=np.int64), np.ones((terms, 1)))


def join_clusters(clusters: Sequence[Cluster]) -> Cluster:
    """Independent clusters as one: every pair of terms."""
    whole = empty_cluster()
    for other in clusters:
        a, b = len(whole.weights), len(other.weights)
        for group in whole.groups:
            group.law = np.repeat(group.law, b, axis=0)
        groups = [Group(g.items, g.states, np.tile(g.law, (a, 1))) for g in other.groups]
        whole = Cluster(
            whole.groups + groups,
            np.outer(whole.weights, other.weights).ravel(),
            np.add.outer(whole.shorts, other.shorts).ravel(),
            whole.signed or other.signed,
        )
    return whole


def join_groups(groups: Sequence[Group], terms: int) -> Group:
    """Groups of one cluster as one: every pair of states, those without mass left out."""
    whole = empty_group(terms)
    for other in groups:
        a, b = len(whole.states), len(other.states)
        states = np.hstack([np.repeat(whole.states, b, axis=0), np.tile(other.states, (a, 1))])
        law = (whole.law[:, :, None] * other.law[:, None, :]).reshape(terms, a * b)
        kept = np.flatnonzero(law.any(axis=0))
        kept = kept if len(kept) else np.zeros(1, dtype=np.int64)
        whole = Group(whole.items + other.items, states[kept], law[:, kept])
    return whole


def scatter(law: Floats, rows: Ints, chances: Floats, to: Ints, n: int) -> Floats:
    """Mass moved from states `rows` (times `chances`) to states `to`, per term. Result shape (terms, n)."""
    found = np.empty((len(law), n))
    for term, line in enumerate(law):
        found[term] = np.bincount(to, weights=line[rows] * chances, minlength=n)
    return found


@dataclass(frozen=True)
class Passage:
    """How a case moves a group: where a served case and a short case leave each state.

    Attributes
    ----------
    items : tuple of str
        Items that can still matter afterwards.
    states : int array, shape (n2, len(items))
    rows, to, chances : arrays, shape (moves,)
        A served case goes from state `rows` to state `to` with `chances`.
    idle : int array, shape (n,)
        Where a short case leaves each state.
    """

    items: tuple[str, ...]
    states: Ints
    rows: Ints
    to: Ints
    chances: Floats
    idle: Ints

    def served(self, law: Floats) -> Floats:
        """Law after the case has been served."""
        return scatter(law, self.rows, self.chances, self.to, len(self.states))

    def short(self, law: Floats) -> Floats:
        """Law after it has taken nothing."""
        n = len(self.idle)
        return scatter(law, np.arange(n), np.ones(n), self.idle, len(self.states))


def passage(
    group: Group,
    steps: dict[str, Ints],
    sizes: Sequence[int],
    draws: Sequence[Draw],
    chances: Sequence[float],
) -> Passage | None:
    """Passage of a case through a group.

    Parameters
    ----------
    group : Group
    steps : mapping of item to int array, shape (most + 1, states of the item)
        The item's next state after drawing 0, 1, ... (`tracks.Track.after`) for the items the case may draw.
    sizes : sequence of int
        Number of states of each of the group's items afterwards.
    draws : sequence of Draw
        What is drawn and in which states of the group.
    chances : sequence of float
        Chance of each outcome that a draw names.

    Returns
    -------
    Passage, or None if the states are too many to be numbered.
    """
    strides, total = _strides(sizes)
    if total > MOST_CODE:
        return None
    column = {item: c for c, item in enumerate(group.items)}
    idle = np.zeros(len(group.states), dtype=np.int64)
    for item, c in column.items():
        now = group.states[:, c]
        idle += strides[c] * (steps[item][0][now] if item in steps else now)
    rows_of, codes_of, chance_of = [], [], []
    for draw in draws:
        rows = np.flatnonzero(draw.where)
        if not len(rows):
            continue
        code = idle[rows]
        for item, k in draw.takes:
            if item in column and item in steps and sizes[column[item]] > 1:
                now = group.states[rows, column[item]]
                code += strides[column[item]] * (steps[item][k][now] - steps[item][0][now])
        rows_of.append(rows)
        codes_of.append(code)
        chance_of.append(np.full(len(rows), chances[draw.outcome]))
    codes = np.concatenate([idle, *codes_of])
    distinct, inverse = np.unique(codes, return_inverse=True)
    inverse = inverse.ravel()
    kept = [c for c, size in enumerate(sizes) if size > 1]
    states = np.empty((len(distinct), len(kept)), dtype=np.int64)
    for place, c in enumerate(kept):
        states[:, place] = distinct // strides[c] % sizes[c]
    return Passage(
        tuple(group.items[c] for c in kept),
        states,
        np.concatenate([np.zeros(0, dtype=np.int64), *rows_of]),
        inverse[len(idle) :],
        np.concatenate([np.zeros(0), *chance_of]),
        inverse[: len(idle)],
    )


def _strides(sizes: Sequence[int]) -> tuple[list[int], int]:
    strides, total = [], 1
    for size in sizes:
        strides.append(total)
        total *= size
    return strides, total


def tidy(cluster: Cluster, most_states: int) -> Cluster:
    """The same law in fewer numbers.

    Groups without items become weights; terms without mass go; where one joint table is smaller than the
    terms it replaces, the groups are joined; a single group keeps one term per count of short cases.
    """
    groups, weights = [], cluster.weights.copy()
    for group in cluster.groups:
        if group.items:
            groups.append(group)
        else:
            weights = weights * group.law.sum(axis=1)
    mass = np.abs(weights)
    for group in groups:
        mass = mass * np.abs(group.law).sum(axis=1)
    kept: Bools = mass > TINY
    if not kept.any():
        kept = mass >= mass.max()
    groups = [Group(g.items, g.states, g.law[kept]) for g in groups]
    weights, shorts = weights[kept], cluster.shorts[kept]
    counts = np.unique(shorts)
    product = int(np.prod([float(len(g.states)) for g in groups]))
    if (
        len(groups) > 1
        and product <= most_states
        and product * len(counts) <= len(weights) * sum(len(g.states) for g in groups)
    ):
        groups = [join_groups(groups, len(weights))]
    if len(groups) < 2 and len(weights) > len(counts):
        place = np.searchsorted(counts, shorts)
        by_count = np.zeros((len(counts), len(weights)))
        by_count[place, np.arange(len(weights))] = weights
        groups = [Group(g.items, g.states, by_count @ g.law) for g in groups]
        weights = np.ones(len(counts)) if groups else by_count.sum(axis=1)
        shorts = counts
    return Cluster(groups, weights, shorts, cluster.signed)
