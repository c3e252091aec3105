"""Pages of codes that nobody knew: said what they are, corrected, approved or turned down."""

from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.catalogue.models_drafts import CatalogueDraft
from trays.places.choose import site_choice
from trays.staff.access import fetch, may, sites_or_refuse
from trays.staff.signed_in import person_of
from trays.stock.drafts import draft_approve, draft_correct, draft_raise, draft_turn_down
from trays.stock.forms import ReasonForm
from trays.stock.forms_receiving import CorrectForm, DraftArrivesForm
from trays.stock.queries_pages import drafts
from trays.stock.scanning import setting_of
from trays.web.acting import KeyForm, done, new_key, status_of
from trays.web.page import answer_page

READ = ("lot", "serial", "expires", "raw")
SEES = "see_stock"
ADDS = "add_catalogue"


@require_safe
def draft_list(request: HttpRequest) -> HttpResponse:
    """Drafts of the person's sites, open ones first."""
    by = person_of(request)
    sites = sites_or_refuse(by=by, act=SEES)
    context = {
        "drafts": drafts(sites=sites),
        "may_add": any(may(by=by, act=ADDS, site_id=site.pk) for site in sites),
    }
    return answer_page(request, "trays/stock/drafts.html", context)


@require_safe
def draft_new(request: HttpRequest) -> HttpResponse:
    """The short form for a code that is not on file."""
    return _new_page(request)


@require_POST
def draft_new_do(request: HttpRequest) -> HttpResponse:
    """Say what the code is; what came in of it is kept apart."""
    by = person_of(request)
    site = site_choice(request, act=ADDS, by=by).site
    form = DraftArrivesForm(request.POST, site=site)

    def act() -> None:
        described = form.described()
        draft = draft_raise(
            by=by, site=site, described=described, came=form.came(described), at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip
        words = {"code": draft.code}
        messages.success(
            request, _("Code %(code)s waits for approval; keep what came of it apart meanwhile.") % words
        )

    return done(request, form, act, lambda: _new_page(request, form), "catalogue-drafts")


@require_safe
def draft(request: HttpRequest, pk: int) -> HttpResponse:
    """One draft: what it is said to be, what waits for it, and the decision."""
    return _page(request, _draft(request, pk, SEES))


@require_POST
def draft_correct_do(request: HttpRequest, pk: int) -> HttpResponse:
    """Say otherwise what it is."""
    row = _draft(request, pk, ADDS)
    form = CorrectForm(request.POST)

    def act() -> None:
        draft_correct(
            by=person_of(request), draft=row, described=form.described(), at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, correct=form), "catalogue-draft", row.pk)


@require_POST
def draft_approve_do(request: HttpRequest, pk: int) -> HttpResponse:
    """Put it on file; what waits is stock."""
    row = _draft(request, pk, "approve_catalogue")
    form = KeyForm(request.POST)

    def act() -> None:
        draft_approve(
            by=person_of(request), draft=row, at=timezone.now(), client_key=form.cleaned_data["client_key"]
        )

    return done(request, form, act, lambda: _page(request, row, approve=form), "catalogue-draft", row.pk)


@require_POST
def draft_turn_down_do(request: HttpRequest, pk: int) -> HttpResponse:
    """Turn it down with a reason."""
    row = _draft(request, pk, "approve_catalogue")
    form = ReasonForm(request.POST)

    def act() -> None:
        draft_turn_down(
            by=person_of(request), draft=row, reason=form.cleaned_data["reason"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, turn_down=form), "catalogue-draft", row.pk)


def _new_page(request: HttpRequest, form: forms.Form | None = None) -> HttpResponse:
    by = person_of(request)
    site = site_choice(request, act=ADDS, by=by).site
    setting = setting_of(request.GET, by=by)
    kept: dict[str, Any] = {name: request.GET[name][:6000] for name in READ if name in request.GET}
    kept["code"] = request.GET.get("item", "")[:40]
    if setting is not None:
        kept |= {"place": setting.place, "tenure": setting.tenure, "supplier": setting.supplier}
    context = {
        "site": site,
        "form": form or DraftArrivesForm(site=site, initial={**new_key(), **kept}),
    }
    return answer_page(
        request, "trays/stock/draft_new.html", context, status=status_of({"form": form} if form else {})
    )


def _page(request: HttpRequest, row: CatalogueDraft, **given: forms.Form) -> HttpResponse:
    by = person_of(request)
    said = {
        "code": row.code, "quantity": row.quantity, "known": row.component.code if row.component else "",
        "family": row.family, "new_family": row.new_family, "kind": row.kind, "name": row.name,
        "size": row.size, "second": row.second, "side": row.side, "supplier": row.supplier,
    }  # fmt: skip
    context: dict[str, Any] = {
        "draft": row,
        "arrivals": row.arrivals.select_related("place", "owner", "by").order_by("-at", "-pk"),
        "correct_form": given.get("correct") or CorrectForm(initial={**new_key(), **said}),
        "approve_form": given.get("approve") or KeyForm(initial=new_key()),
        "turn_down_form": given.get("turn_down") or ReasonForm(initial=new_key()),
        "may_add": may(by=by, act=ADDS, site_id=row.site_id),
        "may_approve": may(by=by, act="approve_catalogue", site_id=row.site_id),
        "own": row.raised_by_id == by.pk,
    }
    return answer_page(request, "trays/stock/draft.html", context, status=status_of(given))


def _draft(request: HttpRequest, pk: int, act: str) -> CatalogueDraft:
    rows = CatalogueDraft.objects.select_related(
        "site", "family", "component__supplier", "supplier", "raised_by", "decided_by"
    )
    return cast(CatalogueDraft, fetch(rows, by=person_of(request), act=act, pk=pk))
