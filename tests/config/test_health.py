"""The watcher's two pages tell the truth about the database and its laws."""

import pytest
from django.db import connection
from django.test import Client

from trays.ledger.guards import registered, remove


def test_the_process_answers_without_a_sign_in() -> None:
    assert Client().get("/healthz").content == b"ok\n"


@pytest.mark.django_db
def test_ready_means_migrated_and_every_guard_in_force() -> None:
    answer = Client().get("/readyz")
    assert answer.status_code == 200 and answer.json()["ready"]


@pytest.mark.django_db
def test_a_guard_that_was_lifted_makes_it_not_ready() -> None:
    guard = registered()[-1]
    remove(connection, guard)
    answer = Client().get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["guards_missing"] == [guard.name]
