"""The demo's world, loaded once for all tests that look at one and the same start."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from django.db import transaction

from cases.desks.demo import world_ready

LOADED_AT = datetime(2026, 12, 2, 11, 0, tzinfo=UTC)


@pytest.fixture(scope="package")
def once(django_db_setup: None, django_db_blocker: pytest.FixtureRequest) -> Iterator[None]:
    """The world as it is first started at LOADED_AT; each test takes back what it does."""
    with django_db_blocker.unblock(), transaction.atomic():  # type: ignore[attr-defined]
        assert world_ready(at=LOADED_AT) == "loaded"
        yield
        transaction.set_rollback(True)


@pytest.fixture
def loaded(once: None, db: None) -> None:
    """The world, to be changed at will."""
