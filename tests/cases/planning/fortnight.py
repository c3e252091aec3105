"""An invented fortnight of the size a busy centre has: 60 cases, about 150 items, sets that come back."""

from __future__ import annotations

import random

from cases.planning.kinds import (
    NEVER,
    CaseDemand,
    Rule,
    SetNeed,
    SetOption,
    SetStock,
    Shelf,
    SlotLaw,
    UnitStock,
)

SIZES = 9
THICK = 6
DAY = 24 * 60


def _spread(rng: random.Random, n: int) -> tuple[float, ...]:
    centre = rng.randint(1, n - 2)
    shape = {0: 0.37, 1: 0.25, 2: 0.05, 3: 0.015}
    return tuple(shape.get(abs(i - centre), 0.0) for i in range(n))


def knee(rng: random.Random, ref: int, start: int, day: int) -> CaseDemand:
    """Femoral and tibial sizes linked, insert of the femoral size in six thicknesses, an optional patella."""
    side = rng.choice("LR")
    femoral = SlotLaw("femoral", tuple(f"KF{side}{i}" for i in range(SIZES)), _spread(rng, SIZES), extra=0.02)
    tibial = SlotLaw("tibial", tuple(f"KT{side}{i}" for i in range(SIZES)), _spread(rng, SIZES))
    shape = (0.45, 0.3, 0.13, 0.06, 0.04, 0.02)
    insert = SlotLaw(
        "insert", tuple(f"KI{i}-{t}" for i in range(SIZES) for t in range(THICK)), shape * SIZES, extra=0.02
    )
    patella = SlotLaw("patella", tuple(f"KP{i}" for i in range(5)), (0.1, 0.3, 0.3, 0.2, 0.1), use=0.6)
    pairs = frozenset((i, j) for i in range(SIZES) for j in range(SIZES) if abs(i - j) <= 2)
    same = frozenset((i, i * THICK + t) for i in range(SIZES) for t in range(THICK))
    needs = (
        SetNeed("knee set", (SetOption("D-knee"),)),
        SetNeed("sizing", (SetOption("D-band", ((0, frozenset(range(2, 7))),)), SetOption("D-full"))),
    )
    rules = (Rule(0, 1, pairs), Rule(0, 2, same))
    return CaseDemand(
        ref, (femoral, tibial, insert, patella), rules, needs, start, start + 100, day, day * 10
    )


def hip(rng: random.Random, ref: int, start: int, day: int) -> CaseDemand:
    """Cup with its liner, stem and head."""
    cup = SlotLaw("cup", tuple(f"HC{i}" for i in range(SIZES)), _spread(rng, SIZES))
    liner = SlotLaw("liner", tuple(f"HL{i}" for i in range(4)), (1, 2, 2, 1))
    stem = SlotLaw("stem", tuple(f"HS{i}" for i in range(10)), _spread(rng, 10), extra=0.02)
    head = SlotLaw("head", tuple(f"HH{i}" for i in range(6)), (1, 3, 4, 3, 1, 1), extra=0.02)
    fits = frozenset((i, min(3, i // 2)) for i in range(SIZES))
    needs = (SetNeed("hip set", (SetOption("D-hip"),)),)
    return CaseDemand(
        ref, (cup, liner, stem, head), (Rule(0, 1, fits),), needs, start, start + 90, day, day * 10
    )


def fortnight(seed: int = 1, n: int = 60, scale: float = 1.0) -> tuple[tuple[CaseDemand, ...], Shelf]:
    """Cases in order and their shelf; `scale` thins or thickens the stock."""
    rng = random.Random(seed)
    cases = []
    for ref in range(n):
        day = ref * 10 // n
        place = ref - -(-day * n // 10)
        start = day * DAY + 480 + (place // 2) * 130
        cases.append((knee if rng.random() < 0.65 else hip)(rng, ref, start, day))
    units = {}
    for case in cases:
        for slot in case.slots:
            for item in slot.items:
                if item not in units:
                    most = 4 if item.startswith(("KF", "KT", "H")) else 3
                    free = [rng.choice([NEVER] * 9 + [4]) for _ in range(round(scale * rng.randint(1, most)))]
                    due = (5,) if rng.random() < 0.3 else ()
                    units[item] = UnitStock(tuple(free), arrivals=due)
    sets = {
        "D-knee": SetStock(4, 360),
        "D-band": SetStock(2, 300),
        "D-full": SetStock(2, 300),
        "D-hip": SetStock(3, 360),
    }
    return tuple(cases), Shelf(units, sets)
