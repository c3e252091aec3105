"""The pages of agreements: a site's consignment, one agreement with its items, its counts and its end."""

from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from trays.loans import queries_agreements as queries
from trays.loans.agreeing import agreement_count, agreement_end, counted_components
from trays.loans.forms import AgreementCountForm, AgreementEndForm
from trays.loans.models_agreements import Agreement
from trays.loans.saying_agreements import agreement_says, agreements_say
from trays.loans.tables import AgreementTable, agreement_rows
from trays.parties.queries import site_day
from trays.places.choose import site_choice
from trays.processing.pages import person_of
from trays.staff.access import fetch, may
from trays.web.acting import done, new_key, status_of
from trays.web.page import answer_page
from trays.web.table import answer_table


@require_safe
def agreements(request: HttpRequest) -> HttpResponse:
    """A site's agreements: what is short, what is to be exchanged, which count is due."""
    by, at = person_of(request), timezone.now()
    choice = site_choice(request, act="see_loans", by=by)
    site = choice.site
    lines = queries.against_agreement(site=site, at=at)
    due = queries.counts_due(site=site, at=at)
    context = {
        "site": site,
        "sites": choice.links,
        "at": at,
        "says": agreements_say(due, lines),
        "rows": [(one, queries.summed(lines, one.agreement.pk)) for one in due],
        "exchange": queries.to_exchange(site=site, at=at),
    }
    return answer_page(request, "trays/loans/agreements.html", context)


@require_safe
def agreement(request: HttpRequest, pk: int) -> HttpResponse:
    """One agreement: each item agreed against what is on the shelf and was used, with its price."""
    return _page(request, _agreement(request, pk, "see_loans"))


@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """End an agreement with its last day."""
    row = _agreement(request, pk, "keep_agreements")
    form = AgreementEndForm(request.POST)

    def act() -> None:
        agreement_end(
            by=person_of(request), agreement=row, last=form.cleaned_data["last"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, end=form), "agreement", row.pk)


@require_http_methods(["GET", "HEAD", "POST"])
def count(request: HttpRequest, pk: int) -> HttpResponse:
    """Count what an agreement has on the shelf, together with the supplier or alone."""
    row = _agreement(request, pk, "count_stock")
    components = counted_components(row)
    if request.method != "POST":
        return _count_page(request, row, AgreementCountForm(initial=new_key(), components=components))
    form = AgreementCountForm(request.POST, components=components)

    def act() -> None:
        given = form.cleaned_data
        made = agreement_count(
            by=person_of(request), agreement=row, seen=form.seen(), with_supplier=given["with_supplier"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        differs = queries.differences_of(made)
        said = _("The count is kept. %(n)s items differ from the record.") % {"n": len(differs)}
        messages.success(request, said if differs else _("The count is kept. It agrees with the record."))

    def again() -> HttpResponse:
        return _count_page(request, row, form, bad=True)

    return done(request, form, act, again, "agreement", row.pk)


def _count_page(
    request: HttpRequest, row: Agreement, form: AgreementCountForm, *, bad: bool = False
) -> HttpResponse:
    context = {"agreement": row, "at": timezone.now(), "form": form, "rows": form.rows()}
    status = status_of({"count": form} if bad else {})
    return answer_page(request, "trays/loans/agreement_count.html", context, status=status)


def _page(request: HttpRequest, row: Agreement, **given: forms.Form) -> HttpResponse:
    by, at = person_of(request), timezone.now()
    lines = [one for one in queries.against_agreement(site=row.site, at=at) if one.agreement_id == row.pk]
    due = next((one for one in queries.counts_due(site=row.site, at=at) if one.agreement.pk == row.pk), None)
    newest = queries.newest_count(row)
    used = queries.used_since(agreement=row, since=newest.at if newest else None)
    context: dict[str, Any] = {
        "agreement": row,
        "at": at,
        "in_force": due is not None,
        "says": agreement_says(row, due, lines, site_day(row.site, at)),
        "due": due,
        "newest": newest,
        "differences": queries.differences_of(newest) if newest else (),
        "may_count": due is not None and may(by=by, act="count_stock", site_id=row.site_id),
        "may_end": due is not None and may(by=by, act="keep_agreements", site_id=row.site_id),
        "end_form": given.get("end") or AgreementEndForm(initial=new_key()),
    }
    table = AgreementTable(agreement_rows(lines, used))
    return answer_table(
        request, table, "trays/loans/agreement.html", context, file_name=f"agreement-{row.code}",
        status=status_of(given),
    )  # fmt: skip


def _agreement(request: HttpRequest, pk: int, act: str) -> Agreement:
    rows = Agreement.objects.select_related("site", "supplier")
    return cast(Agreement, fetch(rows, by=person_of(request), act=act, pk=pk))
