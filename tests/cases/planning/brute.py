"""The slow, plain way to the same answers: every outcome of every case, in fractions, unit by unit.

Written apart from the planner: it knows neither parts nor tracks nor terms. Each history is a shelf of
named units and of set uses; every minute of a set's absence is looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import product

from cases.planning.kinds import CaseDemand, SetNeed, Shelf, SlotLaw, UnitStock

Drawn = tuple[int | None, ...]


@dataclass(frozen=True)
class Past:
    """The shelf so far: units gone (item, pool, number) and sets used (item, pool, from, to)."""

    gone: frozenset[tuple[str, str, int]] = frozenset()
    uses: tuple[tuple[str, str, int, int], ...] = ()


@dataclass
class Truth:
    """Exact answers for one case."""

    short_low: Fraction = Fraction(0)
    short_high: Fraction = Fraction(0)
    short: Fraction = Fraction(0)
    unknown: Fraction = Fraction(0)
    missing: dict[str, Fraction] = field(default_factory=dict)
    unserved: dict[str, Fraction] = field(default_factory=dict)
    possible: bool = True


Enumerated = tuple[list[Truth], list[Fraction], list[Fraction], Fraction]
"""Per case; chance of first short per case; law of the number short; all served with rules on file."""


def _slot_ways(slot: SlotLaw) -> list[tuple[int | None, Fraction]]:
    total = sum(Fraction(w) for w in slot.weights)
    use = Fraction(slot.use).limit_denominator(1000)
    ways: list[tuple[int | None, Fraction]] = [
        (i, use * Fraction(w) / total) for i, w in enumerate(slot.weights) if w > 0
    ]
    return [*ways, (None, 1 - use)] if use < 1 else ways


def outcomes(case: CaseDemand) -> list[tuple[Drawn, bool, Fraction]]:
    """(drawn index or None per slot, unknown, chance), chances summing to 1; empty if impossible."""
    found: list[tuple[Drawn, bool, Fraction]] = []
    for ways in product(*(_slot_ways(slot) for slot in case.slots)):
        p, drawn, unknown, fits = Fraction(1), tuple(i for i, _ in ways), False, True
        for _, share in ways:
            p *= share
        for rule in case.rules:
            a, b = drawn[rule.a], drawn[rule.b]
            if a is None or b is None or (a, b) in rule.allow:
                continue
            fits, unknown = fits and (a, b) in rule.unknown, unknown or (a, b) in rule.unknown
        if fits and p:
            found.append((drawn, unknown, p))
    total = sum(p for _, _, p in found)
    return [(drawn, unknown, p / total) for drawn, unknown, p in found]


def demands(case: CaseDemand, drawn: Drawn) -> Iterator[tuple[dict[str, int], Fraction]]:
    """Units asked for by an outcome, with the chance of each pattern of second units."""
    for second in product((0, 1), repeat=len(case.slots)):
        asked: dict[str, int] = {}
        p = Fraction(1)
        for slot, index, more in zip(case.slots, drawn, second, strict=True):
            extra = Fraction(slot.extra).limit_denominator(1000) if index is not None else Fraction(0)
            p *= extra if more else 1 - extra
            if index is not None:
                asked[slot.items[index]] = asked.get(slot.items[index], 0) + 1 + more
        if p:
            yield asked, p


def units_there(shelf: Shelf, past: Past, case: CaseDemand, item: str) -> list[tuple[str, str, int]]:
    """Units that the case may take, in the order in which it takes them."""
    stock = shelf.units.get(item, UnitStock())
    found = []
    for pool, days in (
        (f"case{case.ref}", stock.held.get(case.ref, ())),
        (f"list{case.list_ref}", stock.list_held.get(case.list_ref, ()) if case.list_ref is not None else ()),
        ("free", stock.free),
    ):
        in_date = sorted((day, n) for n, day in enumerate(days) if day >= case.day)
        found += [(item, pool, n) for _, n in in_date]
    found += [(item, "due", n) for n, day in enumerate(stock.arrivals) if day <= case.day]
    return [unit for unit in found if unit not in past.gone]


def sets_there(
    shelf: Shelf, past: Past, case: CaseDemand, item: str, cases: tuple[CaseDemand, ...]
) -> list[tuple[str, str, int, int]]:
    """Uses of sets that the case may make, in order."""
    stock = shelf.sets[item]
    last = case.end + stock.turnaround
    ready = stock.count + sum(minute <= case.start for minute in stock.due)
    mine = sum(h.count for h in stock.holds if h.case_ref == case.ref)
    ours = sum(h.count for h in stock.holds if h.list_ref is not None and h.list_ref == case.list_ref)
    own, listed = min(mine, ready), min(ours, max(0, ready - mine))
    pool = f"list{case.list_ref}"
    away = sum(u[0] == item and u[1] == pool and u[2] <= case.start < u[3] for u in past.uses)
    free = None
    for minute in range(case.start, max(last, case.start + 1)):
        there = stock.count + sum(due <= minute for due in stock.due)
        for hold in stock.holds:
            kept = [
                c
                for c in cases
                if c.ref == hold.case_ref or (hold.list_ref is not None and c.list_ref == hold.list_ref)
            ]
            start = min([hold.start, *(c.start for c in kept)])
            end = max([hold.end, *(c.end + stock.turnaround for c in kept)])
            if case in kept or start <= minute < end:
                there -= hold.count
        there -= sum(u[0] == item and u[1] == "free" and u[2] <= minute < u[3] for u in past.uses)
        free = there if free is None else min(free, there)
    uses = [(item, "own", case.start, last)] * own
    uses += [(item, pool, case.start, last)] * max(0, listed - away)
    return uses + [(item, "free", case.start, last)] * max(0, free or 0)


def serves(need: SetNeed, drawn: Drawn) -> list[str]:
    """Items of the options that serve an outcome, in order, each once."""
    found = []
    for option in need.options:
        if all(drawn[slot] is None or drawn[slot] in indices for slot, indices in option.serves):
            found.append(option.item)
    return list(dict.fromkeys(found))


def meet(
    case: CaseDemand,
    drawn: Drawn,
    asked: dict[str, int],
    shelf: Shelf,
    past: Past,
    cases: tuple[CaseDemand, ...],
) -> tuple[Past | None, set[str], list[str]]:
    """(shelf after the case took it all, or None; items missing; needs that nothing serves)."""
    there: dict[str, list[tuple[str, str, int]]] = {i: units_there(shelf, past, case, i) for i in asked}
    missing = {item for item, n in asked.items() if len(there[item]) < n}
    options = [serves(need, drawn) for need in case.needs]
    bare = [need.name for need, found in zip(case.needs, options, strict=True) if not found]
    uses = {i: sets_there(shelf, past, case, i, cases) for found in options for i in found if i in shelf.sets}
    count = {i: len(uses.get(i, [])) for found in options for i in found}
    unmet = [found for found in options if all(count[i] < 1 for i in found)]
    chosen = None
    for way in product(*options):
        if all(way.count(i) <= count[i] for i in way):
            chosen = way
            break
    if chosen is None and not bare:
        for found in unmet:
            missing |= set(found)
        if not unmet:
            first = [found[0] for found in options]
            missing |= {i for i in first if first.count(i) > count[i]}
    elif chosen is None:
        missing |= {i for found in unmet for i in found}
    if missing or chosen is None:
        return None, missing, bare
    gone = past.gone | {unit for item, n in asked.items() for unit in there[item][:n]}
    taken = [use for i in sorted(set(chosen)) for use in uses[i][: chosen.count(i)] if use[1] != "own"]
    return Past(frozenset(gone), tuple(sorted((*past.uses, *taken)))), set(), []


def run(cases: tuple[CaseDemand, ...], shelf: Shelf) -> Enumerated:
    """Every history of a list."""
    law: dict[tuple[Past, int, bool], Fraction] = {(Past(), 0, True): Fraction(1)}
    truths, first = [], []
    for case in cases:
        truth = Truth()
        after: dict[tuple[Past, int, bool], Fraction] = {}
        ways = outcomes(case)
        truth.possible, first_now = bool(ways), Fraction(0)
        for (past, shorts, clean), weight in law.items():
            if not ways:
                first_now += weight if not shorts else 0
                after[(past, shorts + 1, False)] = after.get((past, shorts + 1, False), Fraction(0)) + weight
            for drawn, unknown, p in ways:
                truth.unknown += weight * p if unknown else 0
                for asked, q in demands(case, drawn):
                    mass = weight * p * q
                    new, missing, bare = meet(case, drawn, asked, shelf, past, cases)
                    for name, store in [(i, truth.missing) for i in missing] + [
                        (b, truth.unserved) for b in bare
                    ]:
                        store[name] = store.get(name, Fraction(0)) + mass
                    if new is None:
                        truth.short += mass
                        truth.short_low += 0 if unknown else mass
                        first_now += mass if not shorts else 0
                    truth.short_high += mass if unknown or new is None else 0
                    key = (past, shorts + 1, False) if new is None else (new, shorts, clean and not unknown)
                    after[key] = after.get(key, Fraction(0)) + mass
        if not ways:
            truth.short = truth.short_low = truth.short_high = Fraction(1)
        truths.append(truth)
        first.append(first_now)
        law = after
    spread = [sum((w for (_, k, _), w in law.items() if k == n), Fraction(0)) for n in range(len(cases) + 1)]
    careful = sum((w for (_, k, clean), w in law.items() if k == 0 and clean), Fraction(0))
    return truths, first, spread, careful
