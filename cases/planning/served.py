"""How surely all of some cases are served, after and among others: exact, between two proven bounds, or
played.

The cases of one theatre list share a shelf with earlier lists. Exact where all cases that can matter are few
enough (the signed sum of products of `flows`). Otherwise a bracket:

* at least 1 - sum of P(case j short) (Bonferroni), each exact or a proven bound;
* at most 1 - max of P(case j short); and at most the chance that the list's own demands for units fit the
  stock. Counts of the items of one slot, over independent cases, are negatively associated (Joag-Dev and
  Proschan 1983, doi 10.1214/aos/1176346079): P(all of them fit) <= product. Groups that no case links are
  independent and multiply; between slots that some case links only the least of the products holds (Frechet).

Where the bracket is wide, the cases are played out with a fixed seed, and Wilson's 95 % interval counts, as
far as it lies inside the bracket.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from cases.planning.agenda import Agenda, Visit
from cases.planning.bounds import Demands, bound
from cases.planning.fit import Joint
from cases.planning.flows import Flow, Purse
from cases.planning.horizon_arrays import Arrays
from cases.planning.horizon_shelf import arrays_of
from cases.planning.kinds import CaseDemand, Shelf
from cases.planning.parts import Bools, Unions
from cases.planning.sharing import CIRCLE_BUDGET, MOST_IN_CIRCLE, in_circle
from cases.planning.simulate import simulate, wilson
from cases.planning.stores import Units

WIDE = 0.02
"""A bracket of at most this width is an answer."""
DRAWS = 4_000
"""Plays where it is not: an interval of at most about 3 in 100."""
SEED = 1
"""The same for every list and every try: each case draws alike each time, so that differences are sharp."""


class Means(StrEnum):
    """What a chance comes from."""

    EXACT = "exact"
    BRACKET = "bracket"
    PLAYED = "played"


@dataclass(frozen=True)
class Between:
    """A chance: `low` and `high` are equal where it is exact, else proven, or a 95 % interval of plays."""

    low: float
    high: float
    means: Means

    @property
    def width(self) -> float:
        return self.high - self.low


@dataclass(frozen=True)
class Served:
    """What a list finds. An outcome with a pair that has no rule on file counts as not served.

    Attributes
    ----------
    all_served : Between
    short : mapping by `ref` of Between
        P(short) of each case of the list.
    draws, seed : int
        Of the plays, where there were any; else 0.
    """

    all_served: Between
    short: dict[int, Between]
    draws: int = 0
    seed: int = 0


def all_served(
    cases: Sequence[CaseDemand],
    shelf: Shelf,
    laws: Sequence[Joint] | None = None,
    *,
    of: Collection[int] | None = None,
    arrays: Arrays | None = None,
    wide: float = WIDE,
) -> Served:
    """P(every case of a list is served), and P(short) of each.

    Parameters
    ----------
    cases : sequence of CaseDemand, length J, in the order in which they draw
    shelf, laws
        As in `sharing.assess`.
    of : collection of int, optional
        References of the list's cases; all of them if left out. The others draw too, but may be short.
    arrays : Arrays, optional
        These cases, or more of the same horizon, as `horizon` has them, if they are at hand.
    wide : float
        How wide a bracket is left as it is; a wider one is narrowed by plays.

    Raises
    ------
    PlanningError
        See `sharing.assess`.

    Examples
    --------
    Two cases that need the one unit with chance 1/2 each; the second is short with chance 1/4.

    >>> from cases.planning.kinds import SlotLaw
    >>> half = (SlotLaw("stem", ("S1",), (1,), use=0.5),)
    >>> found = all_served([CaseDemand(1, half), CaseDemand(2, half)], Shelf.plain({"S1": 1}))
    >>> found.all_served.low, found.short[2].high, str(found.all_served.means)
    (0.75, 0.25, 'exact')
    """
    listed = {case.ref for case in cases} if of is None else set(of)
    last = max((n for n, case in enumerate(cases) if case.ref in listed), default=-1)
    cases = cases[: last + 1]
    agenda = Agenda(cases, shelf, None if laws is None else laws[: last + 1])
    visits = agenda.visits(range(len(cases)))
    mine = [visit for visit in visits if visit.law.case.ref in listed]
    short = _each(agenda, visits, mine)
    exact = _together(agenda, mine, listed)
    if exact is not None:
        return Served(Between(exact, exact, Means.EXACT), short)
    low = max(0.0, 1.0 - sum(one.high for one in short.values()))
    high = min([1.0, *(1.0 - one.low for one in short.values()), fits_at_most(agenda, mine)])
    proven = Between(min(low, high), high, Means.BRACKET)
    if proven.width <= wide:
        return Served(proven, short)
    if arrays is None:
        arrays, _items = arrays_of(cases, shelf, agenda.laws)
    return _played(arrays, listed, proven, short)


def _together(agenda: Agenda, mine: Sequence[Visit], listed: Collection[int]) -> float | None:
    """Exact P(all served) where the cases that can matter are few enough."""
    if any(visit.law.impossible for visit in mine):
        return 0.0
    positions = sorted({p for visit in mine for p in agenda.circle(visit.position)})
    if len(positions) > MOST_IN_CIRCLE:
        return None
    flow = Flow(agenda.visits(positions), "served", Purse(CIRCLE_BUDGET))
    for visit in agenda.visits(positions):
        own = visit.law.case.ref in listed
        if visit.law.impossible:
            continue
        flow.visit(replace(visit, known_only=True) if own else visit, free=not own)
        if flow.broken:
            return None
    return min(1.0, max(0.0, flow.kept()))


def _each(agenda: Agenda, visits: Sequence[Visit], mine: Sequence[Visit]) -> dict[int, Between]:
    """P(short) of the list's cases: exact where their own circle allows it, else between two bounds."""
    demands, linked, purse = Demands(agenda.asked), Unions(), Purse(CIRCLE_BUDGET)
    wanted = {visit.position for visit in mine}
    found: dict[int, Between] = {}
    for visit in visits:
        ref = visit.law.case.ref
        if not visit.law.impossible:
            for items in visit.part_items:
                linked.join(("item", item) for item in items)
        if visit.position not in wanted:
            continue
        if visit.law.impossible:
            found[ref] = Between(1.0, 1.0, Means.EXACT)
            continue
        exact = in_circle(agenda, visit, purse)
        if exact is not None:
            p = min(1.0, max(0.0, exact.total.short_high))
            found[ref] = Between(p, p, Means.EXACT)
        else:
            high = bound(visit, demands, linked, explain=False).total.short_high
            found[ref] = Between(min(_alone(agenda, visit), high), high, Means.BRACKET)
    return found


