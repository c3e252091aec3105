"""Pages of count sheets: those of one case, making them, and the paper."""

from typing import cast
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from cases.bookings.models import Case
from cases.counts import queries
from cases.counts.filled import filled_views
from cases.counts.forms import MakeForm
from cases.counts.models_counts import TheatreCount
from cases.counts.services import count_sheets_make
from cases.counts.sheet import count_sheets_pdf
from cases.counts.tables import SheetLines
from cases.picks.queries import in_force
from trays.staff.access import fetch, may
from trays.staff.models import Person
from trays.web.errors import NotThere, Refusal
from trays.web.page import answer_page, go_to

CASES = Case.objects.select_related("site__party", "list__theatre", "procedure", "plan", "surgeon")


@require_http_methods(["GET", "POST"])
def count_sheets(request: HttpRequest, pk: int) -> HttpResponse:
    """The case's sheets in the order of the count; a POST makes them."""
    case = fetch(CASES.all(), by=cast(Person, request.user), act="see_picks", pk=pk)
    now = timezone.now()
    if request.method == "POST":
        form = MakeForm(request.POST)
        key = form.cleaned_data["client_key"] if form.is_valid() else None
        count_sheets_make(by=cast(Person, request.user), case=case, at=now, client_key=key)
        return go_to(request, "count-sheets", case.pk)
    rows = list(queries.sheets_in_force(case))
    context = {
        "case": case,
        "rows": rows,
        "table": SheetLines(queries.views_of(case, rows, at=now)),
        "stale": queries.stale(case, rows) if rows else "",
        "pick_list": in_force(case),
        "counted": TheatreCount.objects.filter(case=case).exists(),
        "may_make": may(by=cast(Person, request.user), act="print_count_sheets", site_id=case.site_id),
        "caution": queries.caution(),
        "key": uuid4(),
    }
    return answer_page(request, "cases/counts/count_sheets.html", context)


@require_GET
def count_sheets_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """All sheets of the case as one file, in the order of the count."""
    case = fetch(CASES.all(), by=cast(Person, request.user), act="print_count_sheets", pk=pk)
    rows = list(queries.sheets_in_force(case))
    if not rows:
        raise NotThere(
            "no-count-sheets",
            _("No count sheets have been made for this case."),
            _("Make them on the page of its count sheets."),
        )
    differs = queries.stale(case, rows)
    if differs:
        raise Refusal("sheets-no-longer-fit", differs, _("Make them again before they are printed."))
    return _paper(count_sheets_pdf(queries.views_of(case, rows, at=timezone.now())), rows[0].number)


@require_GET
def count_sheets_filled(request: HttpRequest, pk: int) -> HttpResponse:
    """The count as it stands in the record, on the same sheets in the same order."""
    case = fetch(CASES.all(), by=cast(Person, request.user), act="print_count_sheets", pk=pk)
    return _paper(count_sheets_pdf(filled_views(case, at=timezone.now())), f"filled-{case.pk}")


def _paper(pdf: bytes, name: str) -> HttpResponse:
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'attachment; filename="count-sheets-{name}.pdf"',
            "Cache-Control": "no-store",
        },
    )
