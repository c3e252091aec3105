"""Sterile services of the demo at work: a week of earlier rounds, from which stage times are learnt, and the
morning of its first day under way.

All of it goes through the services, at moments before the demo was started. It is the same each time.
"""

import io
import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.contrib.auth.hashers import make_password
from django.db import transaction

from trays.instruments.models import Pack
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.places.models import Place
from trays.processing import bench, deciding, machines, recalling, receiving, runs, storing
from trays.processing.bench import Found
from trays.processing.deciding import Early
from trays.processing.models import LineState, ShortfallCause
from trays.processing.models_machines import Machine, Programme, Run
from trays.processing.policies import programmes_on, tests_owed
from trays.processing.receiving import Lacking
from trays.staff.models import Person
from trays.staff.signing import Signer, signer

PIN = "4820"
"""Everybody's in the demo: it signs within a session that is open already, on this machine only."""
SITE = "larkmere"
PACKER, RELEASER, SECOND, NURSE = "wickstead", "garrowby", "brackenthwaite", "pellow"
# Sets of one tray each that go round on every day of the week before.
BEFORE = ("PW-01", "PW-02", "PW-03", "PW-04", "PW-05", "KP-01")
DAYS_BEFORE = 5
# Where each set stands this morning. No case of the first two days is without one for it.
TO_RELEASE, RUNNING, EARLY = "HL-03", "FS-02", "HC-03"
PACKED, BENCH, WASHING, RECEIVED = "TS-02", "KG-05", "HG-03", "HL-02"
MORNING = timedelta(hours=4)


def pins_give() -> None:
    """The demo's PIN for everybody who has none."""
    lacking = Person.objects.filter(pin="")
    if lacking.exists():
        lacking.update(pin=make_password(PIN))


@transaction.atomic
def round_act(*, base_day: date, at: datetime) -> None:
    """Act out the week before the base day, and the hours before `at`."""
    pins_give()
    hall = _hall(at)
    days = _working_days_before(base_day)
    source = random.Random(952)  # noqa: S311  # nosec B311 - an invented world
    for number, day in enumerate(days):
        _day_before(hall, day, source, lot=f"B-{2207 + number}" if number == 0 else "")
    _morning(hall, _clock(hall, at), days[-1])


@dataclass
class _Hall:
    """The department: its people, machines and programmes."""

    site: Site
    packer: Person
    releaser: Signer
    second: Signer
    nurse: Person
    place: Place
    theatre: Place
    machines: dict[str, Machine]
    wash: Programme
    steam: Programme

    def of(self, *codes: str) -> list[Pack]:
        """The packs of sets, as they are now."""
        rows = Pack.objects.select_related("set__site", "place").filter(
            set__site=self.site, set__code__in=codes
        )
        return list(rows.order_by("set__code", "tray"))

    def tested(self, code: str, at: datetime, *, but: str = "") -> None:
        """Record the day's tests of a machine as passed; all but one, if one is named."""
        machine = self.machines[code]
        day = at.astimezone(self.site_zone).date()
        for rule in tests_owed(machines=[machine], day=day)[machine.pk]:
            if rule.code != but:
                machines.day_test_record(by=self.packer, machine=machine, rule=rule, passed=True, at=at)

    @property
    def site_zone(self) -> ZoneInfo:
        return ZoneInfo(self.site.zone)

    def used(self, packs: Iterable[Pack], issued: datetime, opened: datetime) -> None:
        rows = list(packs)
        storing.packs_issue(by=self.packer, packs=rows, place=self.theatre, at=issued)
        storing.packs_open(by=self.nurse, packs=rows, place=self.theatre, at=opened)

    def run(
        self, code: str, packs: Iterable[Pack], filled: datetime, started: datetime, *, lot: str = ""
    ) -> Run:
        machine = self.machines[code]
        programme = self.wash if machine.kind == "washer" else self.steam
        made = runs.run_open(by=self.packer, machine=machine, programme=programme, at=filled)
        runs.run_fill(by=self.packer, run=made, packs=list(packs), at=filled)
        return runs.run_start(by=self.packer, run=made, at=started, indicator_lot=lot)

    def end(self, run: Run, at: datetime) -> None:
        runs.run_end(by=self.packer, run=run, verdict="passed", at=at)

    def washed(self, run: Run, ended: datetime, decided: datetime) -> None:
        self.end(run, ended)
        deciding.wash_decide(by=self.packer, run=run, passed=True, at=decided)

    def packed(self, pack: Pack, begun: datetime, closed: datetime, packed: datetime) -> None:
        """Assemble a whole pack, line by line, and wrap it."""
        made = bench.assembly_begin(by=self.packer, pack=pack, place=self.place, at=begun)
        bench.rest_there(by=self.packer, assembly=made, at=closed)
        bench.assembly_close(by=self.packer, assembly=made, at=closed)
        bench.pack_close(
            by=self.packer, assembly=made, packaging="container" if pack.container else "wrap",
            weight_grams=pack.weight_grams or 4_000, indicator_lot="X20931", at=packed,
        )  # fmt: skip


