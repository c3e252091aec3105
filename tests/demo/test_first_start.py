"""The demo's first start: on a weekend, about midnight, and from files with a fault."""

from datetime import UTC, datetime

import pytest

from cases.bookings.models import Case, TheatreList
from cases.desks import demo
from cases.desks.demo import world_load, world_ready
from fixtures import make
from trays.parties.models import Site
from trays.processing.models import Move
from trays.processing.models_machines import Run
from trays.staff.models import Person

WEDNESDAY = datetime(2026, 12, 2, 11, 0, tzinfo=UTC)
SATURDAY = datetime(2026, 12, 5, 11, 0, tzinfo=UTC)


def test_a_start_on_a_weekend_begins_with_monday(db):
    assert world_ready(at=SATURDAY) == "loaded"
    assert TheatreList.objects.order_by("day").first().day.isoformat() == "2026-12-07"


def test_started_a_minute_after_midnight_nothing_of_the_round_lies_in_the_future(db):
    night = WEDNESDAY.replace(hour=0, minute=1)
    world_ready(at=night)
    assert not Move.objects.filter(at__gt=night).exists()
    assert not Run.objects.filter(started_at__gt=night).exists()
    assert Run.objects.filter(state="running").count() == 2


def test_a_fault_in_its_files_leaves_nothing(db, tmp_path, monkeypatch):
    make.write(tmp_path)
    cases = tmp_path / "33-cases.csv"
    cases.write_text(cases.read_text().replace("larkmere,LK-0931", "nowhere,LK-0931"))
    monkeypatch.setattr(demo, "FOLDER", tmp_path)
    keeper = Person.objects.create(username="keeper", name="K", is_superuser=True, password="!")
    with pytest.raises(demo.DemoBroken) as broken:
        world_load(by=keeper, base_day=WEDNESDAY.date())
    first = broken.value.faults[0]
    assert (first.file, first.column) == ("33-cases.csv", "site")
    assert not Site.objects.exists()
    assert not Case.objects.exists()


