"""Pages of pick lists: those in force, one of them, its sheet, and making one."""

from typing import cast
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from cases.bookings.models import Case
from cases.picks import queries
from cases.picks.forms import BackForm, MakeForm
from cases.picks.models import PickList
from cases.picks.progress import picking_of
from cases.picks.reading import sheet_of
from cases.picks.services import pick_list_make
from cases.picks.sheet import pick_list_pdf
from cases.picks.tables import PickLines, PickListLines
from trays.staff.access import fetch, may, sites_or_refuse
from trays.staff.models import Person
from trays.web.page import go_to
from trays.web.table import PER_PAGE_MOST, answer_table


def _list(request: HttpRequest, pk: int) -> PickList:
    by = cast(Person, request.user)
    return cast(PickList, fetch(queries.whole_lists(), by=by, act="see_picks", site="case__site_id", pk=pk))


@require_GET
def pick_lists(request: HttpRequest) -> HttpResponse:
    """The lists in force at the person's sites."""
    sites = sites_or_refuse(by=cast(Person, request.user), act="see_picks")
    table = PickListLines(queries.pick_lists(site.pk for site in sites))
    return answer_table(request, table, "cases/picks/pick_lists.html", file_name="pick-lists")


@require_GET
def pick_list(request: HttpRequest, pk: int) -> HttpResponse:
    """One list in walking order, with its verdict, its sizes and what is not on site."""
    chosen = _list(request, pk)
    sheet = sheet_of(chosen, at=timezone.now())
    by, case = cast(Person, request.user), chosen.case
    picking = picking_of(chosen, sheet)
    current = chosen.replaced_at is None and case.status in (Case.Status.BOOKED, Case.Status.OPENED)
    context = {
        "pick_list": chosen,
        "case": case,
        "sheet": sheet,
        "picking": picking,
        "may_make": may(by=by, act="make_pick_list", site_id=case.site_id),
        "may_pick": current and may(by=by, act="make_pick_list", site_id=case.site_id),
        "may_issue": current and may(by=by, act="issue_packs", site_id=case.site_id),
        "may_store": may(by=by, act="store_packs", site_id=case.site_id),
        "back_form": BackForm(known=[], site=case.site, auto_id="back_%s") if picking.in_theatre else None,
        "key": uuid4(),
    }
    return answer_table(
        request,
        PickLines(sheet, picking, loose=bool(context["may_pick"])),
        "cases/picks/pick_list.html",
        context,
        file_name=chosen.number,
        per_page=PER_PAGE_MOST,
    )


@require_GET
def pick_list_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The same as paper."""
    chosen = _list(request, pk)
    pdf = pick_list_pdf(sheet_of(chosen, at=timezone.now()))
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'attachment; filename="{chosen.number}.pdf"',
            "Cache-Control": "no-store",
        },
    )


@require_GET
def of_case(request: HttpRequest, pk: int) -> HttpResponse:
    """To the case's list in force; to the case where it has none."""
    case = fetch(Case.objects.all(), by=cast(Person, request.user), act="see_picks", pk=pk)
    known = queries.in_force(case)
    return go_to(request, "pick-list", known.pk) if known else go_to(request, "case", case.pk)


@require_POST
def make(request: HttpRequest, pk: int) -> HttpResponse:
    """Make the case's list, or make it anew."""
    cases = Case.objects.select_related("site", "list__theatre", "procedure")
    case = fetch(cases, by=cast(Person, request.user), act="see_picks", pk=pk)
    form = MakeForm(request.POST)
    key = form.cleaned_data["client_key"] if form.is_valid() else None
    made = pick_list_make(by=cast(Person, request.user), case=case, at=timezone.now(), client_key=key)
    return go_to(request, "pick-list", made.pk)
