"""The page of units that will expire before they are likely to be used."""

from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from cases.reorders.expiring import units_exchange
from cases.reorders.expiry import Expiring, How, expiring_at
from cases.reorders.forms import ExpiryFilter
from cases.reorders.tables_expiry import ExpiryTable, expiry_lines
from cases.reorders.views_ordering import drafted
from trays.parties.models import Site
from trays.places.choose import site_choice
from trays.processing.pages import key_of, new_key, person_of
from trays.staff.access import fetch, may
from trays.staff.models import Person
from trays.stock.apart import units_use_first
from trays.stock.models import Unit
from trays.stock.policies import policy_of
from trays.stock.transferring import transfer_make
from trays.web.acting import KeyForm
from trays.web.errors import NotThere, Unreadable
from trays.web.filters import FilterLink
from trays.web.numbers import whole
from trays.web.page import go_to
from trays.web.table import answer_table


@require_http_methods(["GET", "HEAD", "POST"])
def expiry(request: HttpRequest) -> HttpResponse:
    """What will expire at a site; pressed, it is used first, exchanged or sent on."""
    by = person_of(request)
    if request.method == "POST":
        return _do(request, by)
    choice = site_choice(request, act="see_reorders", by=by)
    at = timezone.now()
    found = expiring_at(site=choice.site, at=at, others=others_of(choice.site))
    form = ExpiryFilter(request.GET)
    shown = found if form.chosen.get("show") == "all" else [one for one in found if one.likely_lost]
    lost = sum(1 for one in found if one.likely_lost)
    may_act = may(by=by, act="move_stock", site_id=choice.site.pk)
    context = {
        "at": at,
        "site": choice.site,
        "sites": choice.links,
        "says": _says(found, policy_of(choice.site.pk).warning_days),
        "which": _which(form, lost, len(found)),
        "key_form": KeyForm(initial=new_key()),
        "may_act": may_act,
    }
    table = ExpiryTable(expiry_lines(shown, may_act=may_act))
    return answer_table(
        request, table, "cases/reorders/expiry.html", context, file_name=f"expiry-{choice.site.code}"
    )


def others_of(site: Site) -> list[Site]:
    """The other sites of the same hospital."""
    return list(Site.objects.filter(party=site.party).exclude(pk=site.pk).order_by("name"))


def _do(request: HttpRequest, by: Person) -> HttpResponse:
    how, unit, target = _given(request)
    at = timezone.now()
    if how is How.FIRST:
        units_use_first(by=by, units=[unit], at=at, client_key=key_of(request))
        said = _("Marked to be used first: %(unit)s.") % {"unit": unit}
    elif how is How.EXCHANGE:
        orders = units_exchange(by=by, site=unit.site, units=[unit], at=at, client_key=key_of(request))
        said = _("Set apart for its supplier: %(unit)s.") % {"unit": unit} + " " + drafted(orders)
    else:
        said = _send(request, by, unit, target, at)
    messages.success(request, said)
    return go_to(request, f"{reverse('expiry')}?site={unit.site.code}")


def _send(request: HttpRequest, by: Person, unit: Unit, target: int, at: datetime) -> str:
    site = next((one for one in others_of(unit.site) if one.pk == target), None)
    if site is None:
        raise NotThere(
            "no-such-site", _("There is no such site of this hospital."), _("Press a button of the page.")
        )
    made = transfer_make(
        by=by, source=unit.site, target=site, units=[unit], at=at, client_key=key_of(request)
    )
    return _("Listed to go to %(site)s on %(transfer)s: %(unit)s.") % {
        "site": site.name,
        "transfer": made.number,
        "unit": unit,
    }


def _given(request: HttpRequest) -> tuple[How, Unit, int]:
    parts = request.POST.get("do", "").split(".")
    numbers = [number for part in parts[1:] if (number := whole(part)) is not None]
    known = parts[0] in list(How) and len(numbers) == (2 if parts[0] == How.MOVE else 1)
    if not known or len(numbers) < len(parts) - 1:
        raise Unreadable(
            "not-an-act", _("This names nothing that can be done."), _("Press a button of the page again.")
        )
    rows = Unit.objects.select_related("component__supplier", "site__party", "place", "owner")
    unit: Unit = fetch(rows, by=person_of(request), act="move_stock", pk=numbers[0])
    return How(parts[0]), unit, numbers[1] if len(numbers) > 1 else 0


def _says(found: tuple[Expiring, ...], days: int) -> str:
    lost = [one for one in found if one.likely_lost]
    looked = ngettext(
        "%(count)s unit expires within %(days)s days.",
        "%(count)s units expire within %(days)s days.",
        len(found),
    ) % {"count": len(found), "days": days}
    if not lost:
        return looked + " " + _("Each of them is likely to be used before.")
    alone = sum(1 for one in lost if not one.offers and not one.marked)
    words = ngettext(
        "%(count)s is not likely to be used before.", "%(count)s are not likely to be used before.", len(lost)
    ) % {"count": len(lost)}
    if not alone:
        return f"{looked} {words}"
    rest = ngettext("For %(count)s nothing on file helps.", "For %(count)s nothing on file helps.", alone) % {
        "count": alone
    }
    return f"{looked} {words} {rest}"


def _which(form: ExpiryFilter, lost: int, total: int) -> list[FilterLink]:
    return form.links(
        "show",
        [
            (None, _("Not likely to be used, %(count)s") % {"count": lost}),
            ("all", _("All that expire, %(count)s") % {"count": total}),
        ],
    )
