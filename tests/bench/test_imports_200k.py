"""Files of up to 200,000 rows through the same import that people use: rows a second, and memory.

Memory is what Python holds at the most while it works, beyond what it held before; that of long files should
be about that of short ones. Nothing here asserts a time.
"""

import csv
import io
import tempfile
import tracemalloc
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import BinaryIO, cast

import pytest
from openpyxl import Workbook

from cases.desks.importing import import_apply, import_check, kind_named
from tests.bench.conftest import tell, timed
from tests.world import NOW, World, make_world
from trays.exchange.models import ImportRun
from trays.stock.models import Unit

SHORT, LONG = 20_000, 200_000
HEADS = "component,lot,expires,owner,tenure,site,place,received".split(",")


@pytest.fixture
def world(db: None) -> World:
    return make_world()


def rows(world: World, count: int) -> Iterator[list[str]]:
    """Units with a lot and a serial each, so that every row has a key of its own."""
    codes = [one.code for one in world.components.values() if one.family.kind == "implant"]
    for number in range(count):
        day = f"2029-{number % 12 + 1:02d}-{number % 28 + 1:02d}"
        yield [
            codes[number % len(codes)], f"B{number % 9_999:05d}", day, "LOC", "owned", "larkmere", "S1",
            "2026-11-02 10:00", f"N{number:07d}",
        ]  # fmt: skip


def a_csv(world: World, count: int) -> BinaryIO:
    file = cast(BinaryIO, tempfile.TemporaryFile())
    text = io.TextIOWrapper(file, newline="")
    out = csv.writer(text)
    out.writerow([*HEADS, "serial"])
    out.writerows(rows(world, count))
    text.flush()
    text.detach()
    return file


def an_xlsx(world: World, count: int) -> BinaryIO:
    file = cast(BinaryIO, tempfile.TemporaryFile())
    book = Workbook(write_only=True)
    page = book.create_sheet("Units")
    page.append([*HEADS, "serial"])
    for row in rows(world, count):
        page.append(row)
    book.save(file)
    return file


def peak(act: Callable[[], object]) -> float:
    """Mebibytes that Python held at the most beyond what it held before."""
    tracemalloc.start()
    before, _most = tracemalloc.get_traced_memory()
    act()
    _now, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return (most - before) / 1024 / 1024


def checked(world: World, file: BinaryIO, at: datetime) -> ImportRun:
    run = import_check(
        kind=kind_named("units"),
        file=file,
        file_name="units",
        by=world.cast.keeper,
        at=at,
    )
    assert run.state == "checked", [fault.sentence for fault in run.faults.all()[:3]]
    return run


@pytest.mark.parametrize(("made", "word"), [(a_csv, "CSV"), (an_xlsx, "XLSX")])
def test_rows_a_second(world: World, made: Callable[[World, int], BinaryIO], word: str) -> None:
    with made(world, LONG) as file:
        seconds, run = timed(lambda: checked(world, file, NOW))
        assert run.rows_read == LONG
        print()
        tell(f"{LONG} rows of {word}: check into staging", seconds, f"{LONG / seconds:.0f} rows a second")
        if made is a_csv:
            seconds, counts = timed(lambda: import_apply(run=run, by=world.cast.keeper, at=NOW))
            tell(f"{LONG} rows: apply in one step", seconds, f"{LONG / seconds:.0f} rows a second")
            assert counts["unit"] == Unit.objects.count() == LONG


@pytest.mark.parametrize(("made", "word"), [(a_csv, "CSV"), (an_xlsx, "XLSX")])
def test_memory(world: World, made: Callable[[World, int], BinaryIO], word: str) -> None:
    print()
    for count in (SHORT, LONG // 2):
        with made(world, count) as file:
            found: list[ImportRun] = []

            def check(file: BinaryIO = file, found: list[ImportRun] = found) -> None:
                found.append(checked(world, file, NOW))

            def apply(found: list[ImportRun] = found) -> None:
                import_apply(run=found[0], by=world.cast.keeper, at=NOW)

            first, second = peak(check), peak(apply)
            print(f"  {count} rows of {word}: peak {first:.1f} MiB to check, {second:.1f} MiB to apply")
        Unit.objects.all()._raw_delete(using="default")
