"""The page of what was used of suppliers' stock and waits for its bill."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from cases.reorders.tables_uses import UseTable, use_rows
from cases.reorders.uses import billed_wrongly, used_not_ordered, uses_order
from cases.reorders.views_ordering import address, drafted
from trays.places.choose import site_choice
from trays.processing.pages import key_of, new_key, person_of
from trays.staff.access import may
from trays.web.acting import KeyForm
from trays.web.errors import Unreadable
from trays.web.numbers import whole
from trays.web.page import go_to
from trays.web.table import answer_table


@require_http_methods(["GET", "HEAD", "POST"])
def reorder_used(request: HttpRequest) -> HttpResponse:
    """What was used and is not billed yet; pressed, the bills are drafted."""
    by = person_of(request)
    if request.method == "POST":
        return _order(request)
    site = site_choice(request, act="see_reorders", by=by)
    waiting = used_not_ordered(site=site.site)
    context = {
        "at": timezone.now(),
        "site": site.site,
        "sites": site.links,
        "says": _says(len(waiting), sum(1 for line in waiting if line.replaces)),
        "ids": [line.brought.pk for line in waiting],
        "wrong": billed_wrongly(site=site.site),
        "may_act": may(by=by, act="draft_order", site_id=site.site.pk),
        "key_form": KeyForm(initial=new_key()),
    }
    return answer_table(
        request,
        UseTable(use_rows(waiting)),
        "cases/reorders/used.html",
        context,
        file_name=f"used-{site.site.code}",
    )


def _order(request: HttpRequest) -> HttpResponse:
    by = person_of(request)
    site = site_choice(request, act="draft_order", by=by).site
    given = [whole(text) for text in request.POST.getlist("use")]
    if None in given:
        raise Unreadable("not-a-use", _("This names no use."), _("Press the button of the page again."))
    orders = uses_order(
        by=by,
        site=site,
        brought_ids=[pk for pk in given if pk is not None],
        at=timezone.now(),
        client_key=key_of(request),
    )
    messages.success(request, drafted(orders))
    return go_to(request, address(site))


def _says(count: int, replaced: int) -> str:
    if not count:
        return _("Every use of supplier’s stock has its bill.")
    used = ngettext(
        "%(count)s use of supplier’s stock waits for its bill.",
        "%(count)s uses of supplier’s stock wait for their bill.",
        count,
    ) % {"count": count}
    if not replaced:
        return used
    return (
        used
        + " "
        + ngettext("%(count)s is replaced.", "%(count)s are replaced.", replaced) % {"count": replaced}
    )
