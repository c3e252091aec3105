"""What was taken down marked, and is looked into afterwards."""

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from cases.usage import queries
from cases.usage.forms_closing import ClearForm
from cases.usage.marking import mark_clear
from cases.usage.models import Mark
from cases.usage.pages import SEES
from cases.usage.tables import ChaseLines
from trays.places.choose import site_choice
from trays.processing.pages import done, new_key, person_of
from trays.staff.access import fetch
from trays.web.page import answer_page
from trays.web.table import answer_table


@require_safe
def chase(request: HttpRequest) -> HttpResponse:
    """Every mark at a site that nobody has looked into yet."""
    by = person_of(request)
    choice = site_choice(request, act=SEES, by=by)
    rows = queries.chase_list(choice.site)
    context = {"site": choice.site, "sites": choice.links, "count": len(rows), "at": timezone.now()}
    return answer_table(
        request, ChaseLines(rows), "cases/usage/chase.html", context, file_name=f"chase-{choice.site.code}"
    )


@require_http_methods(["GET", "HEAD", "POST"])
def chase_mark(request: HttpRequest, pk: int) -> HttpResponse:
    """One mark: what it is on, and what came of it."""
    mark = cast(
        Mark,
        fetch(
            Mark.objects.select_related(
                "case__site", "case__list__theatre", "brought__component__family", "by", "cleared_by"
            ),
            by=person_of(request), act=SEES, site="case__site_id", pk=pk,
        ),
    )  # fmt: skip
    if request.method != "POST":
        return _page(request, mark, ClearForm(initial=new_key()))
    form = ClearForm(request.POST)

    def act() -> None:
        mark_clear(
            by=person_of(request), mark=mark, words=form.cleaned_data["words"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, mark, form), "chase")


def _page(request: HttpRequest, mark: Mark, form: ClearForm) -> HttpResponse:
    context = {
        "mark": mark,
        "case": mark.case,
        "piece": queries.piece_name(mark.brought) if mark.brought is not None else "",
        "form": form,
        "at": timezone.now(),
    }
    status = 422 if form.is_bound else 200
    return answer_page(request, "cases/usage/chase_mark.html", context, status=status)
