"""Where people land, and the help page."""

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import NoReverseMatch, reverse
from django.views.decorators.http import require_safe

from cases.desks.context import page_labels, pages_of
from trays.staff.models import Person
from trays.web.page import answer_page


@require_safe
def landing(request: HttpRequest) -> HttpResponse:
    """To the first page of the person's role; somebody without a role gets the help page."""
    by = cast(Person, request.user)
    for name in pages_of(by):
        try:
            return redirect(reverse(name))
        except NoReverseMatch:
            continue
    return redirect(reverse("help"))


@require_safe
def help_page(request: HttpRequest) -> HttpResponse:
    """Each role's trip, the cautions in full, the scan field, the limits."""
    by = cast(Person, request.user)
    labels = page_labels()
    mine = [labels[name] for name in pages_of(by) if name in labels and name != "help"]
    return answer_page(request, "cases/desks/help.html", {"mine": mine, "has_role": bool(by.roles.exists())})


@require_safe
def cautions(request: HttpRequest) -> HttpResponse:
    """The cautions stand on the help page."""
    return redirect(reverse("help") + "#cautions")
