"""The shared web parts are tested in a small site of their own, without the real one's pages and people."""

import threading
from collections.abc import Iterator
from pathlib import Path
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

import pytest
from django.core.wsgi import get_wsgi_application


@pytest.fixture
def site(settings: Any) -> Any:
    """The site of tests.trays.web.pages; no database, no sessions, templates as in the real one."""
    settings.ROOT_URLCONF = "tests.trays.web.pages"
    apart = ("sessions", "auth.", "messages", "axes", "trays.staff")
    settings.MIDDLEWARE = [name for name in settings.MIDDLEWARE if not any(word in name for word in apart)]
    engine = {**settings.TEMPLATES[0]}
    engine["DIRS"] = [*engine["DIRS"], Path(__file__).parent / "templates"]
    engine["OPTIONS"] = {"context_processors": ["django.template.context_processors.request"]}
    settings.TEMPLATES = [engine]
    return settings


class Quiet(WSGIRequestHandler):
    def log_message(self, *args: Any) -> None:
        return


class Threads(ThreadingMixIn, WSGIServer):
    daemon_threads = True


@pytest.fixture
def address(site: Any) -> Iterator[str]:
    """The small site behind a server of its own, without a database."""
    server = make_server("127.0.0.1", 0, get_wsgi_application(), server_class=Threads, handler_class=Quiet)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def page(chromium: Any, address: str) -> Iterator[Any]:
    """A page at 1280 × 900 that fails its test when the browser refuses something or a script breaks."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, base_url=address)
    opened = context.new_page()
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    opened.on("console", lambda said: faults.append(said.text) if "Content Security" in said.text else None)
    yield opened
    context.close()
    assert faults == []
