"""The shared web parts are tested in a small site of their own, without the real one's pages and people."""

from pathlib import Path
from typing import Any

import pytest


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
