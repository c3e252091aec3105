"""Sets over a day: each answer beside the plain trial of everything, and what twenty cases take."""

import random
from itertools import permutations, product

from cases.planning import milp
from cases.planning.alternatives import PhysicalSet, Use, assign, first_come, searched
from cases.planning.durations import Hours, Law, Stage, ready_by
from cases.planning.ordering import find_order
from cases.planning.ordering_kinds import DayList, ListCase, SetKind
from cases.planning.sterilizing import Return, schedule
from cases.planning.turnaround import AT_ONCE, Round, fewest_sets, first_wait, over_a_day
from tests.bench.conftest import median_of, tell, timed
from tests.cases.planning.test_ordering import nobody_waits
from tests.cases.planning.test_turnaround import returns_in_time, served_by_some_loads

QUEUE = Round(decon=90, cycle=60, cap=4, after=45)


def a_day(number: int, seed: int = 1) -> tuple[list[tuple[int, int]], int]:
    """So many cases over as many theatres as they need, and the fewest sets that do."""
    rng = random.Random(seed)
    cases = []
    for n in range(number):
        start = 480 + 5 * rng.randrange(0, 110) + 1440 * (n // 40)
        cases.append((start, start + 5 * rng.randint(12, 30)))
    return cases, over_a_day(cases, [], QUEUE).sets_needed


def test_identical_sets() -> None:
    print()
    for number in (8, 40, 400):
        cases, sets = a_day(number)
        ready = [AT_ONCE] * sets
        quick = median_of(lambda cases=cases, ready=ready: first_wait(cases, ready, QUEUE), 9)
        whole = median_of(lambda cases=cases, ready=ready: over_a_day(cases, ready, QUEUE), 3)
        tell(f"{number} cases, {sets} sets: does anybody wait", quick)
        tell(
            f"{number} cases, {sets} sets: fewest, every latest leave too",
            whole,
            f"{whole / quick:.0f} times",
        )


def test_identical_sets_beside_a_trial_of_all_loads() -> None:
    """One set too few: the trial must see every sequence fail. Small numbers: it looks at every minute."""
    rng = random.Random(3)
    way = Round(decon=2, cycle=3, cap=2, after=1)
    cases = [(start, start + rng.randint(2, 4)) for start in sorted(rng.randint(1, 26) for _ in range(8))]
    ready = [AT_ONCE] * (fewest_sets(cases, way) - 1)
    mine = median_of(lambda: first_wait(cases, ready, way), 9)
    trial = median_of(lambda: served_by_some_loads(cases, ready, way), 3)
    print()
    tell("eight cases, the recursion", mine)
    tell("eight cases, every sequence of loads", trial, f"{trial / mine:.0f} times as long")


def test_several_kinds_before_one_machine() -> None:
    print()
    for seed in (13, 35):
        rng = random.Random(seed)
        tight = [Return(release := rng.randint(0, 16), release + rng.randint(12, 20)) for _ in range(12)]
        spans = [(one.release, one.due) for one in tight]
        found = schedule(tight, (0,), 4, 2)
        mine = median_of(lambda tight=tight: schedule(tight, (0,), 4, 2), 9)
        trial, _answer = timed(lambda spans=spans: returns_in_time(spans, (0,), 4, 2))
        what = "in time" if found.in_time else "none in time, proven"
        tell("twelve returns of several kinds", mine, f"{found.method}: {what}")
        tell("twelve returns, every load of every subset", trial, f"{trial / mine:.0f} times as long")
    day = [Return(release := 5 * rng.randrange(120, 260), release + 300) for _ in range(60)]
    tell("sixty returns, two machines", median_of(lambda: schedule(day, (0, 0), 60, 6), 5))


def test_alternatives() -> None:
    rng = random.Random(7)
    sets = [PhysicalSet(0, 30 * rng.randint(6, 12)) for _ in range(20)]
    uses = []
    for _ in range(40):
        start = 480 + 5 * rng.randrange(0, 110)
        uses.append(Use(start, start + 5 * rng.randint(12, 30), tuple(rng.sample(range(20), 4))))
    choices = [tuple(s for s in use.accepts if sets[s].may(use.start, use.end)) for use in uses]
    quick = first_come(uses, sets, choices)
    print()
    tell("40 cases, 20 sets, first come, first served", median_of(lambda: first_come(uses, sets, choices), 9),
         f"{quick.unserved} without")  # fmt: skip
    if milp.installed():
        best = assign(uses, sets)
        tell("40 cases, 20 sets, integer programme", median_of(lambda: assign(uses, sets), 5),
             f"{best.unserved} without{', proven' if best.proven else ''}")  # fmt: skip
    some, few = uses[:20], choices[:20]
    tell("20 cases, 20 sets, exhaustive search", median_of(lambda: searched(some, sets, few), 3))


def test_order_of_twenty_cases() -> None:
    print()
    for seed in (2, 3, 12, 17, 26, 29, 43, 51):
        lists, kinds = four_theatres(seed)
        seconds, found = timed(lambda lists=lists, kinds=kinds: find_order(lists, kinds))
        what = "none, proven" if found.proven else "not settled"
        if found.orders is not None:
            what = f"found, {found.swaps} swapped{', fewest' if found.least else ''}"
        tell(f"twenty cases in four theatres, day {seed}", seconds, f"{what}; {found.states} partial orders")


def four_theatres(seed: int) -> tuple[list[DayList], list[SetKind]]:
    rng = random.Random(seed)
    kinds = [
        SetKind((AT_ONCE,) * rng.randint(3, 6), Round(decon=rng.choice([180, 240, 300]))) for _ in range(3)
    ]
    lists = []
    for _theatre in range(4):
        cases = [
            ListCase(5 * rng.randint(10, 24), tuple((k,) for k in range(3) if rng.random() < 0.4))
            for _ in range(5)
        ]
        starts = [510]
        for case in cases[:-1]:
            starts.append(starts[-1] + case.minutes + 15)
        lists.append(DayList(tuple(starts), tuple(cases)))
    return lists, kinds


def test_an_order_beside_all_permutations() -> None:
    block = SetKind((AT_ONCE, AT_ONCE), Round(200))
    cases = tuple(ListCase(40 + 10 * n, ((0,),) if n % 3 else ()) for n in range(7))
    starts = [480]
    for case in cases[:-1]:
        starts.append(starts[-1] + case.minutes + 10)
    day = [DayList(tuple(starts), cases)]
    mine, found = timed(lambda: find_order(day, [block]))
    trial, good = timed(
        lambda: sum(nobody_waits(day, orders, [block]) for orders in product(permutations(range(7))))
    )
    print()
    tell("seven cases, the search", mine, "found" if found.orders else "none, proven")
    tell("seven cases, every permutation", trial, f"{trial / mine:.0f} times as long; {good} of 5040 do")


def test_ready_by() -> None:
    rng = random.Random(9)
    shifts = Hours(((420, 1200), (1860, 2640)))
    stages = [
        Stage(Law.histogram(range(5, 60), [rng.random() for _ in range(55)]), runs=tuple(range(0, 2880, 30))),
        Stage(Law.histogram(range(60, 180), [rng.random() for _ in range(120)])),
        Stage(Law.histogram(range(20, 120), [rng.random() for _ in range(100)]), hours=shifts),
        Stage(Law.histogram(range(55, 75), [rng.random() for _ in range(20)])),
    ]  # fmt: skip
    print()
    tell("four stages, a run, working hours", median_of(lambda: ready_by(Law.point(780), stages), 9))
