"""Two coordinators want the same unit at the same moment: one gets it, the other is told who has it.

Two things keep it so, each by itself: the lock and the database's constraint. The tests take away one, the
other, and both; with both gone the double hold is seen, so the others could fail.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection, transaction

from cases.reservations import locking, queries
from cases.reservations.hold import place_holds, units_hold
from cases.reservations.models import Hold
from tests.world import NOW, World
from trays.ledger.queries import verify
from trays.stock.models import Unit
from trays.web.errors import Refusal

pytestmark = pytest.mark.race

LAW = next(law for law in Hold._meta.constraints if law.name == "hold_one_open_per_unit")


@contextmanager
def without_the_constraint() -> Iterator[None]:
    with connection.schema_editor() as editor:
        editor.remove_constraint(Hold, LAW)
    try:
        yield
    finally:
        Hold.objects.all().delete()
        with connection.schema_editor() as editor:
            editor.add_constraint(Hold, LAW)


@pytest.fixture
def meet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both look at the unit's holds before either writes: the worst moment, made certain.

    A caller that is kept waiting by the lock never comes to the meeting; after a while the other goes on.
    """
    both = threading.Barrier(2)
    look = queries.open_holds

    def look_and_wait(unit_ids: Any) -> Any:
        seen = look(unit_ids)
        try:
            both.wait(1.5)
        except threading.BrokenBarrierError:
            pass
        return seen

    monkeypatch.setattr(queries, "open_holds", look_and_wait)


def hold_under_the_lock(world: World, case: Any, unit: Unit) -> Callable[[], Any]:
    return lambda: units_hold(by=world.cast.coordinator, case=case, units=[unit], at=NOW)


def hold_without_the_lock(world: World, case: Any, unit: Unit) -> Callable[[], Any]:
    # Not even SQLite's one writer at a time stands in between: nothing but the service's own check.
    return lambda: place_holds(units={unit.pk: unit}, keeper=case, by=world.cast.coordinator, at=NOW)


def two_cases_one_unit(world: World) -> tuple[Any, Any, Unit]:
    (unit,) = world.unit(world.component("femoral", "2", side="right"), 1)
    return world.a_case(), world.a_case(), unit


def assert_one_won(answers: list[Any], world: World) -> None:
    lost = [answer for answer in answers if isinstance(answer, Exception)]
    assert len(lost) == 1, answers
    assert isinstance(lost[0], Refusal), repr(lost[0])
    assert lost[0].code == "held-by-another"
    assert Hold.objects.filter(ended_at__isnull=True).count() == 1


def test_one_wins_and_the_other_is_told(race_world: World, at_once: Any, meet: None) -> None:
    first, second, unit = two_cases_one_unit(race_world)
    answers = at_once(*(hold_under_the_lock(race_world, case, unit) for case in (first, second)))
    assert_one_won(answers, race_world)
    (lost,) = (answer for answer in answers if isinstance(answer, Refusal))
    winner = Hold.objects.get().case
    assert winner is not None
    assert winner.reference in lost.sentence
    assert verify() == []


def test_the_lock_alone_is_enough(race_world: World, at_once: Any, meet: None) -> None:
    first, second, unit = two_cases_one_unit(race_world)
    with without_the_constraint():
        answers = at_once(*(hold_under_the_lock(race_world, case, unit) for case in (first, second)))
        assert_one_won(answers, race_world)


def test_the_constraint_alone_is_enough(race_world: World, at_once: Any, meet: None) -> None:
    first, second, unit = two_cases_one_unit(race_world)
    answers = at_once(*(hold_without_the_lock(race_world, case, unit) for case in (first, second)))
    assert_one_won(answers, race_world)


def test_with_neither_the_unit_is_held_twice(race_world: World, at_once: Any, meet: None) -> None:
    first, second, unit = two_cases_one_unit(race_world)
    with without_the_constraint():
        answers = at_once(*(hold_without_the_lock(race_world, case, unit) for case in (first, second)))
        assert [type(answer) for answer in answers] == [list, list], answers
        assert Hold.objects.filter(unit=unit, ended_at__isnull=True).count() == 2


def test_a_lock_outside_a_transaction_is_a_fault_in_the_code(race_world: World) -> None:
    with pytest.raises(RuntimeError):
        locking.lock(units=[])


def test_sixteen_at_once_share_out_what_there_is(race_world: World, at_once: Any) -> None:
    """Each tries for six units in an order of their own; no unit goes twice, nobody waits for ever."""
    units = race_world.unit(race_world.component("femoral", "2", side="right"), 6)
    cases = [race_world.a_case() for _worker in range(16)]

    def worker(number: int) -> Callable[[], list[int]]:
        def work() -> list[int]:
            got = []
            for turn in range(3):
                one, other = units[(number + turn) % 6], units[(number * 5 + turn * 2 + 1) % 6]
                try:
                    held = units_hold(
                        by=race_world.cast.coordinator, case=cases[number], units=[other, one], at=NOW
                    )
                    got += [hold.unit_id for hold in held]
                except Refusal as refusal:
                    assert refusal.code == "held-by-another"
            return got

        return work

    answers = at_once(*(worker(number) for number in range(16)))
    assert [answer for answer in answers if isinstance(answer, Exception)] == []
    held = list(Hold.objects.filter(ended_at__isnull=True).values_list("unit_id", "case_id"))
    assert len(held) == len({unit_id for unit_id, _case in held})
    assert held
    told = {(unit_id, cases[n].pk) for n, got in enumerate(answers) for unit_id in got}
    assert told == set(held)
    assert verify() == []


def test_two_who_lock_the_same_rows_in_opposite_order_both_get_through(
    race_world: World, at_once: Any
) -> None:
    one, other = race_world.unit(race_world.component("femoral", "2", side="right"), 2)

    def both(units: list[int]) -> Callable[[], int]:
        def work() -> int:
            for _turn in range(10):
                with transaction.atomic():
                    locking.lock(units=units)
            return len(units)

        return work

    assert at_once(both([one.pk, other.pk]), both([other.pk, one.pk])) == [2, 2]
