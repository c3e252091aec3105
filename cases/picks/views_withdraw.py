"""Pages for cancelling a case and for moving it to another list."""

from typing import cast

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.checks import still_booked
from cases.bookings.forms import CancelForm, MoveForm
from cases.bookings.kinds import Booked
from cases.bookings.models import Case, TheatreList
from cases.bookings.queries import whole_cases
from cases.bookings.views import get_or_post, told
from cases.picks.withdraw import case_shift, case_withdraw
from cases.reservations.queries import holds_of, set_holds_of
from trays.parties.models import Site
from trays.staff.access import fetch, sites_for
from trays.staff.models import Person
from trays.web.errors import Refusal, faults_from
from trays.web.numbers import whole
from trays.web.page import answer_page, go_to


def _case(request: HttpRequest, pk: int) -> Case:
    return cast(Case, fetch(whole_cases(), by=cast(Person, request.user), act="book_case", pk=pk))


def _held(case: Case) -> dict[str, int]:
    return {"units": holds_of(case).count(), "sets": set_holds_of(case).count()}


def _released(done: Booked) -> str:
    """How much was given up, in words; "" for nothing."""
    units = sum(line.subject == "unit" for line in done.lines)
    sets = sum(line.subject == "set" for line in done.lines)
    parts = []
    if units:
        parts.append(ngettext("%(n)s unit", "%(n)s units", units) % {"n": units})
    if sets:
        parts.append(ngettext("%(n)s set", "%(n)s sets", sets) % {"n": sets})
    if not parts:
        return ""
    return _("%(what)s no longer held for it.") % {"what": ", ".join(parts)}


@get_or_post
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Cancel a case with its reason."""
    case = _case(request, pk)
    form = CancelForm(request.POST if request.method == "POST" else None)
    if not form.is_bound:
        still_booked(case)
    if form.is_bound and form.is_valid():
        try:
            done = case_withdraw(
                by=cast(Person, request.user),
                case=case,
                reason=form.cleaned_data["reason"],
                at=timezone.now(),
                client_key=form.cleaned_data["client_key"],
            )
        except Refusal as refused:
            form.refuse(refused)
        else:
            what = _("Case %(reference)s is cancelled.") % {"reference": case.reference}
            told(request, f"{what} {_released(done)}".strip())
            return go_to(request, "case", case.pk)
    faults = faults_from(form) if form.is_bound else []
    context = {"case": case, "form": form, "faults": faults, "held": _held(case)}
    return answer_page(request, "cases/picks/cancel.html", context, status=422 if faults else 200)


def _proposed(request: HttpRequest, sites: QuerySet[Site]) -> TheatreList | None:
    """The list that the page is opened with, if the address names one that the person may book on."""
    number = whole(request.GET.get("list", ""))
    return TheatreList.objects.filter(pk=number, site__in=sites).first() if number else None


@get_or_post
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Move a case to another theatre, day or session."""
    case = _case(request, pk)
    by = cast(Person, request.user)
    data = request.POST if request.method == "POST" else None
    sites = sites_for(by=by, act="book_case")
    form = MoveForm(data, case=case, sites=sites, to=_proposed(request, sites))
    if not form.is_bound:
        still_booked(case)
    if form.is_bound and form.is_valid():
        facts = form.cleaned_data
        try:
            done = case_shift(
                by=by,
                case=case,
                theatre=facts["theatre"],
                day=facts["day"],
                session=facts["session"],
                position=facts["position"],
                starts_at=form.starts_at(),
                at=timezone.now(),
                client_key=facts["client_key"],
            )
        except Refusal as refused:
            form.refuse(refused)
        else:
            words = {"reference": done.case.reference, "theatre": done.case.list.theatre.name}
            what = _("Case %(reference)s is moved to %(theatre)s.") % words
            told(request, f"{what} {_released(done)}".strip(), done.notices)
            return go_to(request, "case", case.pk)
    faults = faults_from(form) if form.is_bound else []
    context = {"case": case, "form": form, "faults": faults, "held": _held(case)}
    return answer_page(request, "cases/picks/move.html", context, status=422 if faults else 200)