def _hall(at: datetime) -> _Hall:
    site = Site.objects.get(code=SITE)
    wanted = (PACKER, RELEASER, SECOND, NURSE)
    people = {one.username: one for one in Person.objects.filter(username__in=wanted)}
    day = site_day(site, at)

    def programme(kind: str, code: str) -> Programme:
        return next(row for row in programmes_on(site=site, kind=kind, day=day) if row.code == code)

    return _Hall(
        site=site,
        packer=people[PACKER],
        releaser=signer(person=people[RELEASER], pin=PIN),
        second=signer(person=people[SECOND], pin=PIN),
        nurse=people[NURSE],
        place=Place.objects.get(site=site, code="SS"),
        theatre=Place.objects.get(site=site, code="T2"),
        machines={row.code: row for row in Machine.objects.filter(site=site).select_related("site", "place")},
        wash=programme("washer", "instruments"),
        steam=programme("sterilizer", "p134"),
    )


def _working_days_before(base_day: date) -> list[date]:
    found: list[date] = []
    day = base_day
    while len(found) < DAYS_BEFORE:
        day -= timedelta(days=1)
        if day.weekday() < 5:
            found.insert(0, day)
    return found


def _day_before(hall: _Hall, day: date, source: random.Random, *, lot: str) -> None:
    """One day's round of six sets: some quicker, some slower."""
    now = datetime.combine(day, time(6, 30), hall.site_zone)

    def later(least: int, most: int) -> datetime:
        nonlocal now
        now += timedelta(minutes=source.randint(least, most))
        return now

    hall.tested("W1", now)
    hall.tested("S1", now)
    homes = [(pack, pack.place, pack.bin) for pack in hall.of(*BEFORE)]
    hall.used([pack for pack, _place, _bin in homes], later(50, 70), later(30, 60))
    receiving.packs_receive(by=hall.packer, packs=hall.of(*BEFORE), place=hall.place, at=later(110, 160))
    wash = hall.run("W1", hall.of(*BEFORE), later(5, 25), later(2, 8))
    ended = later(54, 58)
    hall.washed(wash, ended, later(3, 9))
    for pack in hall.of(*BEFORE):
        hall.packed(pack, later(2, 6), later(5, 12), later(2, 7))
    load = hall.run("S1", hall.of(*BEFORE), later(5, 25), later(3, 12), lot=lot)
    hall.end(load, later(58, 64))
    deciding.load_release(by=hall.releaser, run=load, at=later(8, 25))
    _stored(hall, homes, later(10, 40))
    for indicator in load.indicators.all():
        recalling.indicator_read(by=hall.packer, indicator=indicator, grew=False, at=now + timedelta(days=1))


def _stored(hall: _Hall, homes: Iterable[tuple[Pack, Place, str]], at: datetime) -> None:
    """Each pack goes back to its own place."""
    by_place: dict[tuple[int, str], tuple[Place, list[Pack]]] = {}
    for pack, place, bin_ in homes:
        by_place.setdefault((place.pk, bin_), (place, []))[1].append(pack)
    for (_pk, bin_), (place, packs) in by_place.items():
        storing.packs_store(by=hall.packer, packs=packs, place=place, bin=bin_, at=at)


Clock = Callable[[float], datetime]


def _clock(hall: _Hall, at: datetime) -> Clock:
    """Moments of this morning by their share of it, 0..1: all of today by the site's clock, none after
    `at`.
    """
    midnight = datetime.combine(at.astimezone(hall.site_zone).date(), time(), hall.site_zone)
    begun = max(at - MORNING, midnight)
    return lambda share: (begun + (at - begun) * share).replace(second=0, microsecond=0)


