"""A recall over a history of 100,000 packs: its pages and its opening, with a fixed number of queries.

    python -m pytest tests/bench/test_recall.py -s

Prints rows, queries, median and 95th percentile. TRAYSPAN_BENCH_PACKS sets how many packs there are.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import partial
from statistics import median, quantiles
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from cases.picks.models import PackFor
from tests.bench.conftest import tell, timed
from tests.trays.processing.conftest import Department
from tests.world import NOW
from trays.instruments.models import InstrumentSet, Pack
from trays.ledger import guards
from trays.processing import recalling
from trays.processing.models import Move
from trays.processing.models_machines import Indicator, Run, RunPack
from trays.processing.models_recall import Recall

PACKS = int(os.environ.get("TRAYSPAN_BENCH_PACKS", "100000"))
PER_LOAD = 12
ROUNDS_OF_THE_OLD_SET = 400
STAGES = ("used", "received", "cleaned", "assembled", "packed", "in_load", "released", "stored")
SINCE_NEGATIVE = 20
"""So many loads ago the last biological indicator of the machine did not grow."""


@contextmanager
def without_guards() -> Iterator[None]:
    """History in bulk: the laws are taken away for it, and put back and looked for after it."""
    for guard in guards.registered():
        if guard.table in ("trays_move", "trays_pack"):
            guards.remove(connection, guard)
    yield
    guards.install(connection)
    assert guards.missing(connection) == []


def steps(pack: Pack, round_: int, first: int, end: datetime, run: int) -> Iterator[Move]:
    """One whole round of a pack that ends on its shelf."""
    for number, (before, after) in enumerate(zip(STAGES, STAGES[1:], strict=False)):
        at = end - timedelta(minutes=30 * (len(STAGES) - number))
        yield Move(
            pack=pack, sequence=first + number, round=round_, before=before, after=after,
            site_id=pack.set.site_id, place_id=pack.place_id, since=at - timedelta(minutes=30),
            at=at, recorded_at=at, run_id=run if after in ("in_load", "released") else None,
        )  # fmt: skip


def seed(department: Department) -> InstrumentSet:
    """All packs with a round behind each, their loads, every fifth opened for a case; and one old set."""
    world, machine = department.world, department.sterilizer
    version = world.designs["general"].versions.get()
    sets = InstrumentSet.objects.bulk_create(
        [
            InstrumentSet(
                version=version, code=f"B-{n:06d}", site=world.site, owner=world.hospital, tenure="owned"
            )
            for n in range(PACKS)
        ],
        batch_size=2000,
    )
    packs = Pack.objects.bulk_create(
        [
            Pack(
                set=one, tray=1, number=f"B{n:06d}", place=world.sterile_store, state="stored",
                round=2, since=NOW,
            )
            for n, one in enumerate(sets)
        ],
        batch_size=2000,
    )  # fmt: skip
    loads = range((PACKS + PER_LOAD - 1) // PER_LOAD)
    ended = [NOW - timedelta(hours=len(loads) - n) for n in loads]
    runs = Run.objects.bulk_create(
        [
            Run(
                machine=machine, number=n + 1, programme=department.steam, state="passed", opened_at=ended[n],
                opened_by=world.cast.technician, started_at=ended[n], ended_at=ended[n], verdict="passed",
                decided_at=ended[n], decided_by=department.colleague,
            )
            for n in loads
        ],
        batch_size=2000,
    )  # fmt: skip
    Indicator.objects.create(
        run=runs[-SINCE_NEGATIVE - 1], kind="biological", lot="B", result="passed",
        placed_at=NOW, placed_by=world.cast.technician, read_at=NOW, read_by=world.cast.technician,
    )  # fmt: skip
    RunPack.objects.bulk_create(
        [
            RunPack(run=runs[n // PER_LOAD], pack=pack, round=2, position=n % PER_LOAD + 1, open=False)
            for n, pack in enumerate(packs)
        ],
        batch_size=5000,
    )
    cases = [world.a_case(reference=f"BENCH-{n}", day=NOW.date() - timedelta(days=n)) for n in range(30)]
    PackFor.objects.bulk_create(
        [
            PackFor(
                case=cases[n % len(cases)], pack=pack, round=2,
                issued_at=NOW, issued_by=world.cast.technician,
                opened_at=NOW, opened_by=world.cast.technician,
            )
            for n, pack in enumerate(packs)
            if n % 5 == 0
        ],
        batch_size=5000,
    )  # fmt: skip
    old = world.a_set("general", "OLD", trays=2)
    with without_guards():
        for first in range(0, PACKS, 10_000):
            own = packs[first : first + 10_000]
            Move.objects.bulk_create(
                [
                    move
                    for n, pack in enumerate(own, start=first)
                    for move in steps(pack, 2, 1, ended[n // PER_LOAD], runs[n // PER_LOAD].pk)
                ],
                batch_size=5000,
            )
        for pack in old.packs.select_related("set"):
            Move.objects.bulk_create(
                [
                    move
                    for number in range(ROUNDS_OF_THE_OLD_SET)
                    for move in steps(
                        pack, number + 2, number * (len(STAGES) - 1) + 1,
                        NOW - timedelta(days=ROUNDS_OF_THE_OLD_SET - number), runs[number % len(runs)].pk,
                    )
                ],
                batch_size=5000,
            )  # fmt: skip
            Pack.objects.filter(pk=pack.pk).update(round=ROUNDS_OF_THE_OLD_SET + 1)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    return old


def measured(what: str, act: Callable[[], Any], times: int, rows: int) -> int:
    """Print median and 95th percentile of so many calls; how many queries one of them took."""
    with CaptureQueriesContext(connection) as counted:
        act()
        spent = len(counted)
    found = [timed(act)[0] for _ in range(times)]
    late = quantiles(found, n=20)[-1]
    tell(what, median(found), f"p95 {late * 1000:.1f} ms, {rows} rows, {spent} queries")
    return spent


def opened_and_undone(department: Department, scope: str, run: Run) -> Callable[[], int]:
    def act() -> int:
        with transaction.atomic():
            made = recalling.recall_open(
                by=department.world.cast.quality, machine=department.sterilizer, cause="faulty_machine",
                scope=scope, reason="Air leak", run=run, at=NOW,
            )  # fmt: skip
            count = made.packs.count()
            transaction.set_rollback(True)
        return count

    return act


@pytest.mark.django_db
def test_a_recall_over_a_long_history(department: Department) -> None:
    seconds, old = timed(lambda: seed(department))
    print()
    tell(f"history of {PACKS} packs, {Move.objects.count()} steps, {Run.objects.count()} loads", seconds)
    quality = Client()
    quality.force_login(department.world.cast.quality, backend="django.contrib.auth.backends.ModelBackend")
    last = Run.objects.latest("pk")
    made: dict[str, Recall] = {}
    for scope in ("this_load", "since_negative"):
        rows = opened_and_undone(department, scope, last)()
        measured(f"opening a recall, {scope}", opened_and_undone(department, scope, last), 20, rows)
        made[scope] = recalling.recall_open(
            by=department.world.cast.quality, machine=department.sterilizer, cause="faulty_machine",
            scope=scope, reason="Air leak", run=last, at=NOW,
        )  # fmt: skip
    for name in ("recall", "recall-cases"):
        spent = set()
        for scope, recall in made.items():
            address = reverse(name, args=[recall.pk])
            page = partial(_got, quality, address)
            spent.add(measured(f"page {name}, {scope}", page, 30, recall.packs.count()))
        assert len(spent) == 1, "the number of queries must not grow with the packs of a recall"
    rows = Move.objects.filter(pack__set=old).count()
    address = reverse("set-history", args=[old.code])
    few = measured("page of a history, the old set", partial(_got, quality, address), 30, rows)
    young = reverse("set-history", args=["B-000007"])
    assert (
        measured("page of a history, a young set", partial(_got, quality, young), 30, len(STAGES) - 1) == few
    )


def _got(client: Client, address: str) -> None:
    assert client.get(address).status_code == 200
