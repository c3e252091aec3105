"""The page of reorder alerts."""

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from cases.reorders.alerts import Alerts, alerts
from cases.reorders.forms import AlertFilter
from cases.reorders.reasons import summary
from cases.reorders.tables import AlertLine, AlertTable, alert_lines
from trays.places.choose import site_choice
from trays.staff.models import Person
from trays.web.filters import FilterLink
from trays.web.table import answer_table


@require_safe
def reorders(request: HttpRequest) -> HttpResponse:
    """What must be ordered at a site, first to be ordered first."""
    by = cast(Person, request.user)
    choice = site_choice(request, act="see_reorders", by=by)
    at = timezone.now()
    found = alerts(site=choice.site, at=at)
    lines = alert_lines(found)
    form = AlertFilter(request.GET)
    context = {
        "at": at,
        "site": choice.site,
        "sites": choice.links,
        "says": summary(found),
        "which": _which(form, lines, found),
        "suppliers": _suppliers(form, lines),
    }
    table = AlertTable(_chosen(form, lines, found))
    return answer_table(
        request, table, "cases/reorders/reorders.html", context, file_name=f"reorder-{choice.site.code}"
    )


def _chosen(form: AlertFilter, lines: list[AlertLine], found: Alerts) -> list[AlertLine]:
    chosen = form.chosen
    return [
        line
        for line in lines
        if chosen.get("supplier", line.supplier_code) == line.supplier_code
        and _in(chosen.get("when", ""), line, found)
    ]


def _in(when: str, line: AlertLine, found: Alerts) -> bool:
    if when == "late":
        return line.row.late
    return when != "today" or line.order_by == found.rows[0].order_by


def _which(form: AlertFilter, lines: list[AlertLine], found: Alerts) -> list[FilterLink]:
    first = sum(1 for line in lines if _in("today", line, found))
    late = sum(1 for line in lines if line.row.late)
    choices: list[tuple[str | None, str]] = [(None, _("All %(count)s") % {"count": len(lines)})]
    if first:
        today = found.rows[0].order_by == found.day
        words = _("Today, %(count)s") if today else _("First to be ordered, %(count)s")
        choices.append(("today", words % {"count": first}))
    if late:
        choices.append(("late", _("Too late for the first case, %(count)s") % {"count": late}))
    return form.links("when", choices)


def _suppliers(form: AlertFilter, lines: list[AlertLine]) -> list[FilterLink]:
    counts: dict[tuple[str, str], int] = {}
    for line in lines:
        key = (line.supplier_code, line.supplier)
        counts[key] = counts.get(key, 0) + 1
    choices: list[tuple[str | None, str]] = [(None, _("All suppliers"))]
    choices += [(code, f"{name}, {count}") for (code, name), count in sorted(counts.items())]
    return form.links("supplier", choices) if len(counts) > 1 else []
