"""A server process of its own on a copied database of the demo's world, for people to walk through."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
PASSWORD = "journey-through-larkmere"
LOAD = f"""
import django; django.setup()
from django.core.management import call_command
from django.utils import timezone
call_command("migrate", verbosity=0)
from cases.desks.demo import sign_ins, world_ready
world_ready(at=timezone.now())
sign_ins(lambda: {PASSWORD!r})
from django.db import connection
connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
"""


def environment(database: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("TRAYSPAN_")}
    return kept | {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "TRAYSPAN_DEMO": "1",
        "TRAYSPAN_DB": str(database),
        "TRAYSPAN_SECRET_KEY": os.environ["TRAYSPAN_SECRET_KEY"],
    }


@pytest.fixture(scope="session")
def demo_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's world in a file, loaded once through its own import."""
    file = tmp_path_factory.mktemp("demo") / "world.sqlite3"
    subprocess.run([sys.executable, "-c", LOAD], cwd=ROOT, env=environment(file), check=True, timeout=180)
    return file


class Server:
    """A server process on a database file; it can be killed and started again at the same address."""

    def __init__(self, database: Path) -> None:
        self.database = database
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        command = [sys.executable, "manage.py", "runserver", "--noreload", f"127.0.0.1:{self.port}"]
        quiet = subprocess.DEVNULL
        env = environment(self.database)
        self.process = subprocess.Popen(command, cwd=ROOT, env=env, stdout=quiet, stderr=quiet)
        _wait(f"{self.url}/healthz", self.process)

    def stop(self, *, at_once: bool = False) -> None:
        if self.process is not None:
            self.process.kill() if at_once else self.process.terminate()
            self.process.wait(timeout=20)
        self.process = None


@contextmanager
def serving(database: Path, folder: Path) -> Iterator[Server]:
    """A server of its own on a copy of a world."""
    copy = folder / "copy.sqlite3"
    shutil.copyfile(database, copy)
    server = Server(copy)
    try:
        server.start()
        yield server
    finally:
        server.stop()


@pytest.fixture
def server(demo_database: Path, tmp_path: Path) -> Iterator[Server]:
    """A server of its own on a copy of the demo's world."""
    with serving(demo_database, tmp_path) as one:
        yield one


@pytest.fixture
def address(server: Server) -> str:
    """Where the server answers."""
    return server.url


def _wait(url: str, process: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + 60
    while True:
        assert process.poll() is None, "the server ended at once"
        try:
            with urllib.request.urlopen(url, timeout=10):  # noqa: S310 - our own loopback address
                return
        except OSError:
            assert time.monotonic() < end, "the server does not answer"
            time.sleep(0.2)


@pytest.fixture
def sign_in() -> Any:
    """Sign somebody in by the form: ``sign_in(context, "addlestrop")`` gives their page."""

    def by_form(context: Any, username: str) -> Any:
        page = context.new_page()
        page.complaints = []
        page.on("console", lambda said: page.complaints.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.goto("/")
        page.get_by_label("Sign-in name").fill(username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_selector("header .who")
        return page

    return by_form


@pytest.fixture
def walk(chromium: Any, address: str, sign_in: Any) -> Iterator[Any]:
    """Sign somebody in: ``walk("addlestrop")`` gives their page."""
    contexts = []

    def start(username: str, **options: Any) -> Any:
        context = chromium.new_context(base_url=address, accept_downloads=True, **options)
        contexts.append(context)
        return sign_in(context, username)

    yield start
    for context in contexts:
        context.close()
