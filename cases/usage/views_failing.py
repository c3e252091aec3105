"""A set fails on the table: theatre says so, sterile services answer, the answer is shown in theatre."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, cast

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from cases.bookings.models import Case
from cases.counts.queries_room import rooms_of
from cases.usage import queries
from cases.usage.failing import set_fail, set_fail_answer
from cases.usage.forms_closing import AnswerForm, SetFailForm
from cases.usage.models_closing import FailureCause, SetFailure
from cases.usage.pages import case_of, surround
from trays.instruments.models import Pack, PackState
from trays.parties.models import Site
from trays.places.choose import site_choice
from trays.processing.pages import done, new_key, person_of, status_of
from trays.staff.access import fetch, may
from trays.staff.models import Person
from trays.web.page import answer_page

LONGEST_KEY = 19
SEEN_INSIDE = (FailureCause.DEBRIS, FailureCause.INDICATOR)
"""What can be seen only once the pack is open."""
SHOWN_SINCE = timedelta(hours=12)
"""So long an answered call stands on the page of work."""


@require_http_methods(["GET", "HEAD", "POST"])
def failed(request: HttpRequest, pk: int) -> HttpResponse:
    """Which pack is off the field and why; what could come instead; what sterile services answered."""
    case = case_of(request, pk)
    packs = _packs(case)
    if request.method != "POST":
        return _page(request, case, packs)
    form = SetFailForm(request.POST, packs=packs)
    asked = request.POST.get("wanted", "")

    def act() -> None:
        given = form.cleaned_data
        pack = given["pack"]
        wanted = next(
            (
                one.pack
                for one in queries.replacements(case, pack, at=timezone.now())
                if asked == str(one.pack.pk)
            ),
            None,
        )
        set_fail(
            by=person_of(request), case=case, pack=pack, cause=given["cause"], words=given["words"],
            opened=pack.state == PackState.OPENED or given["cause"] in SEEN_INSIDE, wanted=wanted,
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    def again() -> HttpResponse:
        return _page(request, case, packs, fail=form)

    return done(request, form, act, again, "theatre-set-fail", case.pk)


@require_safe
def answers(request: HttpRequest, pk: int) -> HttpResponse:
    """Only what failed and what was answered: asked again every few seconds while an answer is owed."""
    case = case_of(request, pk)
    context = {"case": case, "failures": queries.failures_of(case)}
    return answer_page(request, "cases/usage/_failures.html", context)


@require_POST
def answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Sterile services say what comes."""
    failure = cast(
        SetFailure,
        fetch(
            SetFailure.objects.select_related("case__list__theatre", "site", "pack__set__version"),
            by=person_of(request), act="answer_theatre", pk=pk,
        ),
    )  # fmt: skip
    case = Case.objects.select_related("site", "list").get(pk=failure.case_id)
    ready = [one.pack for one in queries.replacements(case, failure.pack, at=timezone.now())]
    form = AnswerForm(request.POST, packs=ready, auto_id=f"answer{failure.pk}_%s")

    def act() -> None:
        given = form.cleaned_data
        set_fail_answer(
            by=person_of(request), failure=failure, answer=given["answer"], words=given["words"],
            replacement=given["replacement"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    def again() -> HttpResponse:
        context = calls(failure.site, person_of(request), timezone.now(), given=form, of=failure.pk)
        return answer_page(request, "cases/usage/calls.html", context, status=422)

    return done(request, form, act, again, "table-failures")


@require_safe
def table_failures(request: HttpRequest) -> HttpResponse:
    """The calls from theatre at a site; as a part, all of them or those that came after one that is shown."""
    by = person_of(request)
    choice = site_choice(request, act="see_processing", by=by)
    after = request.GET.get("after", "")
    newer = int(after) if after.isascii() and after.isdecimal() and len(after) < LONGEST_KEY else 0
    context = {**calls(choice.site, by, timezone.now(), after=newer), "sites": choice.links}
    part = "cases/usage/_calls_lines.html" if newer else "cases/usage/_calls.html"
    return answer_page(request, "cases/usage/calls.html", context, part=part)


def calls(
    site: Site, by: Person, at: datetime, *, given: forms.Form | None = None, of: int = 0, after: int = 0
) -> dict[str, Any]:
    """What waits for sterile services' answer at a site, with a form each where the person may answer.

    One query; eight more for each call that waits.
    """
    rows = queries.table_failures(site, since=at - SHOWN_SINCE)
    mine = may(by=by, act="answer_theatre", site_id=site.pk)
    shown: list[tuple[SetFailure, forms.Form | None]] = []
    for row in rows:
        if row.pk <= after:
            continue
        form: forms.Form | None = None
        if mine and not row.answer:
            form = given if given is not None and row.pk == of else _answer_form(row, at)
        shown.append((row, form))
    return {
        "calls": shown, "calls_owed": sum(not row.answer for row in rows), "call_site": site, "at": at,
        "newest": max((row.pk for row in rows), default=after), "after": after,
    }  # fmt: skip


def _answer_form(row: SetFailure, at: datetime) -> AnswerForm:
    ready = [one.pack for one in queries.replacements(row.case, row.pack, at=at)]
    first = {**new_key(), "replacement": row.wanted_id}
    return AnswerForm(packs=ready, initial=first, auto_id=f"answer{row.pk}_%s")


def _packs(case: Case) -> list[Pack]:
    """The packs that the case has in the room or on its trolley."""
    room = rooms_of([case])[case.pk]
    keys = [pack.pk for pack in room.packs if pack.here or pack.state == "picked"]
    failed = {row.pack_id for row in queries.failures_of(case)}
    rows = Pack.objects.filter(pk__in=keys).exclude(pk__in=failed)
    whole = rows.select_related("set__version__design", "set__site", "place")
    return list(whole.order_by("set__code", "tray"))


def _page(request: HttpRequest, case: Case, packs: Sequence[Pack], **given: forms.Form) -> HttpResponse:
    at = timezone.now()
    chosen = request.GET.get("pack") or (given["fail"].data.get("pack") if given else "")
    pack = next((one for one in packs if str(one.pk) == chosen), None)
    form = given.get("fail") or SetFailForm(
        packs=packs, initial={**new_key(), "pack": pack.pk if pack else None}
    )
    context = {
        **surround(request, case, at),
        "packs": packs,
        "pack": pack,
        "ready": queries.replacements(case, pack, at=at) if pack is not None else (),
        "form": form,
        "failures": queries.failures_of(case),
    }
    return answer_page(request, "cases/usage/set_failure.html", context, status=status_of(given))
