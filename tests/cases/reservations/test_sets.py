"""Holding sets: from the start of the operation until the set is back, and never twice at a time."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from cases.bookings.models import Case
from cases.reservations.models import SetHold
from cases.reservations.queries import free_again, set_holds_of
from cases.reservations.sets import set_hold, set_release
from tests.world import NOW, TODAY, World
from trays.instruments.models import InstrumentSet
from trays.ledger.models import Event
from trays.web.errors import NotAllowed, Refusal

pytestmark = pytest.mark.django_db


@pytest.fixture
def general(world: World) -> InstrumentSet:
    return world.a_set("general", "KG-01")


def test_a_set_is_held_until_it_is_back_from_the_round(world: World, general: InstrumentSet) -> None:
    case = world.a_case(hour=9)
    made = set_hold(by=world.cast.coordinator, instrument_set=general, case=case, at=NOW)
    assert made.starts_at == case.starts_at
    assert made.ends_at == case.starts_at + timedelta(minutes=100 + 360)
    event = Event.objects.get(verb="set.hold")
    assert list(event.lines.values_list("subject", "subject_id", "after")) == [("set", general.pk, "held")]


def test_a_second_case_that_morning_hears_when_the_set_is_free(world: World, general: InstrumentSet) -> None:
    first, second = world.a_case(hour=9), world.a_case(hour=11)
    set_hold(by=world.cast.coordinator, instrument_set=general, case=first, at=NOW)
    with pytest.raises(Refusal) as refused:
        set_hold(by=world.cast.coordinator, instrument_set=general, case=second, at=NOW)
    assert refused.value.code == "set-held-by-another"
    assert "16:40" in refused.value.next_step
    assert not set_holds_of(second).exists()


def test_the_moment_is_told_by_the_sites_clock(world: World, general: InstrumentSet) -> None:
    world.site.zone = "Europe/Warsaw"
    world.site.save()
    first, second = world.a_case(hour=9), world.a_case(hour=11)
    set_hold(by=world.cast.coordinator, instrument_set=general, case=first, at=NOW)
    with pytest.raises(Refusal) as refused:
        second = Case.objects.get(pk=second.pk)
        set_hold(by=world.cast.coordinator, instrument_set=general, case=second, at=NOW)
    assert "17:40" in refused.value.next_step


def test_a_gap_too_short_for_the_case_is_not_called_free(world: World, general: InstrumentSet) -> None:
    early, late = world.a_case(hour=6), world.a_case(hour=16)
    for case in (early, late):
        set_hold(by=world.cast.coordinator, instrument_set=general, case=case, at=NOW)
    length = timedelta(minutes=460)
    assert free_again(general.pk, early.starts_at, length) == late.starts_at + length
    assert free_again(general.pk, early.starts_at, timedelta(minutes=60)) == early.starts_at + length


def test_a_set_is_free_for_the_next_case_once_it_is_back(world: World, general: InstrumentSet) -> None:
    first, next_day = world.a_case(hour=9), world.a_case(day=TODAY + timedelta(days=1))
    for case in (first, next_day):
        set_hold(by=world.cast.coordinator, instrument_set=general, case=case, at=NOW)
    assert SetHold.objects.filter(ended_at__isnull=True).count() == 2


def test_a_hold_that_ends_when_the_next_begins_does_not_overlap(world: World, general: InstrumentSet) -> None:
    first, second = world.a_case(hour=8), world.a_case(hour=16)
    Case.objects.filter(pk=first.pk).update(minutes=120)
    first.refresh_from_db()
    for case in (first, second):
        set_hold(by=world.cast.coordinator, instrument_set=general, case=case, at=NOW)
    assert SetHold.objects.count() == 2


def test_a_longer_case_gets_a_longer_hold(world: World, general: InstrumentSet) -> None:
    case = world.a_case()
    set_hold(by=world.cast.coordinator, instrument_set=general, case=case, at=NOW)
    Case.objects.filter(pk=case.pk).update(minutes=180)
    case.refresh_from_db()
    made = set_hold(by=world.cast.coordinator, instrument_set=general, case=case, at=NOW)
    assert set_holds_of(case).get() == made
    assert made.ends_at == case.starts_at + timedelta(minutes=180 + 360)


def test_a_set_held_for_a_list_spans_its_cases_and_serves_them(world: World, general: InstrumentSet) -> None:
    first, last = world.a_case(hour=9), world.a_case(hour=13)
    made = set_hold(by=world.cast.coordinator, instrument_set=general, theatre_list=first.list, at=NOW)
    assert (made.starts_at, made.ends_at) == (first.starts_at, last.starts_at + timedelta(minutes=460))
    assert set_hold(by=world.cast.coordinator, instrument_set=general, case=last, at=NOW) == made


def test_an_empty_list_has_no_time_to_hold_a_set_for(world: World, general: InstrumentSet) -> None:
    with pytest.raises(Refusal) as refused:
        set_hold(by=world.cast.coordinator, instrument_set=general, theatre_list=world.a_list(), at=NOW)
    assert refused.value.code == "list-empty"


def test_a_released_set_is_free_at_once(world: World, general: InstrumentSet) -> None:
    first, second = world.a_case(hour=9), world.a_case(hour=11)
    set_hold(by=world.cast.coordinator, instrument_set=general, case=first, at=NOW)
    assert set_release(by=world.cast.stores, instrument_set=general, case=first, at=NOW) == 1
    set_hold(by=world.cast.coordinator, instrument_set=general, case=second, at=NOW)
    with pytest.raises(Refusal) as refused:
        set_release(by=world.cast.stores, instrument_set=general, case=first, at=NOW)
    assert refused.value.code == "not-held"


def test_the_same_key_twice_holds_the_set_once(world: World, general: InstrumentSet) -> None:
    case, key = world.a_case(), uuid4()
    made = {
        set_hold(by=world.cast.coordinator, instrument_set=general, case=case, at=NOW, client_key=key).pk
        for _press in range(2)
    }
    assert len(made) == SetHold.objects.count() == Event.objects.count() == 1


def test_a_set_at_the_other_site_cannot_be_promised(world: World, general: InstrumentSet) -> None:
    InstrumentSet.objects.update(site=world.far_site)
    with pytest.raises(Refusal) as refused:
        set_hold(by=world.cast.coordinator, instrument_set=general, case=world.a_case(), at=NOW)
    assert refused.value.code == "elsewhere"


@pytest.mark.parametrize("who", ["scrub", "technician", "supplier", "stranger", "far_coordinator"])
def test_whose_act_it_is_not_may_not_hold_a_set(world: World, general: InstrumentSet, who: str) -> None:
    with pytest.raises(NotAllowed):
        person = getattr(world.cast, who)
        set_hold(by=person, instrument_set=general, case=world.a_case(), at=NOW)
    assert not SetHold.objects.exists()


def raw_hold(world: World, one: InstrumentSet, start_hour: int, hours: int, **more: object) -> SetHold:
    starts = NOW + timedelta(hours=start_hour)
    return SetHold.objects.create(
        set=one,
        case=world.a_case(),
        starts_at=starts,
        ends_at=starts + timedelta(hours=hours),
        placed_at=NOW,
        placed_by=world.cast.coordinator,
        **more,
    )


@pytest.mark.parametrize(
    ("start", "hours", "clash"),
    [(0, 2, False), (0, 3, True), (3, 1, True), (1, 9, True), (5, 2, True), (6, 1, False)],
)
def test_the_database_itself_refuses_an_overlap(
    world: World, general: InstrumentSet, start: int, hours: int, clash: bool
) -> None:
    raw_hold(world, general, 2, 4)
    if not clash:
        raw_hold(world, general, start, hours)
        return
    with pytest.raises(IntegrityError, match="set_hold_overlap"), transaction.atomic():
        raw_hold(world, general, start, hours)


def test_neither_a_change_nor_a_reopening_can_make_an_overlap(world: World, general: InstrumentSet) -> None:
    raw_hold(world, general, 2, 4)
    other = raw_hold(world, general, 6, 2)
    with pytest.raises(IntegrityError, match="set_hold_overlap"), transaction.atomic():
        SetHold.objects.filter(pk=other.pk).update(starts_at=NOW + timedelta(hours=5))
    ended = raw_hold(world, general, 2, 4, ended_at=NOW, ended_reason="released")
    with pytest.raises(IntegrityError, match="set_hold_overlap"), transaction.atomic():
        SetHold.objects.filter(pk=ended.pk).update(ended_at=None, ended_reason="")


def test_two_sets_of_one_kind_may_be_held_at_one_time(world: World, general: InstrumentSet) -> None:
    raw_hold(world, general, 2, 4)
    raw_hold(world, world.a_set("general", "KG-02"), 2, 4)
    assert SetHold.objects.count() == 2
