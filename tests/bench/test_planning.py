"""Planning: a site's whole horizon, and the exact answer beside plain drawing of lots."""

import random
from collections.abc import Sequence
from datetime import datetime

import pytest

from cases.bookings.models import Case
from cases.planning import sharing
from cases.planning.kinds import CaseDemand, Rule, Shelf, SlotLaw
from cases.readiness.assess import judge, pick_plan
from cases.readiness.snapshot import take
from tests.bench.conftest import median_of, tell, timed
from trays.parties.models import Site
from trays.staff.models import Person

DRAWS = 100_000


def test_plan_the_whole_horizon_of_each_site(demo_world: Person, now: datetime) -> None:
    for site in Site.objects.order_by("code"):
        read, snapshot = timed(lambda site=site: take(site=site, at=now))
        cold, _answer = timed(lambda snapshot=snapshot: judge(snapshot))
        again = median_of(lambda snapshot=snapshot: judge(snapshot), 5)
        number = len(snapshot.cases)
        tell(f"{site.name}: read {number} cases and their stock", read)
        tell(f"{site.name}: judge them, first time in the process", cold)
        tell(f"{site.name}: judge them, median of 5", again, f"{again / number * 1000:.1f} ms a case")


def test_plan_one_pick_list(demo_world: Person, now: datetime) -> None:
    cases = list(Case.objects.filter(status="booked").select_related("site").order_by("list__day")[:5])
    once = median_of(lambda: [pick_plan(case=case, at=now) for case in cases], 3) / len(cases)
    tell("plan what a pick list brings, queries included, per case", once)


def small_list() -> tuple[tuple[CaseDemand, ...], Shelf]:
    """Four cases of one list: two linked slots, five sizes, a second unit opened now and then."""
    fits = Rule(0, 1, frozenset((i, j) for i in range(5) for j in range(5) if abs(i - j) <= 1))
    cases = tuple(
        CaseDemand(
            number,
            (
                SlotLaw("femoral", tuple(f"F{i}" for i in range(5)), weights, extra=0.02),
                SlotLaw("tibial", tuple(f"T{i}" for i in range(5)), weights),
            ),
            (fits,),
            start=number,
            end=number,
        )
        for number, weights in enumerate(((1, 5, 8, 5, 1), (0, 2, 6, 6, 2), (1, 5, 8, 5, 1), (4, 8, 4, 1, 0)))
    )
    return cases, Shelf.plain({f"{slot}{i}": 2 for slot in "FT" for i in range(5)})


def by_lots(cases: Sequence[CaseDemand], there: dict[str, int], draws: int) -> list[float]:
    """The share of draws in which each case is short: sizes drawn until they fit, taken if all are there."""
    lots = random.Random(1)
    short = [0] * len(cases)
    numbers = range(5)
    for _ in range(draws):
        left = dict(there)
        for place, case in enumerate(cases):
            femoral, tibial = case.slots
            allowed = case.rules[0].allow
            while True:
                (i,) = lots.choices(numbers, femoral.weights)
                (j,) = lots.choices(numbers, tibial.weights)
                if (i, j) in allowed:
                    break
            wanted = {femoral.items[i]: 2 if lots.random() < femoral.extra else 1, tibial.items[j]: 1}
            if all(left[item] >= n for item, n in wanted.items()):
                for item, n in wanted.items():
                    left[item] -= n
            else:
                short[place] += 1
    return [n / draws for n in short]


def test_exact_planning_beside_drawing_lots() -> None:
    cases, shelf = small_list()
    exact = median_of(lambda: sharing.assess(cases, shelf), 7)
    answers = sharing.assess(cases, shelf)
    there = {item: len(stock.free) for item, stock in shelf.units.items()}
    drawn, shares = timed(lambda: by_lots(cases, there, DRAWS))
    print()
    tell("four cases, exact", exact)
    tell(f"four cases, {DRAWS} draws of lots", drawn, f"{drawn / exact:.0f} times as long")
    for answer, share in zip(answers, shares, strict=True):
        spread = (share * (1 - share) / DRAWS) ** 0.5
        print(f"    short: exact {answer.p_short_high:.5f}, by lots {share:.5f} ± {spread:.5f}")
        assert answer.exact
        assert answer.p_short_high == pytest.approx(share, abs=6 * spread + 1e-4)
