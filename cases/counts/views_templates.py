"""Pages of count templates: how each site counts, each version of it, and writing the next."""

from typing import cast
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from cases.bookings.models import Procedure
from cases.counts import templates_read
from cases.counts.forms_templates import BeginForm, TemplateForms
from cases.counts.kinds_template import TemplatePlan, starts
from cases.counts.models_templates import CountClass, CountTemplate, StageKind, StepWhen
from cases.counts.templating import template_put
from trays.parties.models import Site
from trays.places.choose import site_choice
from trays.staff.access import fetch, may
from trays.staff.models import Person, RoleKind
from trays.web.errors import NotThere, Refusal
from trays.web.page import answer_page, go_to

TEMPLATES = CountTemplate.objects.select_related("site", "procedure", "made_by").prefetch_related(
    "stages", "classes", "steps"
)


@require_GET
def count_templates(request: HttpRequest) -> HttpResponse:
    """The templates of a site: those in force, and the versions before them."""
    by = cast(Person, request.user)
    choice = site_choice(request, act="see_theatre", by=by)
    rows = list(templates_read.templates(choice.site).prefetch_related("stages"))
    context = {
        "site": choice.site,
        "sites": choice.links,
        "in_force": [row for row in rows if row.replaced_at is None],
        "earlier": [row for row in rows if row.replaced_at is not None],
        "begin": BeginForm(),
        "start": starts()[0].name,
        "may_set": may(by=by, act="set_count_policy", site_id=choice.site.pk),
    }
    return answer_page(request, "cases/counts/count_templates.html", context)


@require_GET
def count_template(request: HttpRequest, pk: int) -> HttpResponse:
    """One version as it is."""
    by = cast(Person, request.user)
    row = cast(CountTemplate, fetch(TEMPLATES, by=by, act="see_theatre", pk=pk))
    plan = templates_read.plan_from(row)
    context = {
        "template": row,
        "stages": [
            (one, StageKind(one.kind).label, [RoleKind(seat).label for seat in one.signers])
            for one in plan.stages
        ],
        "classes": [
            (one, CountClass(one.klass).label, [plan.stages[number - 1].mark for number in one.stages])
            for one in plan.classes
        ],
        "steps": [(one, StepWhen(one.when).label) for one in plan.steps],
        "may_set": may(by=by, act="set_count_policy", site_id=row.site_id),
    }
    return answer_page(request, "cases/counts/count_template.html", context)


@require_http_methods(["GET", "POST"])
def count_template_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Write the version that takes the place of this one."""
    by = cast(Person, request.user)
    row = cast(CountTemplate, fetch(TEMPLATES, by=by, act="set_count_policy", pk=pk))
    return _write(request, row.site, row.procedure, templates_read.plan_from(row), row)


@require_http_methods(["GET", "POST"])
def count_template_new(request: HttpRequest) -> HttpResponse:
    """Write a template that begins as one of those that come with the program."""
    choice = site_choice(request, act="set_count_policy", by=cast(Person, request.user))
    form = BeginForm({"start": starts()[0].code, **request.GET.dict()})
    if not form.is_valid():
        raise NotThere(
            "no-such-start",
            _("There is nothing of that name to begin with."),
            _("Choose what to begin with on the page of the templates."),
        )
    plan = next(plan for plan in starts() if plan.code == form.cleaned_data["start"])
    return _write(request, choice.site, form.cleaned_data["procedure"], plan, None)


def _write(
    request: HttpRequest,
    site: Site,
    procedure: Procedure | None,
    plan: TemplatePlan,
    row: CountTemplate | None,
) -> HttpResponse:
    """The form, or what came of it: on to the version that was made, or the form again with what is wrong."""
    if request.method != "POST":
        return _form(request, site, procedure, row, TemplateForms(plan=plan, client_key=uuid4()))
    forms = TemplateForms(data=request.POST)
    if forms.is_valid():
        try:
            made = template_put(
                by=cast(Person, request.user), site=site, procedure=procedure, plan=forms.plan(),
                at=timezone.now(), client_key=forms.head.cleaned_data["client_key"],
            )  # fmt: skip
        except Refusal as refusal:
            if refusal.code == "not-your-act":
                raise
            forms.head.add_error(None, refusal.as_error())
        else:
            return go_to(request, "count-template", made.pk)
    return _form(request, site, procedure, row, forms, status=422)


def _form(
    request: HttpRequest,
    site: Site,
    procedure: Procedure | None,
    row: CountTemplate | None,
    forms: TemplateForms,
    *,
    status: int = 200,
) -> HttpResponse:
    context = {
        "site": site,
        "procedure": procedure,
        "template": row,
        "forms": forms,
        "address": request.get_full_path(),
    }
    return answer_page(request, "cases/counts/count_template_edit.html", context, status=status)
