"""Presses and scans, as browsers and scanners send them."""

import base64
import html
from typing import Any

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

HTMX = {"HX-Request": "true", "HX-Target": "answer"}


def signed_in(person: Any) -> Client:
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def text_of(answer: Any) -> str:
    """The page as its reader has it: blanks drawn together, signs as themselves."""
    return html.unescape(" ".join(answer.content.decode().split()))


def scan_on(client: Client, page: str, payload: str, **more: Any) -> Any:
    """A scan made on a page, through its script."""
    raw = base64.b64encode(payload.encode()).decode()
    return client.post("/scan/", {"raw": raw, "page": page, "how": "scanner", **more}, headers=HTMX)


def scan_plainly(client: Client, page: str, payload: str) -> Any:
    """The same without scripts: typed into the field."""
    return client.post("/scan/", {"code": payload, "page": page})


def questions(client: Client, address: str) -> int:
    """How many queries a page asks."""
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
        return len(asked)
