"""The page of reorder alerts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from cases.reorders.alerts import Alerts, alerts
from cases.reorders.forms import AlertFilter
from cases.reorders.models import SetAside
from cases.reorders.queries_asides import asides_at
from cases.reorders.reasons import capital, count_word, summary
from cases.reorders.tables import AlertLine, AlertTable, alert_lines, wanted_text
from cases.reorders.uses import count_not_ordered
from trays.parties.models import Site
from trays.places.choose import site_choice
from trays.staff.access import may
from trays.staff.models import Person
from trays.web.acting import KeyForm, new_key
from trays.web.filters import FilterLink
from trays.web.table import answer_table


@dataclass(frozen=True, slots=True)
class Board:
    """The alerts of a site as lines: to be ordered, on their way, set aside."""

    found: Alerts
    open: list[AlertLine]
    way: list[AlertLine]
    aside: list[AlertLine]

    def first(self) -> list[AlertLine]:
        """Those that must be ordered first of all, on one day."""
        return [line for line in self.open if line.order_by == self.open[0].order_by]


def board(*, site: Site, found: Alerts, asides: Mapping[int, SetAside], may_act: bool = False) -> Board:
    """Alerts told apart by what is to be done. One that was set aside is back once its facts have changed."""
    kept = [row for row in found.rows if not _in_force(asides.get(row.component.pk), row.digest)]
    away = [row for row in found.rows if _in_force(asides.get(row.component.pk), row.digest)]
    opened, way, aside = (
        alert_lines(rows, found.day, site=site.code, asides=asides, may_act=may_act)
        for rows in (kept, found.on_way, away)
    )
    return Board(found, opened, way, aside)


def _in_force(aside: SetAside | None, digest: str) -> bool:
    return aside is not None and aside.digest == digest


@require_safe
def reorders(request: HttpRequest) -> HttpResponse:
    """What must be ordered at a site, first to be ordered first."""
    by = cast(Person, request.user)
    choice = site_choice(request, act="see_reorders", by=by)
    at = timezone.now()
    may_act = may(by=by, act="draft_order", site_id=choice.site.pk)
    known = board(
        site=choice.site,
        found=alerts(site=choice.site, at=at),
        asides=asides_at(site=choice.site),
        may_act=may_act,
    )
    form = AlertFilter(request.GET)
    first = known.first() if known.open else []
    context = {
        "at": at,
        "site": choice.site,
        "sites": choice.links,
        "says": _says(known),
        "which": _which(form, known),
        "suppliers": _suppliers(form, known.open),
        "may_act": may_act,
        "key_form": KeyForm(initial=new_key()),
        "first": [wanted_text(line.row) for line in first],
        "first_words": _first_words(first, known),
        "used": count_not_ordered(site=choice.site),
    }
    table = AlertTable(_chosen(form, known))
    return answer_table(
        request, table, "cases/reorders/reorders.html", context, file_name=f"reorder-{choice.site.code}"
    )


def _says(known: Board) -> str:
    says = summary(replace(known.found, rows=tuple(line.row for line in known.open)))
    if not known.aside:
        return says
    aside = ngettext("%(count)s is set aside.", "%(count)s are set aside.", len(known.aside)) % {
        "count": capital(count_word(len(known.aside)))
    }
    return f"{says} {aside}"


def _first_words(first: Sequence[AlertLine], known: Board) -> str:
    words = {"count": count_word(len(first))}
    if first and first[0].order_by == known.found.day:
        return (
            ngettext("Draft the order for today’s one", "Draft orders for today’s %(count)s", len(first))
            % words
        )
    return ngettext("Draft the first order", "Draft orders for the first %(count)s", len(first)) % words


def _chosen(form: AlertFilter, known: Board) -> list[AlertLine]:
    chosen = form.chosen
    when = chosen.get("when", "")
    lines = {"way": known.way, "aside": known.aside}.get(when, known.open)
    return [
        line
        for line in lines
        if chosen.get("supplier", line.supplier_code) == line.supplier_code and _in(when, line, known)
    ]


def _in(when: str, line: AlertLine, known: Board) -> bool:
    if when == "late":
        return line.row.late
    return when != "today" or line.order_by == known.open[0].order_by


def _which(form: AlertFilter, known: Board) -> list[FilterLink]:
    first = len(known.first()) if known.open else 0
    late = sum(1 for line in known.open if line.row.late)
    choices: list[tuple[str | None, str]] = [(None, _("All %(count)s") % {"count": len(known.open)})]
    if first:
        today = known.open[0].order_by == known.found.day
        words = _("Today, %(count)s") if today else _("First to be ordered, %(count)s")
        choices.append(("today", words % {"count": first}))
    if late:
        choices.append(("late", _("Too late for the first case, %(count)s") % {"count": late}))
    if known.way:
        choices.append(("way", _("On their way, %(count)s") % {"count": len(known.way)}))
    if known.aside:
        choices.append(("aside", _("Set aside, %(count)s") % {"count": len(known.aside)}))
    return form.links("when", choices)


def _suppliers(form: AlertFilter, lines: list[AlertLine]) -> list[FilterLink]:
    counts: dict[tuple[str, str], int] = {}
    for line in lines:
        key = (line.supplier_code, line.supplier)
        counts[key] = counts.get(key, 0) + 1
    choices: list[tuple[str | None, str]] = [(None, _("All suppliers"))]
    choices += [(code, f"{name}, {count}") for (code, name), count in sorted(counts.items())]
    return form.links("supplier", choices) if len(counts) > 1 else []
