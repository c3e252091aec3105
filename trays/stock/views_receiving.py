"""The page where goods come in that no order speaks of: by scan, or by hand from the label."""

from datetime import timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.catalogue.models import FamilyKind
from trays.parties.models import Site, Tenure
from trays.parties.queries import site_day
from trays.places.choose import site_choice
from trays.staff.signed_in import person_of
from trays.stock.forms_receiving import ReceiveForm, StraightForm
from trays.stock.queries_pages import newest_arrivals
from trays.stock.scanning import ACT, Setting, address, setting_of
from trays.stock.services import pile_receive, unit_receive
from trays.web.acting import done, new_key, status_of
from trays.web.page import answer_page

READ = ("item", "lot", "serial", "expires", "raw")
RECENT = timedelta(hours=12)


@require_safe
def receiving(request: HttpRequest) -> HttpResponse:
    """The next box: what its label says, where it goes, whose it is."""
    return _page(request)


@require_POST
def receiving_do(request: HttpRequest) -> HttpResponse:
    """Take in what the form says; the address keeps where the next one goes."""
    by = person_of(request)
    site = site_choice(request, act=ACT, by=by).site
    form = ReceiveForm(request.POST, site=site)

    def act() -> None:
        given = form.cleaned_data
        goods, count = form.goods()
        parts: dict[str, Any] = {
            "by": by, "site": site, "goods": goods, "raw": given["raw"], "at": timezone.now(),
            "client_key": given["client_key"],
        }  # fmt: skip
        if goods.component.family.kind == FamilyKind.CONSUMABLE:
            pile_receive(pieces=count, **parts)
        else:
            unit_receive(count=count, condition=given["condition"], note=given["note"], **parts)
        words = {"count": count, "item": goods.component, "lot": goods.serial or goods.lot}
        messages.success(request, _("Received: %(count)s × %(item)s, %(lot)s.") % words)

    return done(request, form, act, lambda: _page(request, form), _next_box(form, site))


def _next_box(form: ReceiveForm, site: Site) -> str:
    """The page again, empty but for where things go."""
    if not form.is_valid():
        return ""
    given = form.cleaned_data
    return address("receiving", Setting(site, given["place"], given["tenure"], given["supplier"], False))


def _page(request: HttpRequest, form: forms.Form | None = None) -> HttpResponse:
    by, at = person_of(request), timezone.now()
    choice = site_choice(request, act=ACT, by=by)
    site = choice.site
    setting = setting_of(request.GET, by=by) or Setting(site, None, Tenure.OWNED, None, False)
    kept = {"place": setting.place, "tenure": setting.tenure, "supplier": setting.supplier}
    read = {name: request.GET[name][:6000] for name in READ if request.GET.get(name)}
    context: dict[str, Any] = {
        "site": site,
        "sites": choice.links,
        "at": at,
        "day": site_day(site, at),
        "setting": setting,
        "here": address("receiving", setting),
        "query": address("receiving", setting).partition("?")[2],
        "loose": address("receiving", Setting(site, setting.place, setting.tenure, setting.supplier, False)),
        "read": read,
        "form": form or ReceiveForm(site=site, initial={**new_key(), **kept, **read}),
        "straight_form": StraightForm(site=site, initial=kept),
        "unknown": _unknown(form, setting),
        "arrivals": newest_arrivals(site=site, since=at - RECENT),
    }
    return answer_page(
        request, "trays/stock/receiving.html", context, status=status_of({"form": form} if form else {})
    )


def _unknown(form: forms.Form | None, setting: Setting) -> str:
    """Where a code that is not on file is added, filled from what was typed; "" if it was another fault."""
    if form is None or not any(error.code == "unknown-item" for error in form.non_field_errors().as_data()):
        return ""
    typed = {name: str(form.data.get(name, "")) for name in ("item", "lot", "serial", "expires", "raw")}
    return address("catalogue-draft-new", setting, typed=typed)