def _alone(agenda: Agenda, visit: Visit) -> float:
    """P(short) if no other case drew anything: at least so much."""
    only = agenda.visits([visit.position])
    finding = Flow(only).visit(only[0])
    return 0.0 if finding is None else finding.total.short_high


def fits_at_most(agenda: Agenda, mine: Sequence[Visit]) -> float:
    """P(what these cases ask for of each unit is there) at most; sets are left out.

    A case that is served took all its units, whatever else it took, so this bounds P(all served).
    """
    slots, groups, crowded = Unions(), Unions(), set[object]()
    for visit in mine:
        case = visit.law.case
        for slot in case.slots:
            slots.join(slot.items)
        for part in visit.law.parts:
            groups.join(item for slot in part.slots for item in case.slots[slot].items)
    for visit in mine:
        seen: set[object] = set()
        for slot in visit.law.case.slots:
            home = slots.find(slot.items[0]) if slot.items else None
            # Two slots of one case on items of one kind: what they ask for may go together.
            crowded |= {home} & seen
            seen.add(home)
    columns: dict[object, list[tuple[object, float]]] = {}
    for item, fits in _fits(agenda, mine).items():
        columns.setdefault(groups.find(item), []).append((slots.find(item), fits))
    product = 1.0
    for rows in columns.values():
        by_slot: dict[object, float] = {}
        for home, fits in rows:
            before = by_slot.get(home, 1.0)
            by_slot[home] = min(before, fits) if home in crowded else before * fits
        product *= min(by_slot.values())
    return product


def _fits(agenda: Agenda, mine: Sequence[Visit]) -> dict[str, float]:
    """Per unit item the chance at most that what these cases ask for fits, as each of them comes."""
    visits = agenda.visits([visit.position for visit in mine])
    demands = Demands(agenda.asked)
    found: dict[str, float] = {}
    for visit in visits:
        for item, (track, t) in visit.turns.items():
            if isinstance(track.store, Units) and not track.wide and not visit.law.impossible:
                asked = demands.asked(track, t)
                lacks = float(asked @ demands.lack(track, t)[: len(asked)])
                found[item] = min(found.get(item, 1.0), 1.0 - lacks)
    return found


def _played(arrays: Arrays, listed: Collection[int], proven: Between, short: dict[int, Between]) -> Served:
    watched: Bools = np.isin(arrays.ref, sorted(listed))
    drawn = simulate(arrays, DRAWS, SEED, watched)
    low, high = (float(end[0]) for end in wilson(np.array([drawn.together]), DRAWS))
    inside = [min(proven.high, max(proven.low, end)) for end in (low, high)]
    return Served(Between(inside[0], inside[1], Means.PLAYED), short, DRAWS, SEED)
