"""One adapter, a fixed number of queries, and what it reads of sets and predictions."""

from datetime import timedelta

from cases.bookings.models import Case, CaseSlot, Prediction
from cases.readiness.facts import comes_back, lacks_critical
from cases.readiness.snapshot import take
from tests.world import NOW, TODAY
from trays.instruments.models import Pack
from trays.places.models import Place

SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}


def test_the_number_of_queries_does_not_grow_with_the_horizon(world, django_assert_num_queries):
    world.stock_everything(2)
    world.sets_of_each(2)
    for n in range(5):
        world.a_case(predictions=SURE, day=TODAY + timedelta(days=n))
    with django_assert_num_queries(29):
        assert len(take(site=world.site, at=NOW).cases) == 5
    for n in range(45):
        world.a_case(predictions=SURE, sides=("left", "right"), day=TODAY + timedelta(days=n % 25))
    world.stock_everything(5)
    world.a_set("general", "more-01")
    with django_assert_num_queries(29):
        assert len(take(site=world.site, at=NOW).cases) == 50


def test_one_case_is_read_with_the_same_queries(world, django_assert_num_queries):
    world.stock_everything(2)
    world.sets_of_each(1)
    case = world.a_case(predictions=SURE, day=TODAY - timedelta(days=3))
    with django_assert_num_queries(29):
        assert [one.id for one in take(site=world.site, at=NOW, case=case).cases] == [case.pk]


def test_only_booked_cases_of_the_site_from_its_today_on(world):
    kept = world.a_case(predictions=SURE)
    world.a_case(predictions=SURE, day=TODAY - timedelta(days=1))
    world.a_case(predictions=SURE, day=TODAY + timedelta(days=28))
    gone = world.a_case(predictions=SURE)
    Case.objects.filter(pk=gone.pk).update(status="cancelled", cancel_reason="booked_in_error")
    assert [one.id for one in take(site=world.site, at=NOW).cases] == [kept.pk]


def test_the_newest_prediction_counts_and_the_others_are_counted(world):
    case = world.a_case(predictions=SURE)
    slot = CaseSlot.objects.get(construct__case=case, plan_slot__code="femoral")
    Prediction.objects.create(
        slot=slot, method=Prediction.Method.CT, made_at=NOW, low_rank=2, high_rank=3, confidence=0.9
    )
    found = take(site=world.site, at=NOW).cases[0].constructs[0].slots[0]
    assert (found.prediction.low, found.prediction.high, found.prediction.confidence) == (2, 3, 0.9)
    assert found.predictions == 2


def test_a_set_is_ready_only_when_all_its_packs_are(world):
    world.a_case(predictions=SURE)
    one = world.a_set("general", "G-01", trays=2)

    def state():
        return next(row for row in take(site=world.site, at=NOW).sets if row.pk == one.pk)

    assert state().ready_on(TODAY) and not comes_back(state())
    world.take_to(one.packs.filter(tray=2), Pack.State.RECEIVED)
    assert comes_back(state()) and not state().ready_on(TODAY)
    world.take_to(one.packs.filter(tray=2), Pack.State.QUARANTINED)
    assert not comes_back(state()) and not state().ready_on(TODAY)
    world.take_to(one.packs.filter(tray=2), Pack.State.RELEASED, sterile_until=TODAY)
    assert state().ready_on(TODAY)
    assert not state().ready_on(TODAY + timedelta(days=1))


def test_a_line_nobody_has_recorded_counts_as_not_there(world):
    world.a_case(predictions=SURE)
    one = world.a_set("general", "G-01")
    one.packs.get().lines.filter(line__critical=True).delete()
    assert lacks_critical(next(row for row in take(site=world.site, at=NOW).sets))


def test_a_tray_without_its_pack_or_a_pack_at_another_site_makes_a_set_not_ready(world):
    world.a_case(predictions=SURE)
    one = world.a_set("general", "G-01")
    version = one.version

    def state():
        found = next(row for row in take(site=world.site, at=NOW).sets if row.pk == one.pk)
        return found.ready_on(TODAY), comes_back(found)

    assert state() == (True, False)
    elsewhere = Place.objects.create(
        site=world.far_site, code="F1", name="Fennside store", kind="sterile_store"
    )
    one.packs.update(place=elsewhere)
    assert state() == (False, False)
    world.take_to(one.packs.all(), Pack.State.RECEIVED)
    assert state() == (False, False)
    one.packs.update(place=world.sterile_store)
    assert state() == (False, True)
    line = version.lines.first()
    line.pk, line.tray = None, 2
    line.save()
    assert state() == (False, False)
