"""Pages of recalls, of results that are owed, and of what packs lack."""

from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.processing import queries, recalling, shortfalls
from trays.processing.forms import AccountForm, ReadForm, SignForm
from trays.processing.models import Shortfall, ShortfallEnd
from trays.processing.models_machines import Indicator
from trays.processing.models_recall import Recall, RecallPack
from trays.processing.pages import done, key_of, new_key, person_of, status_of
from trays.staff.access import fetch, may, require, sites_or_refuse
from trays.staff.signing import signer
from trays.web.errors import Unreadable
from trays.web.page import answer_page, go_to


@require_safe
def indicator(request: HttpRequest, pk: int) -> HttpResponse:
    """One biological indicator: its load, and the result that is owed."""
    return _indicator_page(request, _indicator(request, pk))


@require_POST
def indicator_read(request: HttpRequest, pk: int) -> HttpResponse:
    """Take its result down; one that grew recalls what was released."""
    row = _indicator(request, pk)
    form = ReadForm(request.POST)

    def act() -> object:
        given = form.cleaned_data
        read = recalling.indicator_read(
            by=person_of(request), indicator=row, grew=given["result"] == "positive", scope=given["scope"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        if given["result"] == "positive":
            messages.warning(
                request, _("The indicator grew. What was released of this load is quarantined and recalled.")
            )
        return read

    return done(request, form, act, lambda: _indicator_page(request, row, form), "run", row.run_id)


def _indicator_page(request: HttpRequest, row: Indicator, form: forms.Form | None = None) -> HttpResponse:
    context = {
        "indicator": row,
        "run": row.run,
        "form": form or ReadForm(initial={**new_key(), "scope": "this_load"}),
        "may_work": may(by=person_of(request), act="process_packs", site_id=row.run.machine.site_id),
    }
    status = status_of({"read": form} if form else {})
    return answer_page(request, "trays/processing/indicator.html", context, status=status)


@require_safe
def recall_list(request: HttpRequest) -> HttpResponse:
    """Recalls of the person's sites, open ones first."""
    sites = sites_or_refuse(by=person_of(request), act="see_processing")
    return answer_page(request, "trays/processing/recalls.html", {"recalls": queries.recalls(sites=sites)})


@require_safe
def recall(request: HttpRequest, pk: int) -> HttpResponse:
    """One recall: where each pack is now, and how it was accounted for."""
    return _recall_page(request, _recall(request, pk))


@require_POST
def recall_account(request: HttpRequest, pk: int) -> HttpResponse:
    """Account for one pack."""
    rows = RecallPack.objects.select_related("recall__site", "pack")
    row = cast(
        RecallPack,
        fetch(rows, by=person_of(request), act="see_processing", site="recall__site_id", pk=pk),
    )
    form = AccountForm(request.POST)

    def act() -> object:
        given = form.cleaned_data
        return recalling.pack_account(
            by=person_of(request), sought=row, outcome=given["outcome"], note=given["note"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    again = _recall(request, row.recall_id)
    return done(request, form, act, lambda: _recall_page(request, again, account=form), "recall", again.pk)


@require_POST
def recall_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a recall, signed."""
    row = _recall(request, pk)
    require(by=person_of(request), act="close_recall", site_id=row.site_id)
    form = SignForm(request.POST)

    def act() -> object:
        by = signer(person=person_of(request), pin=form.cleaned_data["pin"])
        return recalling.recall_close(
            by=by, recall=row, at=timezone.now(), client_key=form.cleaned_data["client_key"]
        )

    return done(request, form, act, lambda: _recall_page(request, row, close=form), "recall", row.pk)


@require_safe
def shortfall_list(request: HttpRequest) -> HttpResponse:
    """What packs lack, from when it was noticed until it is found, replaced or written off."""
    by = person_of(request)
    sites = sites_or_refuse(by=by, act="see_processing")
    rows = [
        (row, may(by=by, act="process_packs", site_id=row.pack.set.site_id))
        for row in queries.open_shortfalls(sites=sites)
    ]
    return answer_page(request, "trays/processing/shortfalls.html", {"rows": rows, **new_key()})


@require_POST
def shortfall_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Found, or written off."""
    rows = Shortfall.objects.select_related("pack__set__site")
    row = cast(
        Shortfall, fetch(rows, by=person_of(request), act="see_processing", site="pack__set__site_id", pk=pk)
    )
    how = request.POST.get("how", "")
    if how not in (ShortfallEnd.FOUND, ShortfallEnd.WRITTEN_OFF):
        raise Unreadable("no-such-end", _("This is no way to end it."), _("Press one of the two buttons."))
    shortfalls.shortfall_end(
        by=person_of(request), shortfall=row, how=how, at=timezone.now(), client_key=key_of(request)
    )
    return go_to(request, "shortfalls")


def _recall_page(request: HttpRequest, row: Recall, **given: forms.Form) -> HttpResponse:
    by = person_of(request)
    packs = queries.recall_packs(row)
    context: dict[str, Any] = {
        "recall": row,
        "packs": packs,
        "still": sum(1 for one in packs if one.outcome == "open"),
        "account_form": given.get("account"),
        "close_form": given.get("close") or SignForm(initial=new_key()),
        "may_recall": may(by=by, act="recall_packs", site_id=row.site_id),
        "may_close": may(by=by, act="close_recall", site_id=row.site_id),
    }
    return answer_page(request, "trays/processing/recall.html", context, status=status_of(given))


def _recall(request: HttpRequest, pk: int) -> Recall:
    rows = Recall.objects.select_related("site", "machine", "run", "opened_by", "closed_by", "signature")
    return cast(Recall, fetch(rows, by=person_of(request), act="see_processing", pk=pk))


def _indicator(request: HttpRequest, pk: int) -> Indicator:
    rows = Indicator.objects.select_related("run__machine__site", "run__programme", "read_by")
    by = person_of(request)
    return cast(Indicator, fetch(rows, by=by, act="see_processing", site="run__machine__site_id", pk=pk))
