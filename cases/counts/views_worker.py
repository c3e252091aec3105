"""The installable page: its service worker, its manifest, and the shell for when there is no network.

None of the three says anything about a case or a person, so none of them needs a sign-in.
"""

import hashlib
import json
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases.counts.words import page_words

SCOPE = "/theatre/"
STYLES = ("tokens", "look", "tables", "forms", "picture", "work", "scan", "adapt")
MODULES = (
    "count", "board", "draw", "hand", "notices", "offline", "packs", "prepare", "stage", "store", "sync",
    "tally", "words",
)  # fmt: skip
SCANNING = ("keys", "rhythm", "scan", "sending", "tones")
FILES = (
    "trays/mark.svg",
    "django_htmx/htmx-2.min.js",
    *(f"trays/css/{name}.css" for name in STYLES),
    *(f"trays/js/{name}.js" for name in SCANNING),
    "cases/counts/count.css",
    *(f"cases/counts/{name}.js" for name in MODULES),
)
"""What the shell page needs. Modules ask each other by plain name, so these are kept under both names."""


@login_not_required
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker; it stands above the counting pages, because that is all it may serve."""
    shell = {"scope": SCOPE, "page": reverse("theatre-shell"), "parts": list(_addresses())}
    script = render_to_string(
        "cases/counts/theatre/worker.js", {"shell": json.dumps(shell), "version": version(_page(request))}
    )
    answer = HttpResponse(script, content_type="text/javascript; charset=utf-8")
    answer["Cache-Control"] = "no-cache"
    return answer


@login_not_required
@require_safe
def shell(request: HttpRequest) -> HttpResponse:
    """The page without its case: what is kept on the device for when no page can be fetched."""
    answer = HttpResponse(_page(request))
    answer["Cache-Control"] = "no-cache"
    return answer


@login_not_required
@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """What a device needs to know to put the counting pages on its home screen."""
    return JsonResponse(
        {
            "id": SCOPE,
            "name": _("Trayspan, theatre"),
            "short_name": _("Theatre"),
            "start_url": reverse("theatre-today"),
            "scope": SCOPE,
            "display": "standalone",
            "icons": [{"src": static("trays/mark.svg"), "sizes": "any", "type": "image/svg+xml"}],
        },
        content_type="application/manifest+json",
        headers={"Cache-Control": "no-cache"},
    )


def version(page: str) -> str:
    """Names the shell by its content: another page or another file makes another worker."""
    return hashlib.sha256((page + _of_files()).encode()).hexdigest()[:16]


def _page(request: HttpRequest) -> str:
    # Without the context processors: they would put whoever is signed in at the moment into it.
    given = {"request": request, "bare": True, "words": json.dumps(page_words())}
    return render_to_string("cases/counts/theatre/shell.html", given)


def _addresses() -> tuple[str, ...]:
    plain = [f"{settings.STATIC_URL}{name}" for name in FILES if name.endswith(".js")]
    return tuple(dict.fromkeys([*(static(name) for name in FILES), *plain]))


@lru_cache(maxsize=1)
def _of_files() -> str:
    held = hashlib.sha256()
    for name in FILES:
        found = finders.find(name)
        held.update(Path(str(found)).read_bytes() if found else b"")
    return held.hexdigest()
