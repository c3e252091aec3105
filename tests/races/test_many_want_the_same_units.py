"""Sixteen at once hold, pick, send away, set apart and use the same units: each unit goes one way.

What keeps it so is the lock of the units' rows. The last test takes the lock away, lets two meet at the worst
moment, and sees the harm: so the others could fail.
"""

import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction

from cases.picks.not_this import Goods as Label
from cases.picks.services import pick_list_make
from cases.picks.ticking import goods_pick
from cases.reservations.hold import units_hold
from cases.reservations.models import Hold
from tests.world import NOW, TODAY, World
from trays.ledger.append import record
from trays.ledger.queries import verify
from trays.parties.models import Tenure
from trays.stock import moving
from trays.stock.apart import units_set_apart
from trays.stock.models import Pile, Unit
from trays.stock.moving import lock_units, step_within
from trays.stock.services import Goods, pile_move, pile_receive, unit_receive
from trays.stock.transferring import transfer_make
from trays.stock.verify import stock_faults
from trays.web.errors import Refusal

pytestmark = pytest.mark.race
EXPECTED = {
    "held-by-another", "not-on-hand", "kept-for", "in-transfer", "no-way-unit", "changed-meanwhile",
    "picked-already", "not-on-this-list", "another-lot",
}  # fmt: skip


def received(world: World, count: int) -> list[Unit]:
    goods = Goods(
        component=world.component("tibial", "2"), owner=world.hospital, tenure=Tenure.OWNED,
        place=world.shelf, lot="L1", expires=TODAY + timedelta(days=300),
    )  # fmt: skip
    return unit_receive(by=world.cast.stores, site=world.site, goods=goods, count=count, at=NOW)


def use(world: World, unit: Unit) -> None:
    """Use as the theatre does it: locked, a step, one event."""
    with transaction.atomic():
        (locked,) = lock_units([unit.pk])
        if locked.state not in Unit.ON_HAND:
            raise Refusal("not-on-hand", "Gone.", "Take another.")
        lines = step_within(units=[locked], state=Unit.State.IMPLANTED)
        record(chain=world.site.code, verb="test.use", by=world.cast.scrub, at=NOW, lines=lines)


def test_sixteen_take_the_same_units_and_each_goes_one_way(race_world: World, at_once: Any) -> None:
    world = race_world
    Pile.objects.all().delete()
    units = received(world, 6)
    world.sets_of_each()
    wanted = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}
    cases = [world.a_case(predictions=wanted) for _n in range(4)]
    pick_list = pick_list_make(by=world.cast.coordinator, case=cases[0], at=NOW)
    away = {"source": world.site, "target": world.far_site, "at": NOW}

    def worker(number: int) -> Callable[[], list[tuple[str, int]]]:
        def work() -> list[tuple[str, int]]:
            went = []
            for turn in range(3):
                unit = units[(number * 5 + turn) % 6]
                try:
                    if number % 4 == 0:
                        units_hold(by=world.cast.coordinator, case=cases[number // 4], units=[unit], at=NOW)
                        went.append(("held", unit.pk))
                    elif number % 4 == 1:
                        use(world, unit)
                        went.append(("used", unit.pk))
                    elif number % 4 == 2:
                        goods_pick(
                            by=world.cast.stores, pick_list=pick_list, at=NOW,
                            goods=Label(unit.component, unit.lot),
                        )  # fmt: skip
                        went.append(("picked", unit.pk))
                    elif turn:
                        units_set_apart(by=world.cast.stores, units=[unit], cause="unsure", at=NOW)
                        went.append(("apart", unit.pk))
                    else:
                        transfer_make(by=world.cast.stores, units=[unit], **away)
                        went.append(("listed", unit.pk))
                except Refusal as refusal:
                    assert refusal.code in EXPECTED, refusal
            return went

        return work

    answers = at_once(*(worker(number) for number in range(16)))
    assert [answer for answer in answers if isinstance(answer, Exception)] == []
    went = [one for answer in answers for one in answer]
    # Which of the ways is quicker differs from run to run; every unit is wanted by several.
    used, apart = ([pk for what, pk in went if what == way] for way in ("used", "apart"))
    assert used + apart
    assert len(used + apart) == len(set(used + apart))
    assert set(used) == set(Unit.objects.filter(state="implanted").values_list("pk", flat=True))
    assert set(apart) == set(Unit.objects.filter(state="quarantine").values_list("pk", flat=True))
    held = list(Hold.objects.filter(ended_at__isnull=True).values_list("unit_id", flat=True))
    assert len(held) == len(set(held))
    assert sum(what == "picked" for what, _pk in went) <= 1
    assert stock_faults() == []
    assert verify() == []


def test_no_piece_is_taken_twice_off_a_pile(race_world: World, at_once: Any) -> None:
    world = race_world
    Pile.objects.all().delete()
    goods = Goods(
        component=world.component("consumable", "swab-5"), owner=world.hospital, tenure=Tenure.OWNED,
        place=world.shelf, lot="S1", expires=TODAY + timedelta(days=300),
    )  # fmt: skip
    pile = pile_receive(by=world.cast.stores, site=world.site, goods=goods, pieces=50, at=NOW)

    def work() -> str:
        try:
            fresh = Pile.objects.select_related("place", "site").get(pk=pile.pk)
            pile_move(by=world.cast.stores, pile=fresh, pieces=7, place=world.sterile_store, at=NOW)
        except Refusal as refusal:
            return refusal.code
        return "moved"

    answers = at_once(*([work] * 16))
    assert sorted(set(answers)) == ["moved", "not-enough"], answers
    assert answers.count("moved") == 7
    assert sorted(Pile.objects.values_list("quantity", flat=True)) == [1, 49]
    assert stock_faults() == []


@pytest.fixture
def meet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both have read the unit before either writes: the worst moment, made certain.

    A caller that is kept waiting by the lock never comes to the meeting; after a while the other goes on.
    """
    both = threading.Barrier(2)
    check = moving.way

    def check_and_wait(before: str, after: str) -> bool:
        allowed = check(before, after)
        try:
            both.wait(1.5)
        except threading.BrokenBarrierError:
            pass
        return allowed

    monkeypatch.setattr(moving, "way", check_and_wait)


def test_two_who_use_one_unit_at_once_use_it_once(race_world: World, at_once: Any, meet: None) -> None:
    Pile.objects.all().delete()
    (unit,) = received(race_world, 1)
    answers = at_once(lambda: use(race_world, unit), lambda: use(race_world, unit))
    assert sorted(type(answer).__name__ for answer in answers) == ["NoneType", "Refusal"], answers
    assert stock_faults() == []


def test_without_the_lock_one_unit_is_used_twice(
    race_world: World, at_once: Any, meet: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    (unit,) = received(race_world, 1)
    Pile.objects.all().delete()

    def unlocked() -> None:
        # Read before the transaction: no row lock, and on SQLite not yet the one writer.
        row = Unit.objects.select_related("component", "place", "site", "owner").get(pk=unit.pk)
        allowed = moving.way(row.state, Unit.State.IMPLANTED)
        assert allowed
        with transaction.atomic():
            lines = [moving.Line("unit", row.pk, row.state, "implanted", -1)]
            Unit.objects.filter(pk=row.pk).update(state="implanted")
            record(chain="larkmere", verb="test.use", by=race_world.cast.scrub, at=NOW, lines=lines)

    answers = at_once(unlocked, unlocked)
    assert answers == [None, None]
    # Used twice by the record: its lines add up to less than nothing.
    assert stock_faults() == [f"unit {unit.pk}: 0 in stock, but its lines add up to -1"]
