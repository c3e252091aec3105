"""The stop before implanting: each construct to be read aloud, and that it was."""

from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from cases.bookings.models import Case
from cases.usage.deciding import stop_moment_record
from cases.usage.forms import StopForm
from cases.usage.pages import case_of, surround
from cases.usage.reading import implants_of
from trays.processing.pages import done, new_key, person_of
from trays.web.errors import NotThere
from trays.web.page import answer_page


@require_safe
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Every construct as it stands, large enough to be read aloud."""
    return _page(request, case_of(request, pk))


@require_POST
def said(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """The construct was read aloud."""
    case = case_of(request, pk)
    construct = case.constructs.filter(number=number).first()
    if construct is None:
        raise NotThere("not-there", _("There is no such construct."), _("Load the page again."))
    construct.case = case
    form = StopForm(request.POST, auto_id=f"stop{number}_%s")

    def act() -> None:
        stop_moment_record(
            by=person_of(request), construct=construct, said=form.cleaned_data["said"],
            note=form.cleaned_data["note"], at=timezone.now(), client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, case, number, form), "theatre-stop", case.pk)


def _page(
    request: HttpRequest, case: Case, number: int = 0, form: StopForm | None = None
) -> HttpResponse:
    seen = implants_of(case)
    parts: list[tuple[Any, StopForm]] = []
    for part in seen.parts:
        own = part.construct.number
        again = form if form is not None and own == number else None
        parts.append((part, again or StopForm(initial=new_key(), auto_id=f"stop{own}_%s")))
    context = {
        **surround(request, case, timezone.now()),
        "parts": parts,
        "form": form,
        "without_fate": seen.without_fate,
    }
    status = HTTPStatus.UNPROCESSABLE_ENTITY if form is not None else HTTPStatus.OK
    return answer_page(request, "cases/usage/stop.html", context, status=status)
