"""Two cases of one morning want the same set: one holds it, the other hears when it is free again."""

import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, OperationalError, connection

from cases.reservations import queries
from cases.reservations.guards import SET_HOLD_OVERLAP
from cases.reservations.models import SetHold
from cases.reservations.sets import place_set_hold, set_hold
from tests.world import NOW, World
from trays.ledger.guards import install, remove
from trays.ledger.queries import verify
from trays.web.errors import Refusal

pytestmark = pytest.mark.race


@pytest.fixture
def meet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both look at the set's diary before either writes."""
    both = threading.Barrier(2)
    look = queries.set_holds_within

    def look_and_wait(*given: Any) -> Any:
        seen = look(*given)
        try:
            both.wait(1.5)
        except threading.BrokenBarrierError:
            pass
        return seen

    monkeypatch.setattr(queries, "set_holds_within", look_and_wait)


def assert_one_won(answers: list[Any]) -> None:
    (lost,) = (answer for answer in answers if isinstance(answer, Exception))
    assert isinstance(lost, Refusal), repr(lost)
    assert lost.code == "set-held-by-another"
    assert SetHold.objects.filter(ended_at__isnull=True).count() == 1


def test_one_wins_and_the_other_hears_when(race_world: World, at_once: Any, meet: None) -> None:
    one = race_world.a_set("general", "KG-01")
    cases = [race_world.a_case(hour=9), race_world.a_case(hour=10)]

    def hold(case: Any) -> Callable[[], SetHold]:
        return lambda: set_hold(by=race_world.cast.coordinator, instrument_set=one, case=case, at=NOW)

    answers = at_once(*map(hold, cases))
    assert_one_won(answers)
    assert verify() == []


def test_the_database_alone_is_enough(race_world: World, at_once: Any, meet: None) -> None:
    one = race_world.a_set("general", "KG-01")
    cases = [race_world.a_case(hour=9), race_world.a_case(hour=10)]

    def hold(case: Any) -> Callable[[], SetHold]:
        by = race_world.cast.coordinator

        def place() -> SetHold:
            try:
                return place_set_hold(instrument_set=one, keeper=case, by=by, at=NOW)
            except OperationalError as error:
                # Without the lock two inserts may wait for each other; PostgreSQL then ends one of them.
                if "deadlock" not in str(error):
                    raise
                raise Refusal("set-held-by-another", "The other hold was there first.") from error

        return place

    assert_one_won(at_once(*map(hold, cases)))


def test_with_neither_lock_nor_guard_the_set_is_held_twice(
    race_world: World, at_once: Any, meet: None
) -> None:
    one = race_world.a_set("general", "KG-01")
    cases = [race_world.a_case(hour=9), race_world.a_case(hour=10)]

    def hold(case: Any) -> Callable[[], SetHold]:
        by = race_world.cast.coordinator
        return lambda: place_set_hold(instrument_set=one, keeper=case, by=by, at=NOW)

    remove(connection, SET_HOLD_OVERLAP)
    try:
        answers = at_once(*map(hold, cases))
        assert [type(answer) for answer in answers] == [SetHold, SetHold], answers
        assert SetHold.objects.filter(set=one, ended_at__isnull=True).count() == 2
    finally:
        SetHold.objects.all().delete()
        install(connection)


def test_overlaps_made_past_the_service_at_once_are_refused(race_world: World, at_once: Any) -> None:
    one = race_world.a_set("general", "KG-01")
    cases = [race_world.a_case() for _worker in range(8)]

    def raw(number: int) -> Callable[[], SetHold]:
        starts = NOW + timedelta(minutes=number)
        return lambda: SetHold.objects.create(
            set=one,
            case=cases[number],
            starts_at=starts,
            ends_at=starts + timedelta(hours=4),
            placed_at=NOW,
            placed_by=race_world.cast.coordinator,
        )

    answers = at_once(*map(raw, range(8)))
    lost = [answer for answer in answers if isinstance(answer, Exception)]
    assert len(lost) == 7
    assert {type(answer) for answer in lost} == {IntegrityError}, lost
    assert SetHold.objects.count() == 1
