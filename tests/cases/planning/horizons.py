"""Small random horizons with all that may stand in one, and the plays they are checked against."""

import numpy as np

from cases.planning.horizon_arrays import Arrays, Stock, lay_out
from cases.planning.horizon_patterns import pattern_of
from cases.planning.horizon_shelf import arrays_of
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
from cases.planning.simulate import simulate

SIZES = 3
DAY = 24 * 60


def weights(lots: np.random.Generator) -> tuple[float, ...]:
    return tuple(float(w) for w in lots.integers(1, 9, SIZES))


def a_case(lots: np.random.Generator, ref: int, day: int, minute: int, *, sides: int = 1) -> CaseDemand:
    """Femoral and tibial (joined by a rule, shared by both sides), a stem of its own, and sets."""
    slots, rules, needs = [], [], []
    for side in range(sides):
        a = len(slots)
        extra = float(lots.choice([0.0, 0.2]))
        slots.append(
            SlotLaw(f"femoral {side}", tuple(f"F{i}" for i in range(SIZES)), weights(lots), 1.0, extra)
        )
        slots.append(SlotLaw(f"tibial {side}", tuple(f"T{i}" for i in range(SIZES)), weights(lots)))
        near = frozenset((i, j) for i in range(SIZES) for j in range(SIZES) if abs(i - j) <= 1)
        fits = near if lots.random() < 0.5 else frozenset((i, i) for i in range(SIZES))
        rules.append(Rule(a, a + 1, fits))
        if lots.random() < 0.6:
            small = SetOption("blocks small", ((a, frozenset({0, 1})),))
            needs.append(SetNeed(f"blocks {side}", (small, SetOption("blocks all"))))
    if lots.random() < 0.5:
        slots.append(SlotLaw("stem", tuple(f"S{i}" for i in range(SIZES)), weights(lots), 0.7))
    if lots.random() < 0.5:
        needs.append(SetNeed("general", (SetOption("general"), SetOption("general old"))))
    return CaseDemand(
        ref, tuple(slots), tuple(rules), tuple(needs), minute, minute + 100, day, list_ref=100 + day
    )


def a_horizon(seed: int, cases: int = 6) -> tuple[list[CaseDemand], Shelf]:
    """Cases over a few days, with dates of expiry, arrivals, holds for cases and lists, sets that return."""
    lots = np.random.default_rng(seed)
    day, minute, found = 1, 1 * DAY + 480, []
    for ref in range(cases):
        if lots.random() < 0.3:
            day += 1
            minute = day * DAY + 480
        found.append(a_case(lots, ref, day, minute, sides=2 if lots.random() < 0.25 else 1))
        minute += int(lots.integers(0, 200))
    units = {}
    for kind in "FTS":
        for size in range(SIZES):
            until = lots.choice([NEVER, NEVER, day, max(1, day - 1)], int(lots.integers(0, cases)))
            held = {int(lots.integers(cases)): (NEVER,)} if lots.random() < 0.3 else {}
            listed = {101: (NEVER,) * int(lots.integers(1, 3))} if lots.random() < 0.3 else {}
            coming = tuple(int(d) for d in lots.integers(1, day + 2, int(lots.integers(0, 2))))
            units[f"{kind}{size}"] = UnitStock(tuple(int(u) for u in until), held, listed, coming)
    sets = {}
    for name in ("blocks small", "blocks all", "general", "general old"):
        who = found[int(lots.integers(cases))]
        holds = (SetHold(who.start, who.end + 300, case_ref=who.ref),) if lots.random() < 0.4 else ()
        due = (int(found[-1].start - lots.integers(0, 500)),) if lots.random() < 0.3 else ()
        sets[name] = SetStock(int(lots.integers(1, 3)), int(lots.integers(0, 400)), holds, due)
    return found, Shelf(units, sets)


def horizon_arrays(seed: int, cases: int = 6) -> Arrays:
    return arrays_of(*a_horizon(seed, cases))[0]


def horizon_in_blocks(seed: int, cases: int = 5) -> Arrays:
    """Cases of one to three needs that are drawn apart, among them several for the same few sets."""
    lots = np.random.default_rng(seed)
    ways = [tuple(lots.permutation(list("ABC"))[: lots.integers(1, 4)]) for _ in range(3)]
    patterns = []
    for _ in range(cases):
        chosen = lots.integers(len(ways), size=lots.integers(1, 4))
        needs = [(f"need {n}", ways[way], float(lots.choice([0.5, 1.0]))) for n, way in enumerate(chosen)]
        patterns.append(pattern_of([], {"A": 0, "B": 1, "C": 2}, once=needs))
    start = np.sort(lots.integers(0, 300, cases))
    sets = Stock.plain(lots.integers(1, 4, 3), lots.integers(0, 100, 3), np.ones(3, dtype=np.bool_))
    number = np.arange(cases)
    return lay_out(patterns, number, sets, ref=number, day=number * 0, start=start, end=start + 60)


def below(bound: np.ndarray, arrays: Arrays, draws: int = 4_000) -> np.ndarray:
    """Cases whose bound lies below the played share by more than 3 standard errors, twice in plays of their
    own."""
    suspects = np.arange(len(arrays.ref))
    for seed, times in ((1, draws), (2, 30 * draws)):
        share = simulate(arrays, times, seed=seed).p_short
        error = np.sqrt(np.maximum(share * (1 - share), 1 / times) / times)
        suspects = suspects[(share - bound > 3 * error)[suspects]]
        if not len(suspects):
            break
    return suspects
