"""The record is append-only, in sequence, and says so when it was altered."""

from datetime import timedelta, timezone
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction

from tests.world import NOW, World
from trays.ledger.append import HOUSE, Line, answered, record
from trays.ledger.guards import install, missing, registered, remove
from trays.ledger.models import Chain, Event, EventLine
from trays.ledger.queries import verify


def append(world: World, **more: object) -> Event:
    with transaction.atomic():
        return record(
            chain=world.site.code,
            verb="stock.receive",
            by=world.cast.stores,
            at=NOW,
            lines=[Line("unit", 1, "", "shelf", 1), Line("unit", 2, "", "shelf", 1)],
            **more,  # type: ignore[arg-type]
        )


def test_events_follow_each_other_within_their_chain(world: World) -> None:
    first, second = append(world), append(world)
    with transaction.atomic():
        house = record(chain=HOUSE, verb="party.enter", by=world.cast.keeper, at=NOW)
    assert (first.sequence, second.sequence, house.sequence) == (1, 2, 1)
    assert second.previous == first.digest
    assert verify() == []


def test_an_event_outside_its_transaction_is_a_fault_in_the_code(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    outside = SimpleNamespace(in_atomic_block=False)
    with monkeypatch.context() as patch:
        patch.setattr("trays.ledger.append.transaction.get_connection", lambda: outside)
        with pytest.raises(RuntimeError, match="inside the transaction"):
            record(chain=HOUSE, verb="party.enter", by=None, at=NOW)


@pytest.mark.parametrize("model", [Event, EventLine])
def test_the_database_refuses_to_change_or_delete(world: World, model: type) -> None:
    append(world)
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.all().update(**{"reason" if model is Event else "after": "x"})
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.all()._raw_delete("default")
    assert model.objects.count() == (1 if model is Event else 2)


def without_guards(world: World) -> None:
    # PostgreSQL alters no table that still has constraints to check in this transaction.
    connection.check_constraints()
    for guard in registered():
        remove(connection, guard)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda: Event.objects.filter(sequence=2).update(text="{}"), "its text was altered"),
        *(
            (
                lambda change=change: Event.objects.filter(sequence=2).update(**change),
                "its columns differ from its text",
            )
            for change in (
                {"reason": "x"},
                {"verb": "x"},
                {"actor": None},
                {"happened_at": NOW - timedelta(days=1)},
                {"recorded_at": NOW + timedelta(microseconds=1)},
                {"device_at": NOW},
                {"client_key": uuid4()},
            )
        ),
        (
            lambda: EventLine.objects.filter(event__sequence=2, number=1).update(quantity=9),
            "its lines were altered",
        ),
        (
            lambda: EventLine.objects.filter(event__sequence=2, number=2)._raw_delete("default"),
            "its lines were altered",
        ),
        (
            lambda: (
                EventLine.objects.filter(event__sequence=2)._raw_delete("default"),
                Event.objects.filter(sequence=2)._raw_delete("default"),
            ),
            "event 2 is missing",
        ),
        (lambda: Chain.objects.update(sequence=7), "the chain's head does not match its last event"),
    ],
)
def test_the_verification_finds_each_kind_of_change(world: World, change, told: str) -> None:
    for _ in range(3):
        append(world)
    without_guards(world)
    assert {fault.sentence for fault in verify()} == {
        f"the guard {guard.name} is not in force" for guard in registered()
    }
    change()
    connection.check_constraints()
    install(connection)
    assert missing(connection) == []
    assert told in {fault.sentence for fault in verify()}


def test_a_guard_taken_away_is_told_and_put_back_by_the_next_migrate(world: World) -> None:
    guard = registered()[0]
    remove(connection, guard)
    assert missing(connection) == [guard.name]
    assert install(connection) == [guard.name]
    assert missing(connection) == []


def test_a_guard_that_is_there_in_name_only_is_told_and_put_back(world: World) -> None:
    guard = next(one for one in registered() if one.name == "keep_trays_event")
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(f"DROP TRIGGER {guard.name}_update")
            cursor.execute(
                f"CREATE TRIGGER {guard.name}_update BEFORE UPDATE ON {guard.table} BEGIN SELECT 1; END"
            )
        else:
            cursor.execute(
                f"CREATE OR REPLACE FUNCTION {guard.name}() RETURNS trigger AS $$ BEGIN RETURN NEW; END $$ "
                "LANGUAGE plpgsql"
            )
    assert missing(connection) == [guard.name]
    assert f"the guard {guard.name} is not in force" in {fault.sentence for fault in verify()}
    assert install(connection) == [guard.name]
    assert missing(connection) == []
    append(world)
    with pytest.raises(IntegrityError), transaction.atomic():
        Event.objects.update(reason="x")


def test_the_three_times_are_kept_and_proven(world: World) -> None:
    east = timezone(timedelta(hours=9))
    append(
        world,
        happened_at=(NOW - timedelta(minutes=7)).astimezone(east),
        device_at=(NOW - timedelta(minutes=6, microseconds=5)).astimezone(east),
    )
    event = Event.objects.get()
    assert (event.happened_at, event.recorded_at) == (NOW - timedelta(minutes=7), NOW)
    assert event.device_at == NOW - timedelta(minutes=6, microseconds=5)
    assert verify() == []


def test_a_client_key_is_stored_once_and_gives_its_answer_back(world: World) -> None:
    key = uuid4()
    append(world, client_key=key, answer={"case": 5})
    found = answered(key)
    assert found is not None and found.answer == {"case": 5}
    assert answered(uuid4()) is None and answered(None) is None
    with pytest.raises(IntegrityError), transaction.atomic():
        append(world, client_key=key)


def test_the_text_names_no_person_but_by_number(world: World) -> None:
    event = append(world)
    assert world.cast.stores.name not in event.text
    assert f'"actor":{world.cast.stores.pk}' in event.text
