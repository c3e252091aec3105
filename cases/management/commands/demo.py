"""Run the demo: manage.py demo [--port 8000] [--anew]

The environment (own database file, own key) was prepared by manage.py before the settings were read.
"""

import contextlib
import os
import secrets
import signal
import socket
import subprocess  # nosec B404
import sys
import threading
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler
from django.core.wsgi import get_wsgi_application
from django.db import connections
from django.utils import timezone

from cases.desks.demo import DemoBroken, sign_ins, world_ready
from cases.desks.demo_round import PIN
from cases.management.commands.import_files import fault_line

ADDRESS = "127.0.0.1"
_WORDS = (
    "basin board brook cedar chalk cloth comet copper delta ember field glass heron ivory jetty kettle "
    "larch linen maple meadow nickel olive paper pebble quartz raven river saddle timber velvet walnut willow"
).split()


class QuietHandler(WSGIRequestHandler):
    """Says nothing about requests that went well."""

    def log_message(self, format: str, *args: Any) -> None:
        if len(args) > 1 and str(args[1]).startswith("5"):
            super().log_message(format, *args)


class Command(BaseCommand):
    """Migrate, load or top up the invented world, serve on loopback with a worker, say how to sign in."""

    help = (
        "Runs the demo on this machine only: an invented hospital, its lists always a fortnight from today."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument(
            "--anew", action="store_true", help="throw the demo's database away and start again"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEMO:
            raise CommandError("Start the demo with manage.py demo, which gives it its own database.")
        server = self._server(options["port"])
        try:
            self._run(server, options)
        except KeyboardInterrupt:
            self.stdout.write("\nThe demo has ended.")
        finally:
            server.server_close()

    def _run(self, server: ThreadedWSGIServer, options: dict[str, Any]) -> None:
        if options["anew"]:
            self._throw_away()
        call_command("migrate", verbosity=0, skip_checks=True)
        try:
            done = world_ready(at=timezone.now(), tell=self._tell if self.stderr.isatty() else None)
        except DemoBroken as broken:
            for fault in broken.faults:
                self.stderr.write(fault_line(fault))
            raise CommandError("The demo's files have faults.") from broken
        if done:
            self.stdout.write(f"\rThe demo's world is {done}.{' ' * 60}")
        self._say(options["port"])
        connections.close_all()
        self._serve(server)

    def _server(self, port: int) -> ThreadedWSGIServer:
        """Take the port first: a busy one is told before anything is done."""
        if not 1 <= port <= 65_535:
            raise CommandError(f"There is no port {port}. Choose one from 1024 to 65535.")
        try:
            with socket.socket() as probe:
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                probe.bind((ADDRESS, port))
            server = ThreadedWSGIServer((ADDRESS, port), QuietHandler)
        except OSError as error:
            raise CommandError(
                f"Port {port} cannot be used ({error.strerror}): perhaps the demo is running already. "
                f"Stop it, or choose another: manage.py demo --port {port + 1}"
            ) from error
        server.daemon_threads = True
        return server

    def _throw_away(self) -> None:
        name = str(settings.DATABASES["default"]["NAME"])
        connections.close_all()
        for path in (name, f"{name}-wal", f"{name}-shm"):
            Path(path).unlink(missing_ok=True)

    def _tell(self, name: str, done: int, total: int) -> None:
        self.stderr.write(f"\rLoading {name:<28} {done}/{total}   ", ending="")

    def _say(self, port: int) -> None:
        password = _password(Path(str(settings.DATABASES["default"]["NAME"])).parent / "sign-in")
        people = sign_ins(lambda: password)
        self.stdout.write(f"\nTrayspan's demo: http://{ADDRESS}:{port}/   (Ctrl-C ends it)\n\n")
        self.stdout.write(f"  Password for each of them: {password}\n")
        self.stdout.write(f"  PIN to sign a load with:   {PIN}\n\n")
        for one in people:
            self.stdout.write(f"  {one.username:<16} {one.name:<20} {one.role}")
        self.stdout.write(
            "\nEverything in it is invented. The choice of implant is the surgeon's; counts, sterile release "
            "and recall follow local policy.\n"
        )
        self.stdout.flush()

    def _serve(self, server: ThreadedWSGIServer) -> None:
        server.set_app(get_wsgi_application())
        signal.signal(signal.SIGTERM, _interrupt)
        with _worker():
            thread = threading.Thread(target=server.serve_forever, name="server", daemon=True)
            thread.start()
            try:
                while thread.is_alive():
                    thread.join(1.0)
            finally:
                # Nothing else may interrupt the ending.
                signal.signal(signal.SIGINT, signal.SIG_IGN)
                server.shutdown()


def _interrupt(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


@contextlib.contextmanager
def _worker() -> Iterator[None]:
    """The process for background work; it ends with the server."""
    manage = settings.BASE_DIR / "manage.py"
    # Our own command, nothing from outside in it.
    process = subprocess.Popen(  # noqa: S603  # nosec B603
        [sys.executable, str(manage), "db_worker", "--no-startup-delay", "--no-reload"],
        env=os.environ.copy(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        yield
    finally:
        process.terminate()
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _password(path: Path) -> str:
    """The demo's password: made on the first start, kept beside its database for this user's eyes only."""
    if path.exists():
        return path.read_text().strip()
    made = "-".join([*(secrets.choice(_WORDS) for _turn in range(3)), f"{secrets.randbelow(900) + 100}"])
    path.touch(mode=0o600)
    path.write_text(made)
    return made
