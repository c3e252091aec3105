"""When sets of the round are there: learnt from the department's record, by its hours, trips and machines."""

from datetime import datetime, time, timedelta

import pytest
from django.db import transaction

from cases.readiness.assess import horizon
from cases.readiness.facts import comes_back
from cases.readiness.shelf import minute, moment
from cases.readiness.snapshot import take
from cases.readiness.way_read import way_at
from cases.readiness.way_words import because_words, ready_words
from tests.trays.processing.conftest import Department
from tests.world import NOW, World
from trays.instruments.models import InstrumentSet, Pack, PackState
from trays.ledger.append import record
from trays.places.models import Place
from trays.processing import deciding, machines, recalling, runs, times
from trays.processing.models import Move
from trays.processing.models_machines import Machine
from trays.processing.models_policy import StageAllowance, Trip, WorkingHours

SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}
# Wide enough for a whole round at quick stages, and too narrow at slow ones.
QUICK = {"received": (60, 60), "cleaned": (20, 20), "assembled": (5, 5), "packed": (10, 10),
         "in_load": (65, 65), "released": (5, 5)}  # fmt: skip
QUICK_ROUND = sum(half for half, _ninety in QUICK.values())


@pytest.fixture(autouse=True)
def steady(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stage that nobody has taught takes just as long as is reckoned, so that a test can say when."""
    monkeypatch.setattr(times, "reckoned", lambda half, ninety: [ninety] * times.RECKONED)


def the_rest(world: World, count: int = 2) -> None:
    """Everything else that a case may want."""
    world.stock_everything(count)
    world.a_set("blocks-small", "small-01")
    world.a_set("blocks-large", "large-01")


def reckon(world: World, **more: tuple[int, int]) -> None:
    for state, (half, ninety) in {**QUICK, "used": (10, 10), **more}.items():
        StageAllowance.objects.update_or_create(
            site=world.site, state=state,
            defaults={"half_minutes": half, "nine_in_ten_minutes": ninety},
        )  # fmt: skip


def received(department: Department, code: str = "general-01") -> InstrumentSet:
    one = department.world.a_set("general", code, state=PackState.USED)
    department.receive(*one.packs.all())
    return one


def ready_at(world: World, one: InstrumentSet, at: datetime = NOW) -> datetime | None:
    found = way_at(site=world.site, at=at)
    assert found is not None
    estimate = found.estimate([(pack.pk, pack.state) for pack in one.packs.all()])
    assert estimate is not None
    return moment(estimate.at) if estimate.at is not None else None


def slow_rounds(world: World, count: int = 30, minutes: int = 600) -> None:
    """So many packs that each lay so long before they were assembled, as an act on record."""
    by = world.cast.technician
    for number in range(count):
        pack = world.a_set("blocks-large", f"SLOW-{number:02d}", state=PackState.CLEANED).packs.get()
        at = NOW - timedelta(hours=1)
        Move.objects.create(
            pack=pack, sequence=1, round=1, before="cleaned", after="assembled", by=by,
            since=at - timedelta(minutes=minutes), at=at, recorded_at=at, site=world.site, place=pack.place,
        )  # fmt: skip
        Pack.objects.filter(pk=pack.pk).update(state="assembled")


def test_without_machines_on_file_the_sites_own_figure_stands(world: World) -> None:
    one = world.a_set("general", "G-01", state=PackState.RECEIVED)
    world.a_case(predictions=SURE)
    snapshot = take(site=world.site, at=NOW)
    assert snapshot.way is None
    assert snapshot.due(next(row for row in snapshot.sets if row.pk == one.pk)) == minute(NOW) + 360
    assert snapshot.back(minute(NOW)) == minute(NOW) + 360


def test_from_where_it_stands_only_what_is_left_counts(department: Department) -> None:
    world = department.world
    reckon(world)
    one = received(department)
    after = NOW + timedelta(minutes=QUICK_ROUND)
    assert ready_at(world, one) == after
    # Five minutes on, fifty-five of the sixty are left; then it is too late to be washed by then.
    assert ready_at(world, one, NOW + timedelta(minutes=5)) == after
    assert ready_at(world, one, NOW + timedelta(minutes=20)) == after + timedelta(minutes=10)
    department.washed(*one.packs.all())
    moved = NOW + timedelta(minutes=50)
    assert ready_at(world, one, moved) == moved + timedelta(minutes=QUICK_ROUND - 60)


def test_one_that_has_waited_longer_than_any_is_taken_to_begin_anew(department: Department) -> None:
    reckon(department.world)
    one = received(department)
    late = NOW + timedelta(minutes=300)
    assert ready_at(department.world, one, late) == late + timedelta(minutes=QUICK_ROUND)


def test_nights_and_runs_of_the_timetable_are_waited_for(department: Department) -> None:
    world = department.world
    reckon(world)
    for weekday in range(5):
        WorkingHours.objects.create(site=world.site, weekday=weekday, opens=time(7), closes=time(9, 30))
        Trip.objects.create(site=world.site, kind="delivery", weekday=weekday, leaves=time(9), minutes=20)
    one = received(department)
    # 150 of its 165 minutes today, the rest tomorrow from seven; then the run at nine.
    assert ready_at(world, one) == datetime(2026, 12, 8, 9, 20, tzinfo=NOW.tzinfo)
    found = way_at(site=world.site, at=NOW)
    assert found is not None
    friday = minute(datetime(2026, 12, 11, 8, 0, tzinfo=NOW.tzinfo))
    assert moment(found.back(friday)) == datetime(2026, 12, 14, 9, 20, tzinfo=NOW.tzinfo)


def test_a_collection_is_awaited_and_what_follows_counts_from_its_arrival(department: Department) -> None:
    world = department.world
    reckon(world)
    for weekday in range(5):
        Trip.objects.create(site=world.site, kind="collection", weekday=weekday, leaves=time(11), minutes=15)
    one = world.a_set("general", "G-01", state=PackState.USED)
    eleven = NOW.replace(hour=11, minute=15)
    assert ready_at(world, one) == eleven + timedelta(minutes=QUICK_ROUND + 10)


def test_a_machine_that_runs_is_awaited_and_one_place_behind_a_full_load_longer(
    department: Department,
) -> None:
    world = department.world
    reckon(world)
    sets = [world.a_set("general", f"G-{n:02d}", state=PackState.USED) for n in range(5)]
    packs = [pack for one in sets for pack in one.packs.all()]
    department.receive(*packs)
    # Four go into the washer at once (its fifty minutes are less than the sixty that is reckoned).
    first = ready_at(world, sets[0])
    # The fifth is washed second: fifty minutes and fifty more.
    assert ready_at(world, sets[4]) == NOW + timedelta(minutes=QUICK_ROUND - 60 + 100)
    assert first == NOW + timedelta(minutes=QUICK_ROUND)
    found = way_at(site=world.site, at=NOW)
    assert found is not None
    estimate = found.estimate([(packs[4].pk, PackState.RECEIVED)])
    assert estimate is not None and "it can be washed by 08:40" in because_words(estimate)


def test_with_no_sterilizer_in_use_nobody_can_say_when(department: Department) -> None:
    world = department.world
    one = received(department)
    machines.machine_stop(by=world.cast.technician, machine=department.sterilizer, reason="Door seal", at=NOW)
    found = way_at(site=world.site, at=NOW)
    assert found is not None
    estimate = found.estimate([(pack.pk, pack.state) for pack in one.packs.all()])
    assert estimate is not None
    assert (estimate.at, ready_words(estimate)) == (None, "nobody can say when it is ready")


def test_the_last_of_two_packs_decides_and_the_reason_is_its(department: Department) -> None:
    world = department.world
    reckon(world)
    one = world.a_set("general", "G-01", state=PackState.USED, trays=2)
    first, second = one.packs.all()
    department.receive(first, second)
    department.washed(first)
    later = NOW + timedelta(minutes=55)
    found = way_at(site=world.site, at=later)
    assert found is not None
    whole = found.estimate([(pack.pk, pack.state) for pack in one.packs.all()])
    alone = found.estimate([(second.pk, PackState.RECEIVED)])
    assert whole is not None and alone is not None
    assert whole.pack_id == second.pk and whole.at == alone.at
    assert "received, to be cleaned, since" in because_words(whole)
    assert "no step here has taught it yet" not in because_words(whole)


def test_all_of_it_takes_a_fixed_number_of_queries(department: Department, django_assert_num_queries) -> None:
    # One query less while no machine has anything in it.
    department.washed(*received(department).packs.all())
    with django_assert_num_queries(16):
        way_at(site=department.world.site, at=NOW)
    for number in range(6):
        received(department, f"more-{number}")
    run = runs.run_open(
        by=department.technician, machine=department.washer, programme=department.wash, at=NOW
    )
    packs = Pack.objects.filter(set__code__startswith="more-")[:4]
    runs.run_fill(by=department.technician, run=run, packs=packs, at=NOW)
    with django_assert_num_queries(17):
        way_at(site=department.world.site, at=NOW)


def test_thirty_slow_rounds_move_ready_by_and_the_verdict_of_a_case(department: Department) -> None:
    """Nobody touches the case: what the department's own record says has changed."""
    world = department.world
    reckon(world, cleaned=(20, 20))
    the_rest(world)
    one = received(department)
    case = world.a_case(predictions=SURE, hour=11)
    before = horizon(site=world.site, at=NOW).verdicts[case.pk]
    ready = ready_at(world, one)
    assert before.on_site.word == "covered"
    slow_rounds(world)
    slower = ready_at(world, one)
    assert ready is not None and slower is not None and slower - ready > timedelta(hours=4)
    # The verdicts are worked out anew when anything is on record.
    an_act(world)
    after = horizon(site=world.site, at=NOW).verdicts[case.pk]
    assert after.on_site.word == "short"
    assert any("general-01 is late" in reason for reason in after.reasons), after.reasons
    assert any("ready by" in reason for reason in after.reasons)


def an_act(world: World) -> None:
    """Something on record: verdicts are worked out anew whenever anything is."""
    with transaction.atomic():
        record(chain=world.site.code, verb="test", by=world.cast.technician, at=NOW)


def test_a_set_that_cannot_be_there_any_more_is_said_so(department: Department) -> None:
    world = department.world
    reckon(world)
    the_rest(world)
    received(department)
    case = world.a_case(predictions=SURE, hour=8)
    verdict = horizon(site=world.site, at=NOW).verdicts[case.pk]
    assert verdict.on_site.word == "short"
    assert any("general-01 can no longer be ready in time" in reason for reason in verdict.reasons)


@pytest.mark.parametrize("how", ["failed", "recalled"])
def test_a_failed_load_and_a_recall_change_a_cases_verdict_by_themselves(
    department: Department, how: str
) -> None:
    """The case's own page is not touched: the act on the load is all that happens."""
    world = department.world
    reckon(world)
    the_rest(world)
    case = world.a_case(predictions=SURE, hour=16).pk
    one = received(department)
    department.washed(*one.packs.all())
    load = department.loaded(*[department.packed(pack) for pack in one.packs.all()])
    at = NOW + timedelta(minutes=65)
    if how == "recalled":
        deciding.load_release(by=department.sign_as(department.colleague), run=load, at=at)
    before = horizon(site=world.site, at=at).verdicts[case]
    assert before.on_site.word == "covered"
    if how == "failed":
        deciding.load_fail(by=department.sign_as(department.technician), run=load, reason="Wet packs", at=at)
    else:
        recalling.recall_open(
            by=world.cast.quality, machine=department.sterilizer, cause="faulty_machine", scope="this_load",
            reason="Air leak", run=load, at=at,
        )  # fmt: skip
    after = horizon(site=world.site, at=at).verdicts[case]
    assert after.on_site.word == "short"
    assert "held back or away" in " ".join(after.reasons)


def test_machines_of_another_site_say_nothing(department: Department) -> None:
    assert way_at(site=department.world.far_site, at=NOW) is None
    hall = Place.objects.create(
        site=department.world.far_site, code="F", name="Hall", kind="sterile_services"
    )
    Machine.objects.create(
        site=department.world.far_site, code="W", name="Washer", kind="washer", place=hall, packs=1
    )
    assert way_at(site=department.world.far_site, at=NOW) is not None


def test_a_set_that_comes_back_in_time_counts_for_a_later_case_of_the_day(department: Department) -> None:
    world = department.world
    reckon(world)
    the_rest(world, 4)
    world.a_set("general", "G-01")
    early = world.a_case(predictions=SURE, hour=8)
    late = world.a_case(predictions=SURE, hour=14, theatre=world.second_theatre)
    found = horizon(site=world.site, at=NOW).verdicts
    assert (found[early.pk].on_site.word, found[late.pk].on_site.word) == ("covered", "covered")
    reckon(world, cleaned=(300, 300))
    an_act(world)
    assert horizon(site=world.site, at=NOW).verdicts[late.pk].on_site.word == "short"
    assert comes_back(take(site=world.site, at=NOW).sets[0]) is False
