"""Pages of the machines: what is in each, the day's tests, a new run, out of use and back, a recall."""

from typing import Any, cast
from uuid import uuid4

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from trays.places.choose import site_choice
from trays.processing import machines, queries, recalling, runs
from trays.processing.forms import OpenRunForm, ReasonForm, RecallForm, TestForm
from trays.processing.models_machines import Machine, MachineKind, Run, RunState
from trays.processing.pages import done, key_of, new_key, person_of, status_of
from trays.processing.policies import programmes_on, tests_owed
from trays.staff.access import fetch, may
from trays.stock.queries import site_day
from trays.web.numbers import whole
from trays.web.page import answer_page, go_to


@require_safe
def machine_list(request: HttpRequest) -> HttpResponse:
    """A site's machines: what is in each, until when, and today's tests; results that are owed."""
    choice = site_choice(request, act="see_processing", by=person_of(request))
    at = timezone.now()
    lines = queries.machine_lines(site=choice.site, day=site_day(choice.site, at))
    context = {
        "site": choice.site,
        "sites": choice.links,
        "at": at,
        "lines": lines,
        "running": sum(1 for line in lines if line.run and line.run.state == RunState.RUNNING),
        "untested": sum(1 for line in lines if line.owed and not line.machine.out_since),
        "undecided": queries.undecided(site=choice.site),
        "owed": queries.outstanding(sites=[choice.site]),
    }
    return answer_page(request, "trays/processing/machines.html", context)


@require_safe
def machine(request: HttpRequest, pk: int) -> HttpResponse:
    """One machine: its tests today, a new run, its latest runs."""
    return _machine_page(request, _machine(request, pk))


@require_POST
def machine_test(request: HttpRequest, pk: int) -> HttpResponse:
    """Take down the result of one of the day's tests."""
    row = _machine(request, pk)
    form = TestForm(request.POST)

    def act() -> object:
        return machines.day_test_record(
            by=person_of(request), machine=row, rule=form.cleaned_data["rule"], at=timezone.now(),
            passed=form.cleaned_data["result"] == "passed", note=form.cleaned_data["note"],
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _machine_page(request, row, test=form), "machine", row.pk)


@require_POST
def machine_stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a machine out of use, with a reason."""
    row = _machine(request, pk)
    form = ReasonForm(request.POST)

    def act() -> object:
        return machines.machine_stop(
            by=person_of(request), machine=row, reason=form.cleaned_data["reason"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _machine_page(request, row, stop=form), "machine", row.pk)


@require_POST
def machine_start(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a machine back into use."""
    row = _machine(request, pk)
    machines.machine_start(by=person_of(request), machine=row, at=timezone.now(), client_key=key_of(request))
    return go_to(request, "machine", row.pk)


@require_POST
def run_open(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin to fill a machine."""
    row = _machine(request, pk)
    day = site_day(row.site, timezone.now())
    form = OpenRunForm(request.POST, programmes=programmes_on(site=row.site, kind=row.kind, day=day))
    made: list[Run] = []

    def act() -> object:
        made.append(
            runs.run_open(
                by=person_of(request),
                machine=row,
                programme=form.cleaned_data["programme"],
                at=timezone.now(),
                client_key=form.cleaned_data["client_key"],
            )  # fmt: skip
        )
        return made

    answer = done(request, form, act, lambda: _machine_page(request, row, open_run=form), "machine", row.pk)
    return go_to(request, "run", made[0].pk) if made else answer


@require_POST
def recall_open(request: HttpRequest, pk: int) -> HttpResponse:
    """Recall loads of a machine."""
    row = _machine(request, pk)
    form = RecallForm(request.POST)
    run = row.runs.filter(number=whole(request.POST.get("number", "")) or 0)
    made: list[Any] = []

    def act() -> object:
        given = form.cleaned_data
        made.append(
            recalling.recall_open(
                by=person_of(request),
                machine=row,
                run=run.first(),
                cause=given["cause"],
                scope=given["scope"],
                reason=given["reason"],
                at=timezone.now(),
                client_key=given["client_key"],
            )  # fmt: skip
        )
        return made

    answer = done(request, form, act, lambda: _machine_page(request, row, recall=form), "machine", row.pk)
    return go_to(request, "recall", made[0].pk) if made else answer


def _machine_page(request: HttpRequest, row: Machine, **given: forms.Form) -> HttpResponse:
    at = timezone.now()
    day = site_day(row.site, at)
    by = person_of(request)
    programmes = programmes_on(site=row.site, kind=row.kind, day=day)
    latest = list(queries.runs_of(row))
    context = {
        "machine": row,
        "owed": tests_owed(machines=[row], day=day)[row.pk],
        "tests": queries.tests_of(row, day),
        "runs": latest,
        "filling": next((one for one in latest if one.state == RunState.FILLING), None),
        "running": next((one for one in latest if one.state == RunState.RUNNING), None),
        "open_form": given.get("open_run") or OpenRunForm(programmes=programmes, initial=new_key()),
        "test_form": given.get("test") or TestForm(initial=new_key()),
        "stop_form": given.get("stop") or ReasonForm(initial=new_key()),
        "recall_form": given.get("recall") or RecallForm(initial={**new_key(), "scope": "this_load"}),
        "key": uuid4(),
        "may_work": may(by=by, act="process_packs", site_id=row.site_id),
        "may_keep": may(by=by, act="keep_machines", site_id=row.site_id),
        "may_recall": may(by=by, act="recall_packs", site_id=row.site_id),
        "is_sterilizer": row.kind == MachineKind.STERILIZER,
    }
    return answer_page(request, "trays/processing/machine.html", context, status=status_of(given))


def _machine(request: HttpRequest, pk: int) -> Machine:
    rows = Machine.objects.select_related("site", "place")
    return cast(Machine, fetch(rows, by=person_of(request), act="see_processing", pk=pk))
