"""Pages of scanners: this workstation and its settings, and the test."""

from dataclasses import asdict, replace
from typing import Any, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from trays.scanners.device import forget_device, name_device, this_workstation
from trays.scanners.forms import DeviceForm, FoundForm, WorkstationForm
from trays.scanners.models import Workstation
from trays.scanners.pictures import symbols_drawn, symbols_sheet
from trays.scanners.queries import workstations
from trays.scanners.services import settings_of, workstation_set_up
from trays.staff.access import home_site, sites_for, sites_or_refuse
from trays.staff.models import Person
from trays.web.errors import Refusal
from trays.web.page import answer_page, go_to

ACT = "set_up_scanners"


@require_http_methods(["GET", "HEAD", "POST"])
def workstation(request: HttpRequest) -> HttpResponse:
    """Which workstation this device is, and its settings; everybody sees them, some roles set them."""
    by = cast(Person, request.user)
    here = this_workstation(request)
    sites = _own_first(by)
    form = (
        WorkstationForm(request.POST or None, sites=sites, initial=_initial(request, here)) if sites else None
    )
    if request.method == "POST" and form is not None and form.is_valid():
        try:
            return _set_up(request, by, form, here)
        except Refusal as refusal:
            form.add_error(None, refusal.as_error())
    rows = workstations([site.pk for site in sites])
    context = {
        "workstation": here,
        "form": form,
        "may_see_refused": sites_for(by=by, act="see_refused_scans").exists(),
        "device": DeviceForm(rows=rows, initial={"workstation": here}) if rows else None,
    }
    status = 422 if form is not None and form.errors else 200
    return answer_page(request, "trays/scanners/workstation.html", context, status=status)


def _own_first(by: Person) -> list[Any]:
    """The sites at which the person may set up scanners, their own first."""
    home = home_site(by)
    return sorted(sites_for(by=by, act=ACT), key=lambda site: (home is None or site.pk != home.pk, site.name))


def _initial(request: HttpRequest, here: Workstation | None) -> dict[str, Any]:
    """What is set; for a device without a name, what was ticked on the test page."""
    if here is None:
        return {"slower": 1, "tones": Workstation.Tones.BY_PLACE, **FoundForm(request.GET).changes}
    return {**asdict(settings_of(here)), "name": here.name, "place": here.place_id, "site": here.site.code}


def _set_up(
    request: HttpRequest, by: Person, form: WorkstationForm, here: Workstation | None
) -> HttpResponse:
    """Change this device's workstation; or add one, which this device then is."""
    changed = None if "add" in request.POST else here
    row = workstation_set_up(
        by=by,
        site=form.site,
        name=form.cleaned_data["name"],
        place=form.cleaned_data["place"],
        settings=form.settings,
        workstation=changed,
        at=timezone.now(),
    )
    messages.success(request, _("Kept: this device is %(name)s.") % {"name": row.name})
    answer = go_to(request, "scanner")
    name_device(answer, row, secure=request.is_secure())
    return answer


@require_POST
def device(request: HttpRequest) -> HttpResponse:
    """Say which of the known workstations this device is; with nothing chosen it is none."""
    sites = sites_or_refuse(by=cast(Person, request.user), act=ACT)
    form = DeviceForm(request.POST, rows=workstations(site.pk for site in sites))
    answer = go_to(request, "scanner")
    if form.is_valid():
        name_device(answer, form.cleaned_data["workstation"], secure=request.is_secure())
    else:
        forget_device(answer)
    return answer


@require_safe
def scanner_test(request: HttpRequest) -> HttpResponse:
    """The test symbols; what a scan of one tells comes as the answer to the scan."""
    here = this_workstation(request)
    return answer_page(
        request,
        "trays/scanners/test.html",
        {"workstation": here, "symbols": symbols_drawn(), "scan_probes": True},
    )


@require_safe
def scanner_test_sheet(request: HttpRequest) -> HttpResponse:
    """The test symbols as paper."""
    return HttpResponse(
        symbols_sheet(),
        content_type="application/pdf",
        headers={
            "Content-Disposition": 'attachment; filename="scanner-test.pdf"',
            "Cache-Control": "no-store",
        },
    )


@require_POST
def adjust(request: HttpRequest) -> HttpResponse:
    """Change the settings that were ticked on the test page, and back to test again."""
    sites_or_refuse(by=cast(Person, request.user), act=ACT)
    changes = FoundForm(request.POST).changes
    here = this_workstation(request)
    if not changes:
        return go_to(request, "scanner-test")
    if here is None:
        raise Refusal(
            "no-workstation",
            _("This device has no name yet, so nothing can be kept for it."),
            _("Name it first, under Scanner."),
        )
    workstation_set_up(
        by=cast(Person, request.user),
        site=here.site,
        name=here.name,
        place=here.place,
        settings=replace(settings_of(here), **changes),
        workstation=here,
        at=timezone.now(),
    )
    messages.success(request, _("Kept for %(name)s. Scan the symbol again.") % {"name": here.name})
    return go_to(request, "scanner-test")
