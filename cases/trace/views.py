"""Pages that lead from a thing to all it touched: a set's history, a recall's cases."""

from typing import cast

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases.trace import notices, queries, words
from cases.usage.models import Fate
from trays.instruments.models import InstrumentSet
from trays.processing.models_recall import Recall
from trays.staff.access import fetch, sites_or_refuse
from trays.staff.models import Person
from trays.stock.models_notices import SafetyNotice
from trays.web.errors import NotThere
from trays.web.filters import GetForm
from trays.web.page import answer_page


class RoundFilter(GetForm):
    """The newest round to show."""

    round = forms.IntegerField(min_value=1, max_value=1_000_000, required=False)


@require_safe
def set_history(request: HttpRequest, code: str) -> HttpResponse:
    """Every round of a set, with its loads and the cases that had it."""
    rows = InstrumentSet.objects.select_related("version__design", "site")
    row = cast(
        InstrumentSet,
        fetch(rows if code.isprintable() else rows.none(), by=_by(request), act="see_sets", code=code),
    )
    until: int | None = RoundFilter(request.GET).chosen.get("round")
    found = queries.history(row, until=until)
    rounds = words.by_round(found)
    oldest = min((number for number, _lines in rounds), default=1)
    context = {
        "at": timezone.now(),
        "set": row,
        "rounds": rounds,
        "cases": sorted({(one.case_id, one.case) for one in found if one.case_id}, key=lambda case: case[1]),
        "older": oldest - 1,
        "newest": until is None,
    }
    return answer_page(request, "cases/trace/set_history.html", context)


@require_safe
def recall_cases(request: HttpRequest, pk: int) -> HttpResponse:
    """Which cases opened a pack of a recall, and which open cases counted on one."""
    rows = Recall.objects.select_related("site", "machine", "run")
    row = cast(Recall, fetch(rows, by=_by(request), act="see_processing", pk=pk))
    had = queries.cases_that_had(row)
    context = {
        "recall": row,
        "had": had,
        "opened": len({one.case.pk for one in had if one.opened}),
        "counted": queries.cases_that_counted(row),
    }
    return answer_page(request, "cases/trace/recall_cases.html", context)


@require_safe
def notice_cases(request: HttpRequest, pk: int) -> HttpResponse:
    """Which cases of the person's sites had a piece of the lots that a safety notice names."""
    by = _by(request)
    sites = sites_or_refuse(by=by, act="see_cases")
    row = SafetyNotice.objects.select_related("supplier").filter(pk=pk).first()
    if row is None:
        raise NotThere("not-there", _("There is no such notice."), _("Look for it in the list of notices."))
    brought = notices.brought_of(row, sites=sites)
    inside = (Fate.IMPLANTED, Fate.IMPLANTED_REMOVED)
    context = {
        "notice": row,
        "at": timezone.now(),
        "brought": brought,
        "implanted": len({one.case_id for one in brought if one.fate in inside}),
        "lots": row.lots.select_related("component").order_by("component__name", "lot"),
    }
    return answer_page(request, "cases/trace/notice_cases.html", context)


def _by(request: HttpRequest) -> Person:
    return cast(Person, request.user)
