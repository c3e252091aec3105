"""The page of refused scans."""

from typing import cast

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from trays.places.choose import site_choice
from trays.refusals.forms import RefusedFilter
from trays.refusals.models import HowScanned
from trays.refusals.queries import reasons, refused_scans
from trays.refusals.tables import RefusedLines
from trays.staff.models import Person
from trays.web.filters import FilterLink
from trays.web.table import answer_table

# More reasons than this are a list to read, not a choice to make.
_REASONS_OFFERED = 12


@require_safe
def refused(request: HttpRequest) -> HttpResponse:
    """What was refused to people of a site, by reason and way."""
    choice = site_choice(request, act="see_refused_scans", by=cast(Person, request.user))
    form = RefusedFilter(request.GET)
    counted = reasons(site_id=choice.site.pk)
    chosen = form.chosen
    rows = refused_scans(site_id=choice.site.pk).filter(**chosen)
    context = {
        "site": choice.site,
        "sites": choice.links,
        "reasons": _reasons(form, counted),
        "ways": form.links(
            "how", [(None, _("All ways")), *((way.value, str(way.label)) for way in HowScanned if way)]
        ),
        "total": sum(count for _code, count in counted),
        "days": settings.SCANS_KEPT_DAYS,
    }
    return answer_table(
        request,
        RefusedLines(rows),
        "trays/refusals/refused.html",
        context,
        file_name=f"refused-scans-{choice.site.code}",
    )


def _reasons(form: RefusedFilter, counted: list[tuple[str, int]]) -> list[FilterLink]:
    offered = [(code, f"{code} ({count})") for code, count in counted[:_REASONS_OFFERED]]
    return form.links("code", [(None, _("All reasons")), *offered])
