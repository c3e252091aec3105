"""What the pages of one case's implants share: fetching the case, what stands around it, doing one press."""

from collections.abc import Callable
from datetime import datetime
from typing import Any, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from cases.bookings.models import Case
from cases.bookings.queries import whole_cases
from cases.counts.around import around
from trays.processing.pages import person_of
from trays.staff.access import fetch
from trays.web.errors import NotThere, Refusal
from trays.web.page import go_to

SEES = "see_theatre"


def case_of(request: HttpRequest, pk: int) -> Case:
    """The case, for those who may see what happens in theatre; what they take down of it is never refused."""
    rows = whole_cases().select_related(
        "site__party", "list__theatre", "list__site", "procedure", "plan", "surgeon"
    )
    return cast(Case, fetch(rows, by=person_of(request), act=SEES, pk=pk))


def surround(request: HttpRequest, case: Case, at: datetime) -> dict[str, Any]:
    """The head with the case's own pages, and its margin."""
    return {**around(request, case), "at": at, "closed": case.status == Case.Status.CLOSED}


def pressed(
    request: HttpRequest, act: Callable[[], str], to: str, *args: object, anchor: str = ""
) -> HttpResponse:
    """Do what a button says and tell so on the page it leads to; a refusal is told there too."""
    try:
        messages.success(request, act())
    except Refusal as refusal:
        if isinstance(refusal, NotThere) or refusal.code == "not-your-act":
            raise
        messages.warning(request, f"{refusal.sentence} {refusal.next_step}")
    return go_to(request, to, *args)
