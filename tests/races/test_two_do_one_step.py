"""Two people do the same to the same thing at once: one does it, the other hears what it is now."""

import threading
import time
from collections.abc import Callable
from typing import Any

import pytest

from tests.trays.processing.conftest import Department, department
from tests.world import NOW, World
from trays.instruments.models import Pack, PackState
from trays.ledger.queries import verify
from trays.places.models import Place
from trays.processing import deciding, machines, moving, receiving, runs
from trays.processing.models import Move
from trays.processing.models_machines import DayTestRule, Machine, Run, RunPack
from trays.staff.models import Person, Role
from trays.stock import services as stock
from trays.web.errors import Refusal

__all__ = ["department"]

pytestmark = pytest.mark.race


@pytest.fixture
def world(race_world: World) -> World:
    """The department's world, committed."""
    return race_world


@pytest.fixture
def meet(department: Department, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both have read the pack before either writes; with its row locked the second cannot, and is late."""
    both = threading.Barrier(2)
    read = moving.lock_packs

    def read_and_wait(*given: Any) -> list[Pack]:
        seen = read(*given)
        try:
            both.wait(1.5)
        except threading.BrokenBarrierError:
            pass
        return seen

    for room in (receiving, runs, deciding):
        monkeypatch.setattr(room, "lock_packs", read_and_wait)


def used(department: Department, code: str = "G-01") -> Pack:
    return department.world.a_set("general", code, state=PackState.USED).packs.get()


def packed(department: Department) -> Pack:
    pack = used(department)
    department.receive(pack)
    department.washed(pack)
    return department.packed(pack)


def one_won(answers: list[Any], code: str) -> None:
    (lost,) = (answer for answer in answers if isinstance(answer, Exception))
    assert isinstance(lost, Refusal), repr(lost)
    assert lost.code == code
    assert lost.next_step
    assert verify() == []


def steps(pack: Pack, after: str) -> int:
    return Move.objects.filter(pack=pack, after=after).count()


def test_received_by_two_it_is_received_once(department: Department, at_once: Any, request: Any) -> None:
    pack = used(department)
    request.getfixturevalue("meet")

    def receive(by: Person) -> Callable[[], Any]:
        return lambda: receiving.packs_receive(by=by, packs=[pack], place=department.hall, at=NOW)

    one_won(at_once(receive(department.technician), receive(department.colleague)), "received-already")
    assert steps(pack, PackState.RECEIVED) == 1
    assert Pack.objects.get(pk=pack.pk).round == pack.round + 1


def test_put_into_two_washers_it_is_in_one(department: Department, at_once: Any, request: Any) -> None:
    pack = used(department)
    department.receive(pack)
    second = Machine.objects.create(
        site=department.world.site, code="W2", name="Washer 2", kind="washer", place=department.hall, packs=4
    )
    rule = DayTestRule.objects.get(kind="washer")
    machines.day_test_record(by=department.technician, machine=second, rule=rule, passed=True, at=NOW)
    opened = [
        runs.run_open(by=department.technician, machine=machine, programme=department.wash, at=NOW)
        for machine in (department.washer, second)
    ]
    request.getfixturevalue("meet")

    def fill(run: Run) -> Callable[[], Run]:
        return lambda: runs.run_fill(by=department.technician, run=run, packs=[pack], at=NOW)

    one_won(at_once(*map(fill, opened)), "in-another-run")
    assert RunPack.objects.filter(pack=pack, open=True).count() == 1


def test_released_by_two_a_load_is_released_once(department: Department, at_once: Any, request: Any) -> None:
    pack = packed(department)
    run = department.loaded(pack)
    other = Person.objects.create(username="other", name="O. Other", pin=department.colleague.pin)
    Role.objects.create(person=other, kind=Role.Kind.STERILE_SERVICES, site=department.world.site)
    signers = [department.sign_as(person) for person in (department.colleague, other)]
    request.getfixturevalue("meet")

    def release(number: int) -> Callable[[], Run]:
        return lambda: deciding.load_release(by=signers[number], run=run, at=NOW)

    one_won(at_once(release(0), release(1)), "not-ended")
    assert steps(pack, PackState.RELEASED) == 1


def test_moved_by_two_a_unit_lies_where_the_later_one_says(
    race_world: World, at_once: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second waits for the first, and does not take the unit for gone because its place has changed."""
    (unit,) = race_world.unit(race_world.component("tibial", "2"))
    write = stock.record

    def write_slowly(**given: Any) -> Any:
        time.sleep(0.5)
        return write(**given)

    monkeypatch.setattr(stock, "record", write_slowly)
    places = [
        Place.objects.create(site=race_world.site, code=f"B{n}", name=f"Bay {n}", kind="shelf")
        for n in (1, 2)
    ]

    def put(place: Place) -> Callable[[], Any]:
        return lambda: stock.unit_move(by=race_world.cast.stores, unit=unit, place=place, at=NOW)

    answers = at_once(*map(put, places))
    assert not [answer for answer in answers if isinstance(answer, Exception)], answers
    unit.refresh_from_db()
    assert unit.place in places
    assert verify() == []
