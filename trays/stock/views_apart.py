"""Pages of what is kept from use, of what goes back to suppliers, and of the goods desk itself."""

from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.parties.queries import site_day
from trays.places.choose import SiteChoice, site_choice
from trays.staff.access import fetch, may
from trays.staff.signed_in import person_of
from trays.stock import apart, returning
from trays.stock.forms import ChosenForm
from trays.stock.forms_moves import ApartForm, NoteForm, PolicyForm, ReturnForm
from trays.stock.models_apart import SupplierReturn
from trays.stock.policies import Limits, policy_of, stock_policy_set
from trays.stock.queries_pages import returns, set_apart, waiting
from trays.stock.which import units_on_hand
from trays.web.acting import done, new_key, status_of
from trays.web.page import answer_page

SEES = "see_stock"


@require_safe
def goods(request: HttpRequest) -> HttpResponse:
    """The goods desk: every page of stores, and what waits there."""
    by, at = person_of(request), timezone.now()
    choice = site_choice(request, act=SEES, by=by)
    context = {
        "site": choice.site,
        "sites": choice.links,
        "at": at,
        "waits": waiting(site=choice.site, day=site_day(choice.site, at)),
        "receives": may(by=by, act="receive_stock", site_id=choice.site.pk),
        "moves": may(by=by, act="move_stock", site_id=choice.site.pk),
        "sets_policy": may(by=by, act="set_stock_policy", site_id=choice.site.pk),
    }
    return answer_page(request, "trays/stock/goods.html", context)


@require_safe
def apart_list(request: HttpRequest) -> HttpResponse:
    """What is kept from use, and what goes back."""
    return _page(request, _choice(request))


@require_POST
def apart_set(request: HttpRequest) -> HttpResponse:
    """Keep units from use, by their label."""
    choice = _choice(request, "quarantine_stock")
    form = ApartForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        units = units_on_hand(
            site=choice.site, component=form.component(), lot=given["lot"], serial=given["serial"],
            count=given["count"],
        )  # fmt: skip
        apart.units_set_apart(
            by=person_of(request), units=units, cause=given["cause"], note=given["note"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        messages.success(request, _("Set apart: %(n)s × %(unit)s.") % {"n": len(units), "unit": units[0]})

    return done(request, form, act, lambda: _page(request, choice, apart=form), _address(choice))


@require_POST
def apart_put_back(request: HttpRequest) -> HttpResponse:
    """Put ticked units back on their shelves."""
    choice = _choice(request, "lift_quarantine")
    form = ChosenForm(request.POST, site=choice.site)

    def act() -> None:
        apart.units_put_back(
            by=person_of(request), units=list(form.cleaned_data["units"]), at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, choice, chosen=form), _address(choice))


@require_POST
def apart_dispose(request: HttpRequest) -> HttpResponse:
    """Dispose of ticked units of the hospital's own."""
    choice = _choice(request, "adjust_stock")
    form = ChosenForm(request.POST, site=choice.site)

    def act() -> None:
        units = list(form.cleaned_data["units"])
        day = site_day(choice.site, timezone.now())
        expired = all(unit.expires is not None and unit.expires < day for unit in units)
        apart.units_dispose(
            by=person_of(request), units=units, reason="out_of_date" if expired else "damaged",
            at=timezone.now(), client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, choice, chosen=form), _address(choice))


@require_POST
def return_make(request: HttpRequest) -> HttpResponse:
    """Gather ticked units for a return to their supplier."""
    choice = _choice(request, "move_stock")
    form = ReturnForm(request.POST, site=choice.site)

    def act() -> None:
        given = form.cleaned_data
        returning.return_make(
            by=person_of(request), units=list(given["units"]), why=given["why"], note=given["note"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, choice, back=form), _address(choice))


@require_POST
def return_send(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a return."""
    row = _return(request, pk)
    form = NoteForm(request.POST)
    choice = _choice(request)

    def act() -> None:
        returning.return_send(
            by=person_of(request), back=row, note=form.cleaned_data["note"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, choice, send=form), _address(choice))


@require_POST
def return_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a return up."""
    row = _return(request, pk)
    form = NoteForm(request.POST)
    choice = _choice(request)

    def act() -> None:
        returning.return_cancel(
            by=person_of(request), back=row, note=form.cleaned_data["note"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, choice, cancel=form), _address(choice))


@require_safe
def policy(request: HttpRequest) -> HttpResponse:
    """The site's limits for its stock."""
    return _policy_page(request)


@require_POST
def policy_set(request: HttpRequest) -> HttpResponse:
    """Set them."""
    by = person_of(request)
    site = site_choice(request, act="set_stock_policy", by=by).site
    form = PolicyForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        limits = Limits(given["adjustment_limit"], given["short_dated_days"], given["warning_days"])
        stock_policy_set(
            by=by, site=site, limits=limits, at=timezone.now(), client_key=given["client_key"]
        )
        messages.success(request, _("Set."))

    return done(request, form, act, lambda: _policy_page(request, form), f"/stock-policy/?site={site.code}")


def _policy_page(request: HttpRequest, form: forms.Form | None = None) -> HttpResponse:
    choice = site_choice(request, act="set_stock_policy", by=person_of(request))
    row = policy_of(choice.site.pk)
    said = {name: getattr(row, name) for name in ("adjustment_limit", "short_dated_days", "warning_days")}
    context = {
        "site": choice.site,
        "sites": choice.links,
        "form": form or PolicyForm(initial={**new_key(), **said}),
    }
    return answer_page(
        request, "trays/stock/policy.html", context, status=status_of({"form": form} if form else {})
    )


def _page(request: HttpRequest, choice: SiteChoice, **given: forms.Form) -> HttpResponse:
    by, at, site = person_of(request), timezone.now(), choice.site
    context: dict[str, Any] = {
        "site": site,
        "sites": choice.links,
        "at": at,
        "day": site_day(site, at),
        "apart": set_apart(sites=[site]),
        "returns": returns(sites=[site]),
        "may_set": may(by=by, act="quarantine_stock", site_id=site.pk),
        "may_put_back": may(by=by, act="lift_quarantine", site_id=site.pk),
        "may_dispose": may(by=by, act="adjust_stock", site_id=site.pk),
        "may_return": may(by=by, act="move_stock", site_id=site.pk),
        "key": new_key()["client_key"],
        "faulty": [form for name, form in given.items() if name != "apart"],
        "apart_form": given.get("apart") or ApartForm(initial=new_key()),
        "return_form": given.get("back") or ReturnForm(site=site, initial=new_key()),
    }
    return answer_page(request, "trays/stock/apart.html", context, status=status_of(given))


def _choice(request: HttpRequest, act: str = SEES) -> SiteChoice:
    return site_choice(request, act=act, by=person_of(request))


def _address(choice: SiteChoice) -> str:
    return f"/set-apart/?site={choice.site.code}"


def _return(request: HttpRequest, pk: int) -> SupplierReturn:
    rows = SupplierReturn.objects.select_related("site", "supplier")
    return cast(SupplierReturn, fetch(rows, by=person_of(request), act="move_stock", pk=pk))
