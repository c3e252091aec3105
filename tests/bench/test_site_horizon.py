"""A site of 400 cases ahead, from the database to every verdict; then the same with ten years of history."""

import cProfile
import os
import pstats
from datetime import datetime
from statistics import median
from time import perf_counter, process_time

from django.db import connection
from django.test.utils import CaptureQueriesContext

from cases.planning.horizon import outlook
from cases.readiness.arrays import Patterns, lay_out_cases
from cases.readiness.assess import Judgement, judged
from cases.readiness.laws import Laws, in_order
from cases.readiness.snapshot import take
from tests.bench.conftest import tell
from tests.bench.made import enlarge, grow_old
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.staff.models import Person

CASES = 400
YEARS = 10


def test_from_the_database_to_every_verdict(demo_world: Person, now: datetime) -> None:
    site = Site.objects.get(name="Larkmere")
    enlarge(site, cases=CASES, today=site_day(site, now))
    before = measured(site, now)
    begun = perf_counter()
    grow_old(site, today=site_day(site, now), years=YEARS)
    tell(f"{YEARS} years of history made", perf_counter() - begun)
    measured(site, now, before)


def measured(site: Site, now: datetime, before: Judgement | None = None) -> Judgement:
    with CaptureQueriesContext(connection) as queries:
        snapshot = take(site=site, at=now)
    print()
    print(f"    {len(snapshot.cases)} cases, {len(snapshot.components)} components, {len(queries)} queries")
    tell("read the site", _spent(lambda: take(site=site, at=now)))
    begun = process_time()
    laws = Laws(snapshot)
    ordered = in_order([laws.case(facts) for facts in snapshot.cases], snapshot.policy.zone)
    patterns = Patterns()
    layout = lay_out_cases(snapshot, ordered, patterns)
    tell(
        "laws and arrays, nothing known yet", process_time() - begun, f"{len(layout.arrays.pair_case)} pairs"
    )
    tell("laws and arrays, the laws known", _spent(lambda: _again(snapshot, laws, patterns)))
    tell("bound and estimate", _spent(lambda: outlook(layout.arrays).about))
    begun = process_time()
    first = judged(snapshot)
    tell("every verdict, nothing known yet", process_time() - begun)
    seconds = _spent(lambda: judged(take(site=site, at=now), first))
    tell("read and judge again, as after an act", seconds)
    if os.environ.get("TRAYSPAN_PROFILE"):
        profile = cProfile.Profile()
        profile.runcall(lambda: judged(snapshot, first))
        pstats.Stats(profile).sort_stats("cumtime").print_stats(45)
    words = [str(verdict.on_site.word) for verdict in first.horizon.verdicts.values()]
    print("    " + ", ".join(f"{word} {words.count(word)}" for word in sorted(set(words))))
    return first


def _again(snapshot, laws, patterns) -> None:
    again = Laws(snapshot, laws)
    lay_out_cases(
        snapshot, in_order([again.case(one) for one in snapshot.cases], snapshot.policy.zone), patterns
    )


def _spent(act, times: int = 3) -> float:
    found = []
    for _ in range(times):
        begun = process_time()
        act()
        found.append(process_time() - begun)
    return median(found)
