"""From a set or a recall to all it touched: histories, and the cases that had or counted on a pack."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.urls import reverse

from cases.bookings.models import Case
from cases.picks.leaving import packs_issue_for, packs_open_for, packs_return_from
from cases.picks.models import PickLine, PickList
from cases.reservations.sets import set_hold
from cases.trace.queries import cases_that_counted, cases_that_had, history
from tests.trays.processing.conftest import Department
from tests.world import NOW, World
from trays.instruments.models import InstrumentSet, Pack, PackState
from trays.processing import deciding, recalling, runs, storing
from trays.processing.models_recall import Recall

pytestmark = pytest.mark.django_db
SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}


def page(as_person: Any, who: str, name: str, *args: Any, **query: Any) -> str:
    answer = as_person(who).get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def leave_for(world: World, case: Case, *packs: Pack, hours: int = 3) -> None:
    """A list of these packs alone, picked and issued."""
    listed = PickList.objects.create(
        number=f"PL-{case.pk}", case=case, made_at=NOW, made_by=world.cast.technician, in_room=1, wanted=0.95
    )
    for number, pack in enumerate(packs, start=1):
        PickLine.objects.create(
            pick_list=listed, number=number, group="set", pack=pack, place=pack.place,
            picked_at=NOW, picked_by=world.cast.technician,
        )  # fmt: skip
    packs_issue_for(by=world.cast.technician, pick_list=listed, at=NOW + timedelta(hours=hours))


def sterile(department: Department, code: str) -> InstrumentSet:
    one = department.world.a_set("general", code, state=PackState.USED)
    department.around(*one.packs.all())
    return one


def opened_for(department: Department, case: Case, one: InstrumentSet) -> None:
    leave_for(department.world, case, *one.packs.select_related("place"))
    packs_open_for(
        by=department.world.cast.circulating, case=case, packs=one.packs.all(), at=NOW + timedelta(hours=4)
    )


def recall_of(department: Department, one: InstrumentSet) -> Recall:
    load = runs.Run.objects.filter(packs__pack__set=one, machine=department.sterilizer).latest("pk")
    return recalling.recall_open(
        by=department.world.cast.quality, machine=department.sterilizer, cause="faulty_machine",
        scope="this_load", reason="Air leak", run=load, at=NOW + timedelta(hours=5),
    )  # fmt: skip


def test_a_history_names_every_round_load_and_case(department: Department, as_person: Any) -> None:
    world = department.world
    case = world.a_case(predictions=SURE, reference="LK-77", hour=12)
    one = sterile(department, "KG-01")
    opened_for(department, case, one)
    department.receive(*one.packs.all())
    shown = page(as_person, "quality", "set-history", "KG-01")
    assert "2 rounds, the newest first." in shown and "1 case had it." in shown
    for words in (
        "Washer 1, run 1: passed", "Received to cleaned, Washer 1 run 1",
        "In load to released, Sterilizer 1 run 1",
        "Issued to opened", "LK-77", "Opened to received", "Round 3", "Round 2", "C. Circulating",
    ):  # fmt: skip
        assert words in shown, words
    assert "its history" in page(as_person, "quality", "set", "KG-01").lower()


def test_a_wash_that_failed_is_in_it_though_no_step_came_of_it(
    department: Department, as_person: Any
) -> None:
    one = department.world.a_set("general", "KG-01", state=PackState.USED)
    department.receive(*one.packs.all())
    run = runs.run_open(
        by=department.technician, machine=department.washer, programme=department.wash, at=NOW
    )
    runs.run_fill(by=department.technician, run=run, packs=one.packs.all(), at=NOW)
    runs.run_start(by=department.technician, run=run, at=NOW)
    runs.run_end(by=department.technician, run=run, verdict="failed", at=NOW)
    deciding.wash_decide(by=department.technician, run=run, passed=False, reason="Arm stuck", at=NOW)
    shown = page(as_person, "technician", "set-history", "KG-01")
    assert "Washer 1, run 1: failed" in shown and "Arm stuck" in shown


def test_what_came_back_unopened_was_with_the_case_only_until_then(department: Department) -> None:
    world = department.world
    case, other = (world.a_case(predictions=SURE, reference=name, hour=12) for name in ("A-1", "B-2"))
    one = sterile(department, "KG-01")
    leave_for(world, case, *one.packs.select_related("place"))
    packs_return_from(
        by=world.cast.stores, case=case, packs=one.packs.all(), place=world.sterile_store,
        at=NOW + timedelta(hours=4),
    )  # fmt: skip
    leave_for(world, other, *one.packs.select_related("place"), hours=5)
    found = [(line.after, line.case) for line in history(one) if line.after in ("issued", "stored", "opened")]
    assert set(found) == {("issued", "A-1"), ("stored", "A-1"), ("issued", "B-2")}


def test_a_history_is_one_query_whatever_its_age(department: Department, django_assert_num_queries) -> None:
    one = sterile(department, "KG-01")
    with django_assert_num_queries(1):
        short = len(history(one))
    for _round in range(4):
        department.around(*one.packs.all())
    with django_assert_num_queries(1):
        assert len(history(one)) > 3 * short
    assert {line.round for line in history(one, rounds=2)} == {5, 6}
    assert {line.round for line in history(one, rounds=2, until=4)} == {3, 4}


def test_older_rounds_are_a_link_away(department: Department, as_person: Any, monkeypatch: Any) -> None:
    one = sterile(department, "KG-01")
    for _round in range(12):
        department.around(*one.packs.all())
    shown = page(as_person, "quality", "set-history", "KG-01")
    assert "Round 14" in shown and "Round 3" in shown and "Round 2 and before" in shown
    older = page(as_person, "quality", "set-history", "KG-01", round=2)
    assert "Round 2" in older and "Round 3" not in older and "Newest rounds" in older
    assert "Round 14" in page(as_person, "quality", "set-history", "KG-01", round="nonsense")


def test_a_history_is_read_by_index(department: Department) -> None:
    """No table of steps, runs or cases is read from end to end."""
    if connection.vendor != "sqlite":
        pytest.skip("a small table is read from end to end on PostgreSQL; the benchmark reads large ones")
    from cases.trace import queries

    one = sterile(department, "KG-01")
    steps, loads = queries._steps(one, 12, None), queries._runs(one, 12, None)
    for rows in (steps, loads):
        plan = rows.explain()
        for table in ("trays_move", "trays_runpack", "cases_packfor", "trays_pack "):
            assert f"SCAN {table}" not in plan, plan


def test_a_recall_names_the_cases_that_opened_one_and_those_that_counted_on_one(
    department: Department, as_person: Any
) -> None:
    world = department.world
    used, waits, listed = sterile_together(department, "A-1", "B-2", "C-3")
    past = world.a_case(predictions=SURE, reference="HAD-IT", hour=10)
    counts = world.a_case(predictions=SURE, reference="COUNTS", hour=14)
    on_list = world.a_case(predictions=SURE, reference="LISTED", hour=16, theatre=world.second_theatre)
    opened_for(department, past, used)
    set_hold(by=world.cast.coordinator, instrument_set=waits, case=counts, at=NOW)
    PickLine.objects.create(
        pick_list=PickList.objects.create(
            number="PL-9", case=on_list, made_at=NOW, made_by=world.cast.technician, in_room=1, wanted=0.95
        ),
        number=1, group="set", pack=listed.packs.get(), place=world.sterile_store,
    )  # fmt: skip
    made = recall_of(department, used)
    had = cases_that_had(made)
    assert [(one.case.reference, one.opened, one.set) for one in had] == [("HAD-IT", True, "A-1")]
    assert [(one.case.reference, one.set, one.how) for one in cases_that_counted(made)] == [
        ("COUNTS", "B-2", "held"), ("LISTED", "C-3", "listed"),
    ]  # fmt: skip
    shown = page(as_person, "quality", "recall-cases", made.pk)
    assert "1 case opened a pack of it." in shown and "2 open cases counted on one." in shown
    for words in ("HAD-IT", "COUNTS", "LISTED", "held for it", "on its pick list"):
        assert words in shown, words
    assert reverse("recall-cases", args=[made.pk]) in page(as_person, "quality", "recall", made.pk)


def sterile_together(department: Department, *codes: str) -> list[InstrumentSet]:
    """Sets that were in one load."""
    sets = [department.world.a_set("general", code, state=PackState.USED) for code in codes]
    packs = [pack for one in sets for pack in one.packs.all()]
    department.around(*packs)
    return sets


def test_one_opened_by_another_door_is_found_too(department: Department) -> None:
    """Whoever only took down that the pack was opened, not for which case: it had left for one."""
    world = department.world
    case = world.a_case(predictions=SURE, reference="LK-5", hour=10)
    one = sterile(department, "KG-01")
    leave_for(world, case, *one.packs.select_related("place"))
    storing.packs_open(
        by=world.cast.circulating, packs=one.packs.all(), place=world.theatre, at=NOW + timedelta(hours=4)
    )
    assert [row.opened for row in cases_that_had(recall_of(department, one))] == [True]


def test_a_case_that_had_it_in_another_round_is_not_named(department: Department) -> None:
    world = department.world
    one = sterile(department, "KG-01")
    opened_for(department, world.a_case(predictions=SURE, hour=10), one)
    department.around(*one.packs.all())
    assert cases_that_had(recall_of(department, one)) == []


def test_the_cases_of_a_recall_take_a_fixed_number_of_queries(
    department: Department, django_assert_num_queries
) -> None:
    world = department.world
    few = sterile_together(department, "A-1", "A-2")
    opened_for(department, world.a_case(predictions=SURE, hour=10), few[0])
    set_hold(
        by=world.cast.coordinator, instrument_set=few[1], case=world.a_case(predictions=SURE, hour=14), at=NOW
    )
    one = recall_of(department, few[0])
    with django_assert_num_queries(1):
        assert len(cases_that_had(one)) == 1
    with django_assert_num_queries(3):
        assert len(cases_that_counted(one)) == 1


def test_another_site_sees_neither(department: Department, as_person: Any) -> None:
    one = sterile(department, "KG-01")
    made = recall_of(department, one)
    client = as_person("far_coordinator")
    assert client.get(reverse("set-history", args=["KG-01"])).status_code == 404
    assert client.get(reverse("recall-cases", args=[made.pk])).status_code == 404
    assert client.get(reverse("set-history", args=["nothing"])).status_code == 404


def test_the_page_of_a_set_says_when_it_is_ready_and_why(department: Department, as_person: Any) -> None:
    one = department.world.a_set("general", "KG-01", state=PackState.USED)
    assert "Its history" in page(as_person, "technician", "set", "KG-01")
    department.receive(*one.packs.all())
    shown = page(as_person, "technician", "set", "KG-01")
    assert "At the theatre: ready by" in shown and "90 in 100" in shown
    assert "Received, to be cleaned, since" in shown
    department.world.take_to(one.packs.all(), PackState.QUARANTINED)
    assert "At the theatre" not in page(as_person, "technician", "set", "KG-01")
