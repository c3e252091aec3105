"""Ten thousand units through the same import that people use: checked, staged, applied, recorded."""

import csv
import io
from datetime import datetime

from cases.desks.importing import import_apply, import_check, kind_named
from tests.bench.conftest import tell, timed
from trays.catalogue.models import Component
from trays.staff.models import Person
from trays.stock.models import Unit

UNITS = 10_000
HEADS = "component,lot,expires,quantity,owner,tenure,site,place,bin,state,received,code_reads".split(",")


def a_file() -> bytes:
    """One row per unit: the implants' components in turn, each unit with a lot of its own."""
    codes = Component.objects.filter(family__kind="implant").order_by("code").values_list("code", flat=True)
    chosen = list(codes)
    out = io.StringIO()
    rows = csv.writer(out)
    rows.writerow(HEADS)
    for number in range(UNITS):
        code = chosen[number % len(chosen)]
        lot, expires = f"B{number:06d}", f"day {300 + number % 400}"
        owner, received = ("merrowfield", "consigned"), "day -10 09:00"
        rows.writerow([code, lot, expires, 1, *owner, "larkmere", "IS-A", "1-1", "shelf", received, "yes"])
    return out.getvalue().encode()


def test_import_ten_thousand_units(demo_world: Person, now: datetime) -> None:
    before, raw = Unit.objects.count(), a_file()
    kind = kind_named("units")
    checked, run = timed(
        lambda: import_check(
            kind=kind, file=io.BytesIO(raw), file_name="units.csv", by=demo_world, at=now, base_day=now.date()
        )
    )
    told = [fault.sentence for fault in run.faults.all()[:3]]
    assert told == []
    applied, _made = timed(lambda: import_apply(run=run, by=demo_world, at=now))
    assert Unit.objects.count() == before + UNITS
    tell(f"{UNITS} units: check the file", checked, f"{UNITS / checked:.0f} rows a second")
    tell(f"{UNITS} units: write them and the record", applied, f"{UNITS / applied:.0f} rows a second")
    tell(f"{UNITS} units, together", checked + applied)
