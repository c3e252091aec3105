"""Pick lists made at the same moment: for two cases that want the last unit, and twice for one case."""

import threading
from collections.abc import Callable
from typing import Any

import pytest

from cases.bookings.models import Case
from cases.picks import services
from cases.picks.models import PickLine, PickList
from cases.picks.services import pick_list_make
from cases.reservations.models import Hold, SetHold
from tests.world import NOW, World
from trays.ledger.queries import verify

pytestmark = pytest.mark.race

PREDICTED = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}


@pytest.fixture
def meet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both plans are made before either list is written; a plan made anew goes on by itself."""
    both = threading.Barrier(2)
    plan = services.pick_plan

    def plan_and_wait(**given: Any) -> Any:
        made = plan(**given)
        try:
            both.wait(20 if both.n_waiting or not both.broken else 0)
            both.abort()
        except threading.BrokenBarrierError:
            pass
        return made

    monkeypatch.setattr(services, "pick_plan", plan_and_wait)


def make(world: World, case: Case) -> Callable[[], PickList]:
    return lambda: pick_list_make(
        by=world.cast.coordinator, case=Case.objects.select_related("site", "list").get(pk=case.pk), at=NOW
    )


def assert_nothing_is_promised_twice() -> None:
    held = list(Hold.objects.filter(ended_at__isnull=True).values_list("unit_id", flat=True))
    assert len(held) == len(set(held))
    listed = PickLine.objects.filter(unit__isnull=False, pick_list__replaced_at__isnull=True)
    pairs = list(listed.values_list("unit_id", "pick_list__case_id"))
    assert len(pairs) == len({unit_id for unit_id, _case in pairs})
    owned = set(Hold.objects.filter(ended_at__isnull=True).values_list("unit_id", "case_id"))
    assert set(pairs) == owned
    assert verify() == []


def test_the_last_unit_is_on_one_list_and_the_other_is_planned_without_it(
    race_world: World, at_once: Any, meet: None
) -> None:
    race_world.stock_everything(4)
    last = race_world.component("femoral", "2", side="right")
    last.units.exclude(pk=last.units.order_by("pk")[0].pk).delete()
    race_world.sets_of_each(2)
    cases = [race_world.a_case(predictions=PREDICTED, hour=hour) for hour in (9, 11)]
    answers = at_once(*(make(race_world, case) for case in cases))
    assert [type(answer) for answer in answers] == [PickList, PickList], answers
    named = PickLine.objects.filter(component=last, pick_list__replaced_at__isnull=True)
    assert named.count() == 1
    (without,) = PickList.objects.exclude(pk=named.get().pick_list_id)
    assert any("none free on site" in gone["name"] for gone in without.said["absent"])
    # Its figure is that of what it holds, not of the plan that lost.
    assert without.in_room < named.get().pick_list.in_room
    assert_nothing_is_promised_twice()


def test_two_people_making_one_cases_list_leave_one_in_force(
    race_world: World, at_once: Any, meet: None
) -> None:
    race_world.stock_everything(2)
    race_world.sets_of_each()
    case = race_world.a_case(predictions=PREDICTED)
    answers = at_once(make(race_world, case), make(race_world, case))
    assert [type(answer) for answer in answers] == [PickList, PickList], answers
    assert PickList.objects.filter(replaced_at__isnull=True).count() == 1
    assert PickList.objects.count() == len({made.number for made in answers}) == 2
    assert not SetHold.objects.filter(ended_at__isnull=True).exclude(case=case).exists()
    assert_nothing_is_promised_twice()


@pytest.mark.slow
def test_eight_lists_at_once_share_out_what_there_is(race_world: World, at_once: Any) -> None:
    race_world.stock_everything(6)
    race_world.sets_of_each(3)
    cases = [
        race_world.a_case(predictions=PREDICTED, hour=6 + number, theatre=theatre)
        for number in range(4)
        for theatre in (race_world.theatre, race_world.second_theatre)
    ]
    answers = at_once(*(make(race_world, case) for case in cases))
    assert [answer for answer in answers if isinstance(answer, Exception)] == []
    assert PickList.objects.filter(replaced_at__isnull=True).count() == 8
    assert_nothing_is_promised_twice()
