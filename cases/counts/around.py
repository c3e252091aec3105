"""What the pages of one case in theatre have around them: its pages in the head, the case in the margin."""

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.picks.reading import sides_of


def case_nav(request: HttpRequest, case: Case) -> list[dict[str, Any]]:
    """Today, then the case's own pages in the order of the work. Given to a page as ``nav``."""
    pages: tuple[tuple[str, str, list[int]], ...] = (
        ("theatre-today", _("Today"), []),
        ("theatre-case", _("Bring in"), [case.pk]),
        ("theatre-count", _("Count"), [case.pk]),
        ("theatre-implants", _("Implants"), [case.pk]),
        ("theatre-sign", _("Sign"), [case.pk]),
    )
    return [
        {"label": label, "url": url, "current": request.path == url}
        for name, label, args in pages
        if (url := _url(name, args))
    ]


def around(request: HttpRequest, case: Case) -> dict[str, Any]:
    """Context for every page of one case in theatre: ``nav``, ``case`` and its ``side`` in words.

    The case comes with its list, theatre, procedure and site.
    """
    return {"nav": case_nav(request, case), "case": case, "side": sides_of(case)}


def _url(name: str, args: list[int]) -> str:
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""
