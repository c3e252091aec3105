"""The page of work of sterile services: what is wanted next and by when, what waits, what is late."""

from datetime import datetime, time, timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from cases.desks.work import work_board
from cases.picks.leaving import packs_open_for
from cases.reservations.sets import set_hold
from tests.trays.processing.conftest import Department
from tests.world import NOW, World
from trays.instruments.models import InstrumentSet, PackState
from trays.processing import bench, deciding, runs, storing, times
from trays.processing.bench import Found
from trays.processing.models import LineState
from trays.processing.models_policy import StageAllowance, Trip

SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}
MINUTES = {
    "used": 10,
    "received": 60,
    "cleaned": 20,
    "assembled": 5,
    "packed": 10,
    "in_load": 65,
    "released": 5,
}


@pytest.fixture(autouse=True)
def steady(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stage that nobody has taught takes just as long as is reckoned; the page is looked at at NOW."""
    monkeypatch.setattr(times, "reckoned", lambda half, ninety: [ninety] * times.RECKONED)
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def site(department: Department) -> Department:
    world = department.world
    for state, minutes in MINUTES.items():
        StageAllowance.objects.create(
            site=world.site, state=state, half_minutes=minutes, nine_in_ten_minutes=minutes
        )
    world.a_set("blocks-small", "small-01")
    world.a_set("blocks-large", "large-01")
    return department


def received(department: Department, code: str, at: datetime = NOW) -> InstrumentSet:
    one = department.world.a_set("general", code, state=PackState.USED)
    department.receive(*one.packs.all())
    return one


def page(as_person: Any, who: str = "technician", **query: str) -> str:
    answer = as_person(who).get(reverse("sterile-work"), query)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_a_technician_lands_on_it(world: World, as_person: Any) -> None:
    answer = as_person("technician").get(reverse("landing"))
    assert answer.url == reverse("sterile-work")


def test_the_latest_start_is_counted_back_from_the_case_through_what_remains(
    site: Department, as_person: Any
) -> None:
    received(site, "KG-01")
    site.world.a_case(predictions=SURE, hour=11, reference="LK-1")
    # 165 minutes of stages before eleven.
    (line,) = work_board(site=site.world.site, at=NOW).lines
    assert line.start_by == NOW.replace(hour=8, minute=15)
    assert (line.late, line.wanted.case.reference, line.word) == (0, "LK-1", "covered")
    shown = page(as_person)
    assert "1 pack to do" in shown and "08:15" in shown and "LK-1" in shown and "Wash" in shown


def test_a_delivery_in_time_has_to_be_caught(site: Department) -> None:
    received(site, "KG-01")
    site.world.a_case(predictions=SURE, hour=11)
    for hour in (10, 12):
        Trip.objects.create(site=site.world.site, kind="delivery", weekday=0, leaves=time(hour), minutes=15)
    (line,) = work_board(site=site.world.site, at=NOW).lines
    assert line.start_by == NOW.replace(hour=7, minute=15)


def test_what_should_have_begun_is_late_by_so_many_minutes(site: Department, as_person: Any) -> None:
    received(site, "KG-01")
    site.world.a_case(predictions=SURE, hour=9)
    shown = page(as_person)
    # 165 minutes before nine it was 06:15; now it is seven.
    assert "1 is late: KG-01, 45 minutes." in shown
    assert "45 minutes late" in shown and "Short" in shown
    (line,) = work_board(site=site.world.site, at=NOW).lines
    assert line.chance == 0.0


def test_held_sets_are_wanted_by_whom_they_are_held_for(site: Department) -> None:
    world = site.world
    one, other = received(site, "KG-01"), received(site, "KG-02")
    first = world.a_case(predictions=SURE, hour=12, reference="FIRST")
    second = world.a_case(predictions=SURE, hour=13, reference="SECOND", theatre=world.second_theatre)
    set_hold(by=world.cast.coordinator, instrument_set=other, case=first, at=NOW)
    found = {line.pack.set.code: line.wanted for line in work_board(site=world.site, at=NOW).lines}
    assert found["KG-02"].case.id == first.pk
    assert found["KG-01"].case.id == second.pk
    assert one.pk != other.pk


def test_while_a_ready_one_is_there_nobody_waits_for_one_in_the_round(
    site: Department, as_person: Any
) -> None:
    world = site.world
    world.a_set("general", "READY")
    received(site, "KG-01")
    world.a_case(predictions=SURE, hour=12)
    (line,) = work_board(site=world.site, at=NOW).lines
    assert (line.wanted, line.start_by, line.late) == (None, None, 0)
    assert "no case of these two weeks" in page(as_person)


def test_each_stage_names_its_act_and_where_it_is_done(site: Department) -> None:
    world = site.world
    used = world.a_set("general", "A-USED", state=PackState.USED)
    waits = received(site, "B-RECEIVED")
    clean, packed, loaded, released = (received(site, code) for code in ("C", "D", "E", "F"))
    site.washed(*[pack for one in (clean, packed, loaded, released) for pack in one.packs.all()])
    begun = received(site, "G")
    site.washed(*begun.packs.all())
    made = bench.assembly_begin(by=site.technician, pack=begun.packs.get(), place=site.hall, at=NOW)
    line = made.version.lines.get(number=2)
    bench.lines_check(
        by=site.technician, assembly=made, found=[Found(line, LineState.MISSING, 3)], at=NOW
    )  # fmt: skip
    site.packed(packed.packs.get())
    site.released(site.packed(released.packs.get()))
    load = site.loaded(site.packed(loaded.packs.get()))
    acts = {one.pack.set.code: one.act for one in work_board(site=world.site, at=NOW).lines}
    assert {code: act.label for code, act in acts.items()} == {
        "A-USED": "Receive", "B-RECEIVED": "Wash", "C": "Assemble", "D": "Load", "E": "Release", "F": "Store",
        "G": "Close: 1 line short",
    }  # fmt: skip
    assert acts["E"].url == reverse("run", args=[load.pk])
    assert acts["C"].url == reverse("bench", args=[clean.packs.get().pk])
    assert {used.code, waits.code} <= set(acts)


def test_a_quarantined_pack_waits_for_what_holds_it(site: Department) -> None:
    world = site.world
    one = received(site, "KG-01")
    site.washed(*one.packs.all())
    load = site.loaded(site.packed(one.packs.get()))
    deciding.load_fail(
        by=site.sign_as(site.technician), run=load, reason="Wet", at=NOW + timedelta(minutes=61)
    )
    world.a_case(predictions=SURE, hour=12)
    (line,) = work_board(site=world.site, at=NOW + timedelta(minutes=62)).lines
    assert (line.act.label, line.act.waits, line.start_by) == ("Pack anew, or back to the start", True, None)


def test_machines_stand_on_top_with_what_is_in_them_and_owed_results_nag(
    site: Department, as_person: Any
) -> None:
    one = received(site, "KG-01")
    site.washed(*one.packs.all())
    run = runs.run_open(by=site.technician, machine=site.sterilizer, programme=site.steam, at=NOW)
    runs.run_fill(by=site.technician, run=run, packs=[site.packed(one.packs.get())], at=NOW)
    runs.run_start(by=site.technician, run=run, at=NOW, indicator_lot="B1")
    shown = page(as_person)
    assert "1 can be released when Sterilizer 1 ends at 07:55." in shown
    assert "Sterilizer 1, ends 07:55" in shown and "load 1, Programme 134, 1 pack" in shown
    assert "Results owed" in shown and "Read it" in shown


def test_a_machine_that_owes_its_test_says_so(site: Department, as_person: Any) -> None:
    site.washer.day_tests.all().delete()
    assert "Washer 1 waits for its tests: Soil test." in page(as_person)


def test_without_machines_the_page_says_that_nothing_is_estimated(world: World, as_person: Any) -> None:
    one = world.a_set("general", "KG-01", state=PackState.RECEIVED)
    world.a_case(predictions=SURE, hour=15)
    shown = page(as_person)
    assert "No machine of this site is on file." in shown and "Not known" in shown
    (line,) = work_board(site=world.site, at=NOW).lines
    assert line.start_by == NOW.replace(hour=9) and line.pack.set_id == one.pk


def test_each_site_has_its_own_page_and_others_see_nothing(site: Department, as_person: Any) -> None:
    received(site, "KG-01")
    assert "KG-01" not in page(as_person, "keeper", site="fennside")
    assert "KG-01" in page(as_person, "keeper", site="larkmere")
    assert as_person("far_coordinator").get(reverse("sterile-work"), {"site": "larkmere"}).status_code == 404


def test_the_lines_come_as_a_file(site: Department, as_person: Any) -> None:
    received(site, "KG-01")
    answer = as_person("technician").get(reverse("sterile-work"), {"as": "csv"})
    assert answer["Content-Type"].startswith("text/csv") and b"KG-01" in answer.content


def test_the_number_of_queries_does_not_grow_with_the_work(
    site: Department, django_assert_max_num_queries: Any
) -> None:
    world = site.world

    def spent() -> int:
        with django_assert_max_num_queries(70) as counted:
            work_board(site=world.site, at=NOW)
        return len(counted)

    site.washed(*received(site, "W-00").packs.all())
    site.loaded(site.packed(InstrumentSet.objects.get(code="W-00").packs.get()))
    received(site, "KG-00")
    world.a_case(predictions=SURE, hour=12)
    few = spent()
    for number in range(1, 12):
        received(site, f"KG-{number:02d}")
        world.a_case(predictions=SURE, hour=12, day=NOW.date() + timedelta(days=number % 9))
    assert spent() == few


def test_what_is_stored_is_no_longer_work(site: Department) -> None:
    one = received(site, "KG-01")
    site.washed(*one.packs.all())
    site.released(site.packed(one.packs.get()))
    storing.packs_store(
        by=site.technician, packs=one.packs.all(), place=site.world.sterile_store, at=NOW + timedelta(hours=2)
    )
    assert work_board(site=site.world.site, at=NOW + timedelta(hours=2)).lines == ()


def test_a_set_in_use_is_not_wanted_for_the_case_that_uses_it(site: Department) -> None:
    world = site.world
    one = world.a_set("general", "KG-01")
    case = world.a_case(predictions=SURE, hour=8, reference="NOW")
    after = world.a_case(predictions=SURE, hour=17, reference="AFTER", theatre=world.second_theatre)
    set_hold(by=world.cast.coordinator, instrument_set=one, case=case, at=NOW)
    packs_open_for(by=world.cast.circulating, case=case, packs=one.packs.all(), at=NOW)
    (line,) = work_board(site=world.site, at=NOW).lines
    assert (line.act.label, line.wanted.case.id) == ("Receive", after.pk)
