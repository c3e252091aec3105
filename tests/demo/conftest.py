"""The demo's world, loaded once for a file's tests."""

from collections.abc import Iterator

import pytest
from django.db import transaction

from cases.desks.demo import world_ready


@pytest.fixture(scope="module")
def once(
    request: pytest.FixtureRequest, django_db_setup: None, django_db_blocker: pytest.FixtureRequest
) -> Iterator[None]:
    """The world as it is first started at the file's LOADED_AT; each test takes back what it does."""
    with django_db_blocker.unblock(), transaction.atomic():  # type: ignore[attr-defined]
        assert world_ready(at=request.module.LOADED_AT) == "loaded"
        yield
        transaction.set_rollback(True)


@pytest.fixture
def loaded(once: None, db: None) -> None:
    """The world, to be changed at will."""
