"""Several people at once: threads, each with a connection of its own, on a database that really commits."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, connections

from tests.world import World, make_world
from trays.ledger.guards import install

PATIENCE = 60


@pytest.fixture
def committed(committing: None, tmp_path: Path) -> Iterator[None]:
    """A database that commits, and that each thread opens for itself; emptied afterwards.

    On SQLite the tests' database lives in memory, where connections share one cache and no lock waits; so a
    copy in a file takes its place meanwhile.
    """
    with _file_of_its_own(tmp_path):
        yield
        connections.close_all()


@contextmanager
def _file_of_its_own(folder: Path) -> Iterator[None]:
    if connection.vendor != "sqlite":
        install(connection)
        yield
        return
    path = folder / "race.sqlite3"
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(path)])
    # Each thread's connection reads the same settings, so the name leads all of them to the file.
    wrapper, settings = connections["default"], connections["default"].settings_dict
    in_memory, name = wrapper.connection, settings["NAME"]
    wrapper.connection, settings["NAME"] = None, str(path)
    try:
        install(wrapper)
        yield
    finally:
        wrapper.close()
        wrapper.connection, settings["NAME"] = in_memory, name


@pytest.fixture
def race_world(committed: None) -> World:
    """The small world, committed."""
    return make_world()


@pytest.fixture
def at_once(committed: None) -> Callable[..., list[Any]]:
    """Run the callables in threads that start together; their answers or exceptions, in order."""

    def run(*works: Callable[[], Any]) -> list[Any]:
        start = threading.Barrier(len(works))
        answers: list[Any] = [None] * len(works)

        def one(place: int, work: Callable[[], Any]) -> None:
            try:
                start.wait(PATIENCE)
                answers[place] = work()
            except Exception as error:  # noqa: BLE001 - judged by the test, whatever it is
                answers[place] = error
            finally:
                connections.close_all()

        threads = [threading.Thread(target=one, args=(n, work)) for n, work in enumerate(works)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(PATIENCE)
        assert not any(thread.is_alive() for thread in threads), "a thread waits for ever"
        return answers

    return run
