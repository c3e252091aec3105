"""One furnished world for all addresses of a file."""

from collections.abc import Callable, Iterator
from copy import copy, deepcopy
from typing import Any

import pytest
from django.db import transaction
from django.test import Client

from tests.boundaries.doors import furnish
from tests.world import World, make_world


@pytest.fixture(scope="module")
def once(django_db_setup: None, django_db_blocker: Any) -> Iterator[tuple[World, dict[str, Any]]]:
    """One world for all addresses, furnished once; what a test does in it is taken back with its own part."""
    with django_db_blocker.unblock(), transaction.atomic():
        world = make_world()
        yield world, furnish(world)
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def signed_in(once: tuple[World, dict[str, Any]]) -> dict[str, Client]:
    """A client of each role, signed in once for all."""
    clients = {}
    for who, person in once[0].cast.by_role().items():
        clients[who] = Client()
        clients[who].force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return clients


@pytest.fixture
def client_of(signed_in: dict[str, Client]) -> Callable[[str], Client]:
    """Give a role's client, with the cookies that it had when it signed in."""

    def one(who: str) -> Client:
        client = copy(signed_in[who])
        client.cookies = deepcopy(client.cookies)
        return client

    return one


@pytest.fixture
def world(once: tuple[World, dict[str, Any]], db: None) -> World:
    return once[0]


@pytest.fixture
def furnished(once: tuple[World, dict[str, Any]]) -> dict[str, Any]:
    return once[1]
