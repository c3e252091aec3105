"""The ways of a unit: one table, kept by the service and by the database, with stock the sum of its lines."""

import itertools

import pytest
from django.db import IntegrityError, connection, transaction

from tests.trays.stock.conftest import Store
from tests.world import NOW
from trays.ledger.append import record
from trays.stock.guards import UNIT_BY_WAY
from trays.stock.models import Unit, UnitState
from trays.stock.moving import lock_units, piles_take_within, step_within
from trays.stock.services import pile_move, pile_receive, units_move
from trays.stock.ways import FATES, STOCK, WAYS, way
from trays.web.errors import NotAllowed, Refusal

ALL = list(UnitState)


def test_every_state_has_its_ways_and_what_happened_in_theatre_is_taken_down_from_any() -> None:
    assert set(WAYS) == set(ALL)
    for before, fate in itertools.product(ALL, FATES):
        # Opened is where an implanted or wasted one goes when that was wrong.
        assert before == fate or before in FATES or way(before, fate), (before, fate)
    assert not any(way(state, state) for state in ALL)
    assert way("opened", "quarantine")
    assert not way("opened", "shelf")
    assert not way("implanted", "shelf")
    assert not way("disposed", "shelf")


@pytest.mark.parametrize("before", ALL)
def test_the_service_takes_the_ways_of_the_table_and_no_other(before: str, store: Store) -> None:
    store.sound = False
    for after in ALL:
        if after == before:
            continue
        (unit,) = store.world.unit(store.component("tibial", "1"), state=before)
        with transaction.atomic():
            (locked,) = lock_units([unit.pk])
            if not way(before, after):
                with pytest.raises(Refusal, match="no-way-unit"):
                    step_within(units=[locked], state=after)
                continue
            (line,) = step_within(units=[locked], state=after)
        unit.refresh_from_db()
        assert (unit.state, line.before, line.after) == (after, before, after)
        assert line.quantity == (after in STOCK) - (before in STOCK)


def test_past_the_service_the_database_keeps_the_table_too(store: Store) -> None:
    (unit,) = store.units()
    Unit.objects.filter(pk=unit.pk).update(state="implanted")
    with pytest.raises(IntegrityError), transaction.atomic():
        Unit.objects.filter(pk=unit.pk).update(state="shelf")
    # The law is what stops it: without it the same goes through.
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            for name in UNIT_BY_WAY.sqlite_names:
                cursor.execute(f"DROP TRIGGER {name}")
    else:
        with connection.cursor() as cursor:
            cursor.execute("DROP TRIGGER unit_by_way ON trays_unit")
    assert Unit.objects.filter(pk=unit.pk).update(state="shelf") == 1


def test_a_unit_that_is_not_on_file_is_told(store: Store) -> None:
    with pytest.raises(Refusal, match="unit-gone"), transaction.atomic():
        lock_units([987_654])


def test_units_are_put_on_another_shelf_and_the_stock_stays_what_it_was(store: Store) -> None:
    units = store.units(3)
    units_move(by=store.by, units=units, place=store.other, bin="2-1", at=NOW)
    assert set(Unit.objects.values_list("place__code", "bin", "state")) == {("S2", "2-1", "shelf")}
    with pytest.raises(Refusal, match="place-elsewhere"):
        units_move(by=store.by, units=units, place=store.far, at=NOW)
    with pytest.raises(NotAllowed):
        units_move(by=store.quality, units=units, place=store.world.shelf, at=NOW)


def test_pieces_go_from_pile_to_pile_and_never_below_nothing(store: Store) -> None:
    swabs = store.goods(component=store.component("consumable", "swab-5"), lot="S1")
    pile = pile_receive(by=store.by, site=store.world.site, goods=swabs, pieces=40, at=NOW)
    there = pile_move(by=store.by, pile=pile, pieces=15, place=store.other, at=NOW)
    pile.refresh_from_db()
    there.refresh_from_db()
    assert (pile.quantity, there.quantity, there.place.code) == (25, 15, "S2")
    with pytest.raises(Refusal, match="not-enough"):
        pile_move(by=store.by, pile=pile, pieces=26, place=store.other, at=NOW)
    with transaction.atomic():
        line = piles_take_within(pile=pile, pieces=25)
        record(chain="larkmere", verb="test.take", by=store.by, at=NOW, lines=[line])
    pile.refresh_from_db()
    assert pile.quantity == 0
