"""What every test may ask for: Chromium, a PostgreSQL server, and a plain word when one is missing."""

import importlib.util
import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from typing import Any

import pytest

CHROMIUM_NAMES = ("chromium", "chromium-browser")
CHROMIUM_ARGS = ("--no-sandbox", "--disable-background-networking", "--disable-component-update")


def required(name: str) -> bool:
    return os.environ.get(f"TRAYSPAN_REQUIRE_{name}", "0") == "1"


def chromium_path() -> str | None:
    """The Chromium to drive: TRAYSPAN_CHROMIUM, else the first of the usual names on the path."""
    chosen = os.environ.get("TRAYSPAN_CHROMIUM")
    if chosen:
        return chosen if os.access(chosen, os.X_OK) else None
    return next((found for name in CHROMIUM_NAMES if (found := shutil.which(name))), None)


def without_browser() -> str | None:
    """Why browser tests cannot run here, or None."""
    if importlib.util.find_spec("playwright") is None:
        return "playwright is not installed"
    if chromium_path() is None:
        return "no Chromium found (install the package chromium, or name one in TRAYSPAN_CHROMIUM)"
    return None


def without_camera() -> str | None:
    """Why codes cannot be read by camera here, or None."""
    from django.conf import settings

    return None if settings.CAMERA_READER else "the camera's reader is missing (npm ci --ignore-scripts)"


def on_postgres() -> bool:
    from django.conf import settings

    return "postgresql" in settings.DATABASES["default"]["ENGINE"]


def without_postgres() -> str | None:
    """Why tests marked ``postgres`` cannot run here, or None."""
    return None if on_postgres() else "the database under test is SQLite (see docs/operations.md)"


def without_server() -> str | None:
    """Why no throw-away PostgreSQL server can be started here, or None."""
    if shutil.which("pg_virtualenv"):
        return None
    return "no PostgreSQL server can be started (install postgresql and postgresql-common)"


@pytest.fixture(scope="session", autouse=True)
def quick_hashes(django_test_environment: None) -> None:
    """Passwords and PINs are hashed slowly on purpose; a test that checks hundreds has no need of that."""
    from django.conf import settings

    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def free_port() -> int:
    """A port nobody listens on now. Two servers that each look for one by themselves may find the same."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def refuse(reason: str, *, name: str) -> None:
    """Skip with the reason; or fail with it where the run was told to require this."""
    if required(name):
        pytest.fail(f"required by TRAYSPAN_REQUIRE_{name}=1, but {reason}", pytrace=False)
    pytest.skip(reason)


def pytest_report_header() -> list[str]:
    database = "PostgreSQL" if on_postgres() else "SQLite"
    lines = [f"trayspan: database under test: {database}"]
    missing = (("browser", without_browser()), ("camera", without_camera()), ("postgres", without_postgres()))
    for what, reason in missing:
        if reason:
            verdict = "FAIL" if required(what.upper()) else "are skipped"
            lines.append(f"trayspan: tests marked {what} {verdict}: {reason}")
    return lines


def pytest_runtest_setup(item: pytest.Item) -> None:
    if item.get_closest_marker("browser") and (reason := without_browser()):
        refuse(reason, name="BROWSER")
    if item.get_closest_marker("camera") and (reason := without_camera()):
        refuse(reason, name="CAMERA")
    if item.get_closest_marker("postgres") and (reason := without_postgres()):
        refuse(reason, name="POSTGRES")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One Chromium (a playwright Browser) for the run; each test opens a context of its own."""
    if reason := without_browser():
        refuse(reason, name="BROWSER")
    from playwright.sync_api import sync_playwright

    # playwright's own loop runs in this thread, and Django would refuse every query beside it.
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium_path(), args=list(CHROMIUM_ARGS))
        yield browser
        browser.close()
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]
    else:
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = before


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[dict[str, str]]:
    """The environment of a throw-away PostgreSQL server, for tests that start processes of their own.

    Always a server of its own, also on PostgreSQL, so that what such processes commit disturbs no other test.
    The names are those the settings read: TRAYSPAN_PG, PGHOST, PGPORT, PGUSER, PGPASSWORD, PGDATABASE.
    """
    if reason := without_server():
        refuse(reason, name="POSTGRES")
    # The server lives as long as the shell inside does, and that one waits for our end of the pipe.
    inside = "env | grep ^PG; echo ready; cat"
    command = ["pg_virtualenv", "-t", "-c", f"-p {free_port()}", "-o", "fsync=off", "sh", "-c", inside]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdin is not None
        assert server.stdout is not None
        found = {"TRAYSPAN_PG": "1"}
        for line in server.stdout:
            if line.strip() == "ready":
                break
            name, sign, value = line.strip().partition("=")
            if sign and name.startswith("PG"):
                found[name] = value
        if "PGPORT" not in found:
            pytest.fail("pg_virtualenv started no PostgreSQL server", pytrace=False)
        yield found
        server.stdin.close()
        server.wait(timeout=60)


@pytest.fixture
def world(db: None) -> Any:
    """A small knee world on two sites (see tests/world.py)."""
    from tests.world import make_world

    return make_world()


@pytest.fixture
def committing(transactional_db: None) -> Iterator[None]:
    """A database that commits, and is emptied afterwards.

    The record refuses to be emptied, so its guards step aside for that; the migration signal puts them back.
    """
    from django.db import connection

    from trays.ledger.guards import registered, remove

    yield
    for guard in registered():
        remove(connection, guard)


@pytest.fixture
def as_person(world: Any) -> Any:
    """Sign somebody in: ``as_person("coordinator")`` gives a client of theirs."""
    from django.test import Client

    def sign_in(name: str) -> Client:
        client = Client()
        client.force_login(
            getattr(world.cast, name), backend="django.contrib.auth.backends.ModelBackend"
        )
        return client

    return sign_in


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    """Each test starts with an empty cache: the record of another test's world looks just like this one's."""
    from django.core.cache import cache

    cache.clear()
