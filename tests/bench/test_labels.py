"""Ten thousand labels, from the rows to the files: labels a second of one core, and the memory it takes."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from threading import Event as Signal
from threading import Thread
from time import perf_counter, process_time

import pytest

from trays.identifiers import ours
from trays.instruments.models import (
    ContentsLine,
    DesignVersion,
    InstrumentSet,
    InstrumentType,
    Pack,
    SetDesign,
)
from trays.labels.models import LabelRun
from trays.labels.services import label_order, order_begin, run_make
from trays.parties.models import Party, PartyKind, Site
from trays.places.models import Place, PlaceKind
from trays.staff.models import Person

LABELS = 10_000
PREFIX = "9521234"


@dataclass
class Memory:
    """Resident memory of this process in MB: before, and at its highest meanwhile."""

    before: float
    peak: float


def resident() -> float:
    """MB of this process that are in memory now (0 where the system does not tell)."""
    told = Path("/proc/self/statm")
    return int(told.read_text().split()[1]) * 4096 / 1e6 if told.exists() else 0.0


@contextmanager
def watched() -> Iterator[Memory]:
    memory, done = Memory(resident(), 0.0), Signal()

    def look() -> None:
        while not done.wait(0.02):
            memory.peak = max(memory.peak, resident())

    watcher = Thread(target=look)
    watcher.start()
    yield memory
    done.set()
    watcher.join()


@pytest.fixture
def keeper(db: None) -> Person:
    return Person.objects.create_superuser("keeper", name="keeper")


@pytest.fixture
def store(keeper: Person) -> Place:
    party = Party.objects.create(code="loc", name="Larkmere", kind=PartyKind.HOSPITAL)
    site = Site.objects.create(code="larkmere", name="Larkmere", party=party)
    return Place.objects.create(site=site, code="S", name="Store", kind=PlaceKind.STERILE_STORE)


@pytest.fixture
def packs(store: Place) -> list[int]:
    """Packs of one tray each, of a design with one line; every one has a date, a load and a packer."""
    retractor = InstrumentType.objects.create(code="retractor", name="Retractor, bent")
    design = SetDesign.objects.create(
        code="kn", name="Knee basic instruments", barrier="double", method="steam"
    )
    version = DesignVersion.objects.create(design=design, version=12, valid_from=date(2026, 1, 1))
    ContentsLine.objects.create(version=version, number=1, instrument=retractor, quantity=2)
    sets = InstrumentSet.objects.bulk_create(
        InstrumentSet(version=version, code=f"KN-{n:05d}", site=store.site, owner=store.site.party)
        for n in range(LABELS)
    )
    made = Pack.objects.bulk_create(
        Pack(
            set=one,
            number=f"P{n:05d}",
            giai=f"{PREFIX}P{n:05d}",
            place=store,
            state=Pack.State.STORED,
            sterile_until=date(2027, 11, 24),
            load=f"S2-{n // 12:04d}",
            round=1 + n % 300,
            weight_grams=7000 + n % 900,
        )
        for n, one in enumerate(sets)
    )
    return [pack.pk for pack in made]


@pytest.fixture
def shelves(store: Place) -> list[int]:
    gln = ours.gln(PREFIX, "31")
    made = Place.objects.bulk_create(
        Place(
            site=store.site,
            code=f"K{n:05d}",
            name=f"Bay {n}",
            kind=PlaceKind.SHELF,
            gln=gln,
            extension=f"K{n:05d}",
        )
        for n in range(LABELS)
    )
    return [place.pk for place in made]


def run(by: Person, kind: str, ids: list[int], stock: str, now: datetime) -> None:
    begun = order_begin(order=label_order(by=by, kind=kind, ids=ids, stock=stock), at=now)
    wall, core = perf_counter(), process_time()
    with watched() as memory:
        run_make(run=begun, at=now)
    wall, core = perf_counter() - wall, process_time() - core
    begun = LabelRun.objects.get(pk=begun.pk)
    sizes = [len(bytes(pdf)) for pdf in begun.files.values_list("pdf", flat=True)]
    print(
        f"\n  {begun.labels} {kind} labels on {stock}, "
        f"{len(sizes)} files of {sum(sizes) / len(sizes) / 1e6:.1f} MB: "
        f"{begun.labels / core:.0f} labels/s of one core, {begun.labels / wall:.0f}/s by the clock; "
        f"memory {memory.before:.0f} MB before, {memory.peak:.0f} MB at most"
    )


@pytest.mark.parametrize("stock", ["pack-roll-203", "pack-roll-300"])
def test_ten_thousand_pack_labels_with_their_copies(
    stock: str, keeper: Person, packs: list[int], now: datetime
) -> None:
    run(keeper, "pack", packs, stock, now)


@pytest.mark.parametrize("stock", ["roll-300", "a4"])
def test_ten_thousand_shelf_labels(stock: str, keeper: Person, shelves: list[int], now: datetime) -> None:
    run(keeper, "shelf", shelves, stock, now)
