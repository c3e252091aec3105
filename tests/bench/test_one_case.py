"""One case: pick lists over random linked cases, and P(R) beside a Monte Carlo. Ratios within one run."""

import random
from collections.abc import Callable
from datetime import datetime
from math import exp
from time import process_time

import numpy as np

from cases.planning import picking, running
from cases.planning.bringing import SlotRanks
from cases.planning.coverage import missed
from cases.planning.fit import Joint, joint
from cases.planning.kinds import CaseDemand, Rule, SlotLaw
from cases.planning.splitting import together
from cases.readiness.laws import Laws
from cases.readiness.room import Room
from cases.readiness.snapshot import take
from tests.bench.conftest import tell
from trays.parties.models import Site
from trays.staff.models import Person

CASES, DRAWS = 200, 100_000


def bell(lots: random.Random, n: int) -> tuple[float, ...]:
    middle, width = lots.uniform(0.5, n - 1.5), lots.uniform(0.6, 1.6)
    return tuple(max(0.0, exp(-(((i - middle) / width) ** 2) / 2) - 1e-6) for i in range(n))


def linked_case(seed: int) -> tuple[CaseDemand, float, int]:
    """Femoral, tibial an insert of the femoral's size in several heights, a patella at times; a target."""
    lots = random.Random(seed)
    n, heights, slack = lots.choice((7, 8, 9, 9)), lots.choice((3, 4, 6)), lots.choice((1, 2))
    height = bell(lots, heights)
    slots = (
        SlotLaw("femoral", tuple(f"F{i}" for i in range(n)), bell(lots, n)),
        SlotLaw("tibial", tuple(f"T{i}" for i in range(n)), bell(lots, n)),
        SlotLaw("insert", tuple(f"I{i}x{t}" for i in range(n) for t in range(heights)), height * n),
        SlotLaw("patella", ("P0", "P1", "P2", "P3"), bell(lots, 4), use=lots.choice((1.0, 0.95, 0.3))),
    )
    near = frozenset((i, j) for i in range(n) for j in range(n) if abs(i - j) <= slack)
    same = frozenset((i, i * heights + t) for i in range(n) for t in range(heights))
    return (
        CaseDemand(seed, slots, (Rule(0, 1, near), Rule(0, 2, same))),
        lots.choice((0.95, 0.97, 0.99)),
        heights,
    )


def spread(what: str, seconds: list[float], more: str = "") -> None:
    ranked = sorted(seconds)
    tell(f"{what}: median", ranked[len(ranked) // 2], more)
    tell(f"{what}: 99 of 100 within", ranked[int(0.99 * len(ranked))])
    tell(f"{what}: worst", ranked[-1])


def measured(acts: list[Callable[[], object]]) -> tuple[list[float], list[object]]:
    """Seconds of processor time for each act, the better of two goes, and the answers."""
    seconds, answers = [], []
    for act in acts:
        goes = []
        for _ in range(2):
            begun = process_time()
            answer = act()
            goes.append(process_time() - begun)
        seconds.append(min(goes))
        answers.append(answer)
    return seconds, answers


def test_pick_lists_of_random_linked_cases() -> None:
    asked = [linked_case(seed) for seed in range(CASES)]
    print()
    seconds, found = measured([lambda case=case, t=t: picking.shortest(case, t) for case, t, _ in asked])
    spread("the shortest list", seconds, f"{sum(one.proven for one in found)} of {CASES} proven")

    def run(case: CaseDemand, target: float, heights: int) -> object:
        ranks = [SlotRanks.in_order(len(slot.items)) for slot in case.slots]
        ranks[2] = SlotRanks.in_order(len(case.slots[2].items), seconds=heights)
        there = {item: 1 for slot in case.slots for item in slot.items}
        return running.runs(case, ranks, there, {}, target=target)

    seconds, runs = measured([lambda one=one: run(*one) for one in asked])
    spread("the shortest unbroken runs", seconds, f"{sum(one.proven for one in runs)} of {CASES} proven")
    more = sum(one.cost for one in runs) / sum(one.cost for one in found)
    print(f"    unbroken runs bring {more:.2f} times as much")


def by_lots(law: Joint, listed: dict[str, int]) -> float:
    """P(something drawn is not listed) by drawing lots from the built joint law."""
    lots, met = np.random.default_rng(1), np.ones(DRAWS, dtype=np.bool_)
    for part in law.parts:
        upto = np.cumsum(part.p)
        upto[-1] = 1.0
        rows = np.searchsorted(upto, lots.random(DRAWS), side="right")
        for slot in part.slots:
            here = np.array([*(item in listed for item in law.case.slots[slot].items), True])
            met &= here[part.column(slot)[rows]]
    return float(1.0 - met.mean())


def test_the_chance_of_a_list_beside_drawing_lots() -> None:
    exact, drawn = [], []
    for seed in range(20):
        case, target, _ = linked_case(seed)
        law = joint(case)
        listed = dict(picking.shortest(case, target).units)

        def short(law: Joint = law, listed: dict[str, int] = listed) -> float:
            return together(missed(rows, listed) for rows in law.rows)

        p, share = short(), by_lots(law, listed)
        assert abs(p - share) < 6 * (p * (1 - p) / DRAWS) ** 0.5 + 1e-4
        begun = process_time()
        for _ in range(200):
            short()
        exact.append((process_time() - begun) / 200)
        begun = process_time()
        by_lots(law, listed)
        drawn.append(process_time() - begun)
    print()
    each, lots = sorted(exact)[10], sorted(drawn)[10]
    tell("P(R) on a built joint", each, f"{each * 1e6:.0f} microseconds")
    tell(f"{DRAWS} draws of lots from it", lots, f"{lots / each:.0f} times as long")


def test_the_lists_of_a_whole_site(demo_world: Person, now: datetime) -> None:
    print()
    for site in Site.objects.order_by("code"):
        laws = Laws(take(site=site, at=now))
        cases = [law for law in map(laws.case, laws.snapshot.cases) if law.possible]
        best = [9.0, 9.0]
        for _ in range(5):
            room = Room(laws)
            begun = process_time()
            plans = [room.plan(law) for law in cases]
            planned = process_time()
            for law, plan in zip(cases, plans, strict=True):
                room.answer(law, plan.counts)
            best = [min(best[0], planned - begun), min(best[1], process_time() - planned)]
        tell(f"{site.name}: plan what {len(cases)} cases bring", best[0])
        tell(f"{site.name}: and how sure each is with it", best[1])
