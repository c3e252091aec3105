"""Pages of safety notices: opened, each unit accounted for, closed."""

from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.places.choose import site_choice
from trays.staff.access import may, require, sites_for, sites_or_refuse
from trays.staff.signed_in import person_of
from trays.staff.signing import signer
from trays.stock import noticing
from trays.stock.forms_moves import CloseNoticeForm, NoticeAccountForm, NoticeForm
from trays.stock.models_notices import NoticeOutcome, NoticeUnit, SafetyNotice
from trays.stock.notices_open import piles_named
from trays.stock.queries_pages import notices
from trays.web.acting import done, new_key, status_of
from trays.web.errors import NotThere
from trays.web.page import answer_page

ACT = "recall_stock"
SEES = "see_stock"


@require_safe
def notice_list(request: HttpRequest) -> HttpResponse:
    """All notices, open ones first; and the form for a new one."""
    return _list_page(request)


@require_POST
def notice_open(request: HttpRequest) -> HttpResponse:
    """Open a notice: everything of its lots is set apart at once."""
    by = person_of(request)
    site = site_choice(request, act=ACT, by=by).site
    form = NoticeForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        made = noticing.notice_open(
            by=by, site=site, supplier=given["supplier"], lots=form.named(), reason=given["reason"],
            reference=given["letter"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        words = {"number": made.number, "count": made.units.count()}
        messages.success(request, _("Notice %(number)s: %(count)s units found.") % words)

    return done(request, form, act, lambda: _list_page(request, form), "safety-notices")


@require_safe
def notice(request: HttpRequest, pk: int) -> HttpResponse:
    """One notice: each unit, where it is, and how it was accounted for."""
    return _page(request, _notice(request, pk))


@require_POST
def notice_account(request: HttpRequest, pk: int) -> HttpResponse:
    """Account for one unit."""
    sites = sites_or_refuse(by=person_of(request), act=ACT)
    rows = NoticeUnit.objects.select_related("notice", "unit__site").filter(unit__site__in=sites, pk=pk)
    sought = rows.first() or _not_there()
    row = _notice(request, sought.notice_id)
    form = NoticeAccountForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        noticing.notice_account(
            by=person_of(request), sought=sought, outcome=given["outcome"], note=given["note"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, account=form), "safety-notice", row.pk)


@require_POST
def notice_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a notice, signed."""
    row = _notice(request, pk)
    require(by=person_of(request), act="close_recall", site_id=row.site_id)
    form = CloseNoticeForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        by = signer(person=person_of(request), pin=given["pin"])
        noticing.notice_close(
            by=by, notice=row, conclusion=given["conclusion"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, close=form), "safety-notice", pk)


def _list_page(request: HttpRequest, form: forms.Form | None = None) -> HttpResponse:
    by = person_of(request)
    sites_or_refuse(by=by, act=SEES)
    opens = list(sites_for(by=by, act=ACT))
    context = {
        "notices": notices(),
        "new_form": (form or NoticeForm(initial=new_key())) if opens else None,
    }
    return answer_page(
        request, "trays/stock/notices.html", context, status=status_of({"form": form} if form else {})
    )


def _page(request: HttpRequest, row: SafetyNotice, **given: forms.Form) -> HttpResponse:
    by = person_of(request)
    rows = row.units.select_related("unit__component", "unit__place", "unit__site", "outcome_by", "site_then")
    units = list(rows.order_by("unit__site__name", "unit__component__name", "unit__lot", "pk"))
    seen = set(sites_for(by=by, act=SEES))
    context: dict[str, Any] = {
        "notice": row,
        "at": timezone.now(),
        "lots": row.lots.select_related("component").order_by("component__name", "lot"),
        "units": [
            (
                one,
                may(by=by, act=ACT, site_id=one.unit.site_id),
                may(by=by, act="close_recall", site_id=one.unit.site_id),
            )
            for one in units
        ],
        "piles": piles_named(row) if row.closed_at is None else (),
        "elsewhere": sum(one.unit.site not in seen for one in units),
        "still": sum(one.outcome == NoticeOutcome.OPEN for one in units),
        "may_close": may(by=by, act="close_recall", site_id=row.site_id),
        "account_form": given.get("account"),
        "close_form": given.get("close") or CloseNoticeForm(initial=new_key()),
    }
    return answer_page(request, "trays/stock/notice.html", context, status=status_of(given))


def _notice(request: HttpRequest, pk: int) -> SafetyNotice:
    """Notices hold at every site, so whoever sees stock anywhere sees them."""
    sites_or_refuse(by=person_of(request), act=SEES)
    rows = SafetyNotice.objects.select_related("supplier", "site", "opened_by", "closed_by", "signature")
    return cast(SafetyNotice, rows.filter(pk=pk).first() or _not_there())


def _not_there() -> Any:
    raise NotThere(
        "not-there", _("There is nothing here that you may see."), _("Go back, or look for it in the list.")
    )
