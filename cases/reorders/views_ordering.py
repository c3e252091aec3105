"""What is pressed on the page of alerts: order, set aside, take up again."""

from uuid import uuid5
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from cases.reorders.alerts import alerts
from cases.reorders.forms import SetAsideForm
from cases.reorders.listing import reorder_list
from cases.reorders.models import SetAside
from cases.reorders.reasons import reason
from cases.reorders.services import (
    Bought,
    Wanted,
    alert_set_aside,
    alert_take_up,
    alerts_order,
    budget_order,
)
from cases.reorders.sheet import reorder_list_pdf
from cases.reorders.views import board
from trays.orders.models import Order
from trays.parties.models import Site
from trays.places.choose import site_choice
from trays.processing.pages import done, key_of, new_key, person_of, status_of
from trays.staff.access import fetch
from trays.web.errors import NotThere, Unreadable
from trays.web.numbers import whole
from trays.web.page import answer_page, go_to


@require_safe
def reorder_paper(request: HttpRequest) -> HttpResponse:
    """The reorder list of a site as a PDF."""
    site = site_choice(request, act="see_reorders", by=person_of(request)).site
    with timezone.override(ZoneInfo(site.zone)):
        made = reorder_list_pdf(reorder_list(site=site, at=timezone.now()))
    answer = HttpResponse(made, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="reorder-{site.code}.pdf"'
    return answer


@require_POST
def reorder_order(request: HttpRequest) -> HttpResponse:
    """Draft orders for the alerts that were pressed, as they were shown."""
    by = person_of(request)
    site = site_choice(request, act="draft_order", by=by).site
    wanted = _wanted(request)
    key = key_of(request)
    orders = alerts_order(
        by=by,
        site=site,
        wanted=wanted,
        at=timezone.now(),
        # One page has many buttons: each is a press of its own.
        client_key=uuid5(key, ",".join(f"{one.component_id}:{one.pieces}" for one in wanted))
        if key
        else None,
    )
    messages.success(request, drafted(orders))
    return go_to(request, address(site))


@require_POST
def reorder_budget_order(request: HttpRequest) -> HttpResponse:
    """Draft orders for what the page "Best for a budget" showed."""
    by = person_of(request)
    site = site_choice(request, act="draft_order", by=by).site
    buys = [Bought(*numbers) for numbers in _numbers(request, "buy", 3)]
    orders = budget_order(by=by, site=site, buys=buys, at=timezone.now(), client_key=key_of(request))
    messages.success(request, drafted(orders))
    return go_to(request, address(site))


def drafted(orders: list[Order]) -> str:
    """ "Drafted for Merrowfield: PO-00012. It is sent once it is approved." """
    named = "; ".join(f"{order.supplier.name}, {order.number}" for order in orders)
    return ngettext(
        "Drafted: %(named)s. It goes out once it is approved and sent.",
        "Drafted: %(named)s. They go out once they are approved and sent.",
        len(orders),
    ) % {"named": named}


def _wanted(request: HttpRequest) -> list[Wanted]:
    return [Wanted(*numbers) for numbers in _numbers(request, "wanted", 2)]


def _numbers(request: HttpRequest, name: str, count: int) -> list[list[int]]:
    """Values as the page's own buttons send them: numbers with colons between."""
    found = []
    for text in request.POST.getlist(name)[:500]:
        numbers = [number for part in text.split(":") if (number := whole(part)) is not None]
        if len(numbers) != count or text.count(":") != count - 1:
            raise Unreadable(
                "not-an-alert", _("This names nothing to order."), _("Press a button of the page again.")
            )
        found.append(numbers)
    return found


@require_http_methods(["GET", "HEAD", "POST"])
def reorder_set_aside(request: HttpRequest, pk: int) -> HttpResponse:
    """Set an alert aside: why."""
    by = person_of(request)
    site = site_choice(request, act="draft_order", by=by).site
    known = board(site=site, found=alerts(site=site, at=timezone.now()), asides={})
    line = next((one for one in known.open if one.row.component.pk == pk), None)
    if line is None:
        raise NotThere(
            "no-such-alert",
            _("Nothing must be ordered of this item now."),
            _("Go back to the alerts; what was ordered is on its way."),
        )
    first = {**new_key(), "digest": line.row.digest}

    def page(form: SetAsideForm, **given: SetAsideForm) -> HttpResponse:
        context = {"site": site, "line": line, "why": reason(line.row), "form": form, "at": timezone.now()}
        return answer_page(request, "cases/reorders/set_aside.html", context, status=status_of(given))

    if request.method != "POST":
        return page(SetAsideForm(initial=first))
    form = SetAsideForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        alert_set_aside(
            by=by, site=site, component=line.row.component, reason=given["reason"], note=given["note"],
            digest=given["digest"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        messages.success(
            request,
            _("Set aside: %(item)s. It comes back when the facts change.") % {"item": line.name},
        )

    return done(request, form, act, lambda: page(form, given=form), address(site))


@require_POST
def reorder_take_up(request: HttpRequest) -> HttpResponse:
    """Take an alert up again that was set aside."""
    by = person_of(request)
    rows = SetAside.objects.select_related("site", "component")
    aside = fetch(rows, by=by, act="draft_order", pk=whole(request.POST.get("aside", "")) or 0)
    alert_take_up(by=by, set_aside=aside, at=timezone.now(), client_key=key_of(request))
    messages.success(request, _("Taken up again: %(item)s.") % {"item": aside.component.name})
    return go_to(request, address(aside.site))


def address(site: Site) -> str:
    """The page of alerts of a site."""
    return f"{reverse('reorders')}?site={site.code}"
