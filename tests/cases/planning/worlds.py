"""Small random lists with every feature of the planner, from a seed."""

from __future__ import annotations

import random

from cases.planning.kinds import (
    NEVER,
    CaseDemand,
    Rule,
    SetHold,
    SetNeed,
    SetOption,
    SetStock,
    Shelf,
    SlotLaw,
    UnitStock,
)

POOLS = {"fem": ("F1", "F2", "F3"), "tib": ("T1", "T2", "T3"), "pat": ("P1", "P2")}


def random_slot(rng: random.Random, name: str) -> SlotLaw:
    """A slot over one of the pools, sometimes optional, sometimes wasting a second unit."""
    items = POOLS[name]
    weights = [rng.randint(0, 9) for _ in items]
    weights[rng.randrange(len(items))] += 1
    return SlotLaw(
        name,
        items,
        tuple(float(w) for w in weights),
        use=rng.choice([1.0, 1.0, 0.5, 0.8]),
        extra=rng.choice([0.0, 0.0, 0.1]),
    )


def random_rule(rng: random.Random, slots: tuple[SlotLaw, ...], a: int, b: int) -> Rule:
    """A rule that allows most pairs, refuses some and does not know some."""
    allow, unknown = set(), set()
    for i in range(len(slots[a].items)):
        for j in range(len(slots[b].items)):
            luck = rng.random()
            if luck < 0.6:
                allow.add((i, j))
            elif luck < 0.75:
                unknown.add((i, j))
    return Rule(a, b, frozenset(allow), frozenset(unknown))


def random_need(rng: random.Random, slots: tuple[SlotLaw, ...], name: str) -> SetNeed:
    """One to three designs, banded by size or not."""
    options = []
    for item in rng.sample(["D1", "D2", "D3"], rng.randint(1, 3)):
        serves = []
        for slot in range(len(slots)):
            if rng.random() < 0.5:
                n = len(slots[slot].items)
                serves.append((slot, frozenset(rng.sample(range(n), rng.randint(1, n)))))
        options.append(SetOption(item, tuple(serves)))
    return SetNeed(name, tuple(options))


def random_case(rng: random.Random, ref: int, start: int, day: int, plain: bool) -> CaseDemand:
    """A case of one to three slots; `plain`: no rules and no sets."""
    names = rng.choices(["fem", "tib", "pat"], k=rng.randint(1, 3))
    slots = tuple(random_slot(rng, name) for name in names)
    rules, needs = [], []
    if not plain:
        if len(slots) > 1 and rng.random() < 0.7:
            a, b = rng.sample(range(len(slots)), 2)
            rules.append(random_rule(rng, slots, a, b))
        needs = [random_need(rng, slots, f"need {n}") for n in range(rng.choice([0, 0, 1, 1, 2]))]
    return CaseDemand(
        ref,
        slots,
        tuple(rules),
        tuple(needs),
        start=start,
        end=start + rng.randint(0, 6),
        day=day,
        list_ref=rng.choice([None, 71, 72]),
    )


def random_units(rng: random.Random, cases: list[CaseDemand], plain: bool) -> UnitStock:
    """Free, held and arriving units with dates around the cases' days."""

    def days(most: int) -> tuple[int, ...]:
        return tuple(rng.choice([NEVER, NEVER, 0, 1, 2]) for _ in range(rng.randint(0, most)))

    if plain:
        return UnitStock(free=(NEVER,) * rng.randint(0, 3))
    held = {c.ref: days(2) for c in cases if rng.random() < 0.2}
    listed = {ref: days(2) for ref in (71, 72) if rng.random() < 0.2}
    due = tuple(rng.randint(0, 3) for _ in range(rng.choice([0, 0, 1])))
    return UnitStock(days(2), held, listed, due)


def random_sets(rng: random.Random, cases: list[CaseDemand]) -> SetStock:
    """A few sets that come back, some held, some due."""
    holds = []
    for case in cases:
        if rng.random() < 0.2:
            holds.append(SetHold(case.start, case.end + rng.randint(0, 3), case_ref=case.ref))
    if rng.random() < 0.2:
        holds.append(SetHold(rng.randint(0, 6), rng.randint(6, 20), list_ref=rng.choice([71, 72])))
    due = tuple(rng.randint(0, 12) for _ in range(rng.choice([0, 0, 1])))
    return SetStock(rng.randint(0, 2), rng.randint(0, 8), tuple(holds), due)


def random_world(seed: int) -> tuple[tuple[CaseDemand, ...], Shelf]:
    """A list of two to four cases and its shelf. One world in four is plain."""
    rng = random.Random(seed)
    plain = seed % 4 == 0
    cases: list[CaseDemand] = []
    start = day = 0
    for ref in range(1, rng.randint(2, 4) + 1):
        cases.append(random_case(rng, ref, start, day, plain))
        start += rng.choice([0, 1, 4, 8])
        day += rng.choice([0, 0, 1])
    units = {item: random_units(rng, cases, plain) for pool in POOLS.values() for item in pool}
    sets = {item: random_sets(rng, cases) for item in ("D1", "D2", "D3")}
    return tuple(cases), Shelf(units, sets)
