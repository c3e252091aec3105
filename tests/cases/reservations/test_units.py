"""Holding units: for one case or one list, once, in date on the day; what is refused, what is recorded."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from cases.bookings.models import Case
from cases.reservations import locking
from cases.reservations.hold import unit_swap, units_hold, units_release
from cases.reservations.models import Hold
from cases.reservations.queries import holds_of, operation_day
from cases.reservations.release import release_all
from cases.reservations.sets import set_hold
from tests.world import NOW, TODAY, World
from trays.ledger.models import Event
from trays.stock.models import Unit
from trays.web.errors import NotAllowed, Refusal

pytestmark = pytest.mark.django_db


@pytest.fixture
def femoral(world: World) -> Any:
    return world.component("femoral", "2", side="right")


def test_a_held_unit_is_kept_for_the_case_and_the_record_says_so(world: World, femoral: Any) -> None:
    case, units = world.a_case(), world.unit(femoral, 2)
    holds = units_hold(by=world.cast.coordinator, case=case, units=units, at=NOW)
    assert [hold.unit_id for hold in holds] == [unit.pk for unit in units]
    event = Event.objects.get(verb="unit.hold")
    lines = list(event.lines.values_list("subject", "subject_id", "before", "after", "quantity"))
    assert lines == [("unit", unit.pk, "free", "held", 0) for unit in units]
    assert (event.chain.code, event.actor) == ("larkmere", world.cast.coordinator)


def test_a_unit_is_held_for_a_list(world: World, femoral: Any) -> None:
    case, units = world.a_case(), world.unit(femoral, 1)
    units_hold(by=world.cast.coordinator, theatre_list=case.list, units=units, at=NOW)
    hold = Hold.objects.get()
    assert (hold.list, hold.case) == (case.list, None)


def test_a_unit_held_for_one_case_is_refused_to_another_by_name(world: World, femoral: Any) -> None:
    first, second = world.a_case(reference="R-ONE"), world.a_case()
    units = world.unit(femoral, 1)
    units_hold(by=world.cast.coordinator, case=first, units=units, at=NOW)
    with pytest.raises(Refusal) as refused:
        units_hold(by=world.cast.coordinator, case=second, units=units, at=NOW)
    assert refused.value.code == "held-by-another"
    assert "R-ONE" in refused.value.sentence
    assert not holds_of(second).exists()


def test_of_several_units_all_are_held_or_none(world: World, femoral: Any) -> None:
    first, second = world.a_case(), world.a_case()
    units = world.unit(femoral, 3)
    units_hold(by=world.cast.coordinator, case=first, units=units[1:2], at=NOW)
    with pytest.raises(Refusal):
        units_hold(by=world.cast.coordinator, case=second, units=units, at=NOW)
    assert not holds_of(second).exists()
    assert Event.objects.count() == 1


def test_holding_again_for_the_same_case_changes_nothing(world: World, femoral: Any) -> None:
    case, units = world.a_case(), world.unit(femoral, 1)
    for _again in range(2):
        holds = units_hold(by=world.cast.coordinator, case=case, units=units, at=NOW)
    assert len(holds) == Hold.objects.count() == 1
    assert Event.objects.count() == 1


def test_a_unit_kept_for_the_list_serves_its_cases(world: World, femoral: Any) -> None:
    case, units = world.a_case(), world.unit(femoral, 1)
    units_hold(by=world.cast.coordinator, theatre_list=case.list, units=units, at=NOW)
    assert units_hold(by=world.cast.coordinator, case=case, units=units, at=NOW) == ()
    assert Hold.objects.get().list == case.list


def test_the_same_key_twice_holds_once(world: World, femoral: Any) -> None:
    case, units, key = world.a_case(), world.unit(femoral, 2), uuid4()
    for _press in range(2):
        holds = units_hold(by=world.cast.coordinator, case=case, units=units, at=NOW, client_key=key)
        assert len(holds) == 2
    assert Event.objects.filter(client_key=key).count() == 1


@pytest.mark.parametrize("state", [Unit.State.QUARANTINE, Unit.State.OPENED, Unit.State.IMPLANTED])
def test_what_is_not_on_the_shelf_cannot_be_promised(world: World, femoral: Any, state: str) -> None:
    units = world.unit(femoral, 1, state=state)
    with pytest.raises(Refusal) as refused:
        units_hold(by=world.cast.coordinator, case=world.a_case(), units=units, at=NOW)
    assert refused.value.code == "not-on-hand"


def test_a_unit_at_the_other_site_cannot_be_promised(world: World, femoral: Any) -> None:
    units = world.unit(femoral, 1)
    Unit.objects.update(site=world.far_site)
    with pytest.raises(Refusal) as refused:
        units_hold(by=world.cast.coordinator, case=world.a_case(), units=units, at=NOW)
    assert refused.value.code == "elsewhere"


def test_a_unit_is_usable_on_its_last_day_and_not_after(world: World, femoral: Any) -> None:
    day = TODAY + timedelta(days=3)
    case = world.a_case(day=day)
    units_hold(by=world.cast.coordinator, case=case, units=world.unit(femoral, 1, expires=day), at=NOW)
    late = world.unit(femoral, 1, expires=day - timedelta(days=1))
    with pytest.raises(Refusal) as refused:
        units_hold(by=world.cast.coordinator, case=case, units=late, at=NOW)
    assert refused.value.code == "out-of-date"


def test_the_day_of_the_operation_is_the_sites_not_utcs(world: World, femoral: Any) -> None:
    world.site.zone = "Pacific/Auckland"
    world.site.save()
    case = world.a_case(day=TODAY, hour=20)
    case.refresh_from_db()
    assert operation_day(Case.objects.get(pk=case.pk)) == TODAY + timedelta(days=1)
    with pytest.raises(Refusal) as refused:
        units_hold(by=world.cast.coordinator, case=case, units=world.unit(femoral, 1, expires=TODAY), at=NOW)
    assert refused.value.code == "out-of-date"


def test_nothing_is_held_for_a_cancelled_case(world: World, femoral: Any) -> None:
    case = world.a_case()
    Case.objects.update(status=Case.Status.CANCELLED, cancel_reason="patient unwell")
    with pytest.raises(Refusal) as refused:
        units_hold(by=world.cast.coordinator, case=case, units=world.unit(femoral, 1), at=NOW)
    assert refused.value.code == "case-not-open"


@pytest.mark.parametrize("who", ["scrub", "technician", "quality", "supplier", "stranger", "far_coordinator"])
def test_whose_act_it_is_not_may_not_hold(world: World, femoral: Any, who: str) -> None:
    person = getattr(world.cast, who)
    with pytest.raises(NotAllowed):
        units_hold(by=person, case=world.a_case(), units=world.unit(femoral, 1), at=NOW)
    assert not Hold.objects.exists()


def test_a_released_unit_can_be_held_by_another(world: World, femoral: Any) -> None:
    first, second, units = world.a_case(), world.a_case(), world.unit(femoral, 1)
    units_hold(by=world.cast.coordinator, case=first, units=units, at=NOW)
    assert units_release(by=world.cast.stores, units=units, at=NOW + timedelta(hours=1)) == 1
    units_hold(by=world.cast.coordinator, case=second, units=units, at=NOW + timedelta(hours=2))
    ended = Hold.objects.get(case=first)
    assert (ended.ended_reason, ended.ended_at) == ("released", NOW + timedelta(hours=1))
    assert Event.objects.get(verb="unit.release").lines.get().after == "free"


def test_what_is_held_for_nobody_cannot_be_released(world: World, femoral: Any) -> None:
    with pytest.raises(Refusal) as refused:
        units_release(by=world.cast.stores, units=world.unit(femoral, 1), at=NOW)
    assert refused.value.code == "not-held"
    assert not Event.objects.exists()


def test_another_unit_of_the_lot_takes_over_the_hold(world: World, femoral: Any) -> None:
    case, (one, other) = world.a_case(), world.unit(femoral, 2, lot="L1")
    units_hold(by=world.cast.coordinator, case=case, units=[one], at=NOW)
    made = unit_swap(by=world.cast.stores, unit=one, other=other, at=NOW)
    assert (made.unit, made.case) == (other, case)
    assert Hold.objects.get(unit=one).ended_reason == "swapped"
    lines = Event.objects.get(verb="unit.swap").lines.values_list("subject_id", "before", "after")
    assert set(lines) == {(one.pk, "held", "free"), (other.pk, "free", "held")}


def test_a_unit_of_another_lot_or_one_with_a_serial_does_not_take_over(world: World, femoral: Any) -> None:
    case, (one,), (other,) = world.a_case(), world.unit(femoral, 1), world.unit(femoral, 1)
    units_hold(by=world.cast.coordinator, case=case, units=[one], at=NOW)
    with pytest.raises(Refusal) as refused:
        unit_swap(by=world.cast.stores, unit=one, other=other, at=NOW)
    assert refused.value.code == "another-lot"
    Unit.objects.filter(pk=other.pk).update(lot=one.lot, serial="S1")
    with pytest.raises(Refusal):
        unit_swap(by=world.cast.stores, unit=one, other=other, at=NOW)
    assert Hold.objects.get(ended_at__isnull=True).unit == one


def test_the_database_itself_refuses_a_second_open_hold(world: World, femoral: Any) -> None:
    (unit,) = world.unit(femoral, 1)
    facts = {"unit": unit, "placed_at": NOW, "placed_by": world.cast.coordinator}
    Hold.objects.create(case=world.a_case(), **facts)
    with pytest.raises(IntegrityError), transaction.atomic():
        Hold.objects.create(case=world.a_case(), **facts)
    with pytest.raises(IntegrityError), transaction.atomic():
        Hold.objects.create(**facts)


def test_withdrawing_a_case_gives_up_its_units_and_sets_but_not_its_lists(world: World, femoral: Any) -> None:
    world.sets_of_each()
    case, (own, listed) = world.a_case(), world.unit(femoral, 2)
    by = world.cast.coordinator
    units_hold(by=by, case=case, units=[own], at=NOW)
    units_hold(by=by, theatre_list=case.list, units=[listed], at=NOW)
    one_set = world.designs["general"].versions.get().sets.get()
    set_hold(by=by, case=case, instrument_set=one_set, at=NOW)
    with transaction.atomic():
        lines = release_all(case=case, at=datetime(2026, 12, 7, 8, tzinfo=UTC))
    assert {(line.subject, line.subject_id, line.after) for line in lines} == {
        ("unit", own.pk, "free"),
        ("set", one_set.pk, "free"),
    }
    assert Hold.objects.get(ended_at__isnull=True).unit == listed
    assert not case.set_holds.filter(ended_at__isnull=True).exists()


def test_what_is_no_longer_there_cannot_be_locked(world: World) -> None:
    with pytest.raises(Refusal) as refused, transaction.atomic():
        locking.lock(units=[999_999])
    assert refused.value.code == "gone-meanwhile"
