"""One furnished world for all addresses of a file."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction

from tests.boundaries.doors import furnish
from tests.world import World, make_world


@pytest.fixture(scope="module")
def once(django_db_setup: None, django_db_blocker: Any) -> Iterator[tuple[World, dict[str, Any]]]:
    """One world for all addresses, furnished once; what a test does in it is taken back with its own part."""
    with django_db_blocker.unblock(), transaction.atomic():
        world = make_world()
        yield world, furnish(world)
        transaction.set_rollback(True)


@pytest.fixture
def world(once: tuple[World, dict[str, Any]], db: None) -> World:
    return once[0]


@pytest.fixture
def furnished(once: tuple[World, dict[str, Any]]) -> dict[str, Any]:
    return once[1]