def _morning(hall: _Hall, clock: Clock, day_before: date) -> None:
    """What is found at each stage when the demo is opened."""
    noon = datetime.combine(day_before, time(12, 40), hall.site_zone)
    hall.used(
        hall.of(TO_RELEASE, RUNNING, EARLY, PACKED, WASHING, RECEIVED), noon, noon + timedelta(minutes=50)
    )
    for code, but in (("W1", ""), ("W2", ""), ("S1", ""), ("S2", ""), ("S3", "leak")):
        hall.tested(code, clock(0.0), but=but)
    first, second = hall.of(TO_RELEASE, RUNNING, EARLY), hall.of(PACKED, BENCH)
    receiving.packs_receive(
        by=hall.packer, packs=[*first, *hall.of(PACKED)], place=hall.place, at=clock(0.02)
    )
    washes = [
        hall.run("W1", first, clock(0.05), clock(0.06)),
        hall.run("W2", second, clock(0.08), clock(0.09)),
    ]
    hall.washed(washes[0], clock(0.29), clock(0.30))
    hall.washed(washes[1], clock(0.32), clock(0.33))
    _loads(hall, clock)
    _at_the_bench(hall, clock)
    _arrived(hall, clock)


def _loads(hall: _Hall, clock: Clock) -> None:
    """One load waits for its release, one is running; one went out before its indicator was known; a pack
    waits for the next.
    """
    for number, pack in enumerate(hall.of(EARLY, TO_RELEASE)):
        begun = 0.34 + number * 0.03
        hall.packed(pack, clock(begun), clock(begun + 0.02), clock(begun + 0.025))
    early = hall.run("S2", hall.of(EARLY), clock(0.44), clock(0.45), lot="B-2214")
    waiting = hall.run("S1", hall.of(TO_RELEASE), clock(0.44), clock(0.46))
    for number, pack in enumerate(hall.of(RUNNING, PACKED)):
        begun = 0.48 + number * 0.05
        hall.packed(pack, clock(begun), clock(begun + 0.03), clock(begun + 0.04))
    for run, ended in ((early, 0.70), (waiting, 0.72)):
        hall.end(run, clock(ended))
        runs.run_log_import(by=hall.packer, run=run, file=_log(run.number), at=clock(ended + 0.01))
    why = Early("The third hip of tomorrow is an emergency", hall.second)
    deciding.load_release(by=hall.releaser, run=early, at=clock(0.76), early=why)
    hall.run("S1", hall.of(RUNNING), clock(0.82), clock(0.84))


def _at_the_bench(hall: _Hall, clock: Clock) -> None:
    """A list half checked, with a clip that is not there."""
    pack = hall.of(BENCH)[0]
    made = bench.assembly_begin(by=hall.packer, pack=pack, place=hall.place, at=clock(0.90))
    lines = list(made.version.lines.filter(tray=pack.tray).order_by("number"))
    found = [Found(line, LineState.THERE, line.quantity) for line in lines[:6]]
    bench.lines_check(by=hall.packer, assembly=made, found=found, at=clock(0.93))
    clips = lines[6]
    bench.lines_check(
        by=hall.packer, assembly=made, found=[Found(clips, LineState.MISSING, clips.quantity - 1)],
        at=clock(0.95),
    )  # fmt: skip


def _arrived(hall: _Hall, clock: Clock) -> None:
    """Two sets came with the last trolley, one of them short; the other is in the washer."""
    packs = hall.of(WASHING, RECEIVED)
    short = hall.of(RECEIVED)[-1]
    line = short.set.version.lines.filter(tray=short.tray, critical=False).order_by("number")[1]
    lack = Lacking(short.pk, line, 1, ShortfallCause.MISSING, "Not on the trolley")
    receiving.packs_receive(by=hall.packer, packs=packs, place=hall.place, at=clock(0.75), lacking=[lack])
    hall.run("W1", hall.of(WASHING), clock(0.85), clock(0.87))


def _log(number: int) -> io.BytesIO:
    """A load's temperatures as its machine writes them down: up, held above 134 °C, down."""
    rows = ["time;chamber °C;drain °C"]
    for second in range(0, 1_810, 10):
        warm = min(20 + second * 0.115, 134.8) if second < 1_260 else max(134.8 - (second - 1_260) * 0.12, 70)
        drain = warm - 0.3 - 0.1 * ((second // 10 + number) % 3)
        rows.append(f"{second // 60:02d}:{second % 60:02d};{warm:.1f};{drain:.1f}")
    return io.BytesIO("\n".join(rows).encode())
