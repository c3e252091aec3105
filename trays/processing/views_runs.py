"""Pages of one run: filled, started, ended, and what it came to."""

from typing import cast
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.processing import deciding, queries, runs
from trays.processing.forms import (
    EndForm,
    FailForm,
    FillForm,
    IndicatorForm,
    LogForm,
    ReleaseForm,
    StartForm,
    WashForm,
)
from trays.processing.models_machines import MachineKind, Run, RunState
from trays.processing.pages import done, key_of, new_key, person_of, status_of
from trays.staff.access import fetch, may, require
from trays.staff.signing import signer, signer_named
from trays.web.errors import Refusal
from trays.web.page import answer_page, go_to


@require_safe
def run(request: HttpRequest, pk: int) -> HttpResponse:
    """One run: what is in it, its figures, what is to be done next."""
    return _run_page(request, _run(request, pk))


@require_POST
def run_fill(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a pack, or every pack of a set, into the run."""
    row = _run(request, pk)
    form = FillForm(request.POST)

    def act() -> object:
        packs = form.packs(row.machine.site)
        return runs.run_fill(
            by=person_of(request), run=row, packs=packs, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _run_page(request, row, fill=form), "run", row.pk)


@require_POST
def run_take_out(request: HttpRequest, pk: int, pack: int) -> HttpResponse:
    """Take a pack out of a run that has not begun."""
    row = _run(request, pk)
    require(by=person_of(request), act="process_packs", site_id=row.machine.site_id)
    inside = row.packs.filter(pack_id=pack).select_related("pack").first()
    if inside is None:
        raise Refusal("not-in-it", _("This pack is not in this run."), _("Load the page again."))
    runs.run_take_out(
        by=person_of(request), run=row, pack=inside.pack, at=timezone.now(), client_key=key_of(request)
    )
    return go_to(request, "run", row.pk)


@require_POST
def run_start(request: HttpRequest, pk: int) -> HttpResponse:
    """Close the door."""
    row = _run(request, pk)
    form = StartForm(request.POST)

    def act() -> object:
        return runs.run_start(
            by=person_of(request), run=row, at=timezone.now(),
            indicator_lot=form.cleaned_data["indicator_lot"], client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _run_page(request, row, start=form), "run", row.pk)


@require_POST
def run_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Open the door: what the machine says."""
    row = _run(request, pk)
    form = EndForm(request.POST)

    def act() -> object:
        return runs.run_end(
            by=person_of(request), run=row, verdict=form.cleaned_data["verdict"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _run_page(request, row, end=form), "run", row.pk)


@require_POST
def run_give_up(request: HttpRequest, pk: int) -> HttpResponse:
    """Give up a run that has not begun."""
    row = _run(request, pk)
    runs.run_give_up(by=person_of(request), run=row, at=timezone.now(), client_key=key_of(request))
    messages.success(request, _("Given up: what was in it can go into another run."))
    return go_to(request, "machine", row.machine_id)


@require_POST
def run_log(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep the machine's temperature log."""
    row = _run(request, pk)
    form = LogForm(request.POST, request.FILES)

    def act() -> object:
        return runs.run_log_import(
            by=person_of(request), run=row, file=form.cleaned_data["file"].file, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _run_page(request, row, log=form), "run", row.pk)


@require_POST
def run_indicator(request: HttpRequest, pk: int) -> HttpResponse:
    """Take down an indicator of the run."""
    row = _run(request, pk)
    form = IndicatorForm(request.POST)

    def act() -> object:
        given = form.cleaned_data
        return deciding.indicator_add(
            by=person_of(request), run=row, kind=given["kind"], lot=given["lot"], result=given["result"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _run_page(request, row, indicator=form), "run", row.pk)


@require_POST
def wash_decide(request: HttpRequest, pk: int) -> HttpResponse:
    """Say whether a wash was good."""
    row = _run(request, pk)
    form = WashForm(request.POST)

    def act() -> object:
        given = form.cleaned_data
        return deciding.wash_decide(
            by=person_of(request), run=row, passed=given["result"] == "passed", reason=given["reason"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _run_page(request, row, wash=form), "run", row.pk)


@require_POST
def load_release(request: HttpRequest, pk: int) -> HttpResponse:
    """Release a load, signed."""
    row = _run(request, pk)
    require(by=person_of(request), act="release_load", site_id=row.machine.site_id)
    form = ReleaseForm(request.POST)

    def act() -> object:
        given = form.cleaned_data
        early = None
        if given["early"]:
            second = signer_named(name=given["second"], pin=given["second_pin"])
            early = deciding.Early(given["reason"], second)
        by = signer(person=person_of(request), pin=given["pin"])
        return deciding.load_release(
            by=by, run=row, early=early, at=timezone.now(), client_key=given["client_key"]
        )

    return done(request, form, act, lambda: _run_page(request, row, release=form), "run", row.pk)


@require_POST
def load_fail(request: HttpRequest, pk: int) -> HttpResponse:
    """Refuse a load, signed."""
    row = _run(request, pk)
    require(by=person_of(request), act="release_load", site_id=row.machine.site_id)
    form = FailForm(request.POST)

    def act() -> object:
        by = signer(person=person_of(request), pin=form.cleaned_data["pin"])
        return deciding.load_fail(
            by=by, run=row, reason=form.cleaned_data["reason"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _run_page(request, row, fail=form), "run", row.pk)


def _run_page(request: HttpRequest, row: Run, **given: forms.Form) -> HttpResponse:
    by = person_of(request)
    log = next(iter(row.logs.all()), None)
    state = RunState(row.state)
    sterilizer = row.machine.kind == MachineKind.STERILIZER
    at = timezone.now()
    context = {
        "run": row,
        "state": state,
        "sterilizer": sterilizer,
        "log": log,
        "findings": deciding.findings(row, log),
        "awaits": sterilizer and state == RunState.ENDED and runs.awaits_biological(row, at),
        "waiting": queries.waiting(site=row.machine.site, states=[runs.TAKES[MachineKind(row.machine.kind)]])
        if state == RunState.FILLING
        else [],
        "may_work": may(by=by, act="process_packs", site_id=row.machine.site_id),
        "may_release": may(by=by, act="release_load", site_id=row.machine.site_id),
        "fill_form": given.get("fill") or FillForm(initial=new_key()),
        "start_form": given.get("start") or StartForm(initial=new_key()),
        "end_form": given.get("end") or EndForm(initial=new_key()),
        "log_form": given.get("log") or LogForm(initial=new_key()),
        "indicator_form": given.get("indicator") or IndicatorForm(initial=new_key()),
        "wash_form": given.get("wash") or WashForm(initial=new_key()),
        "release_form": given.get("release") or ReleaseForm(initial=new_key()),
        "fail_form": given.get("fail") or FailForm(initial=new_key()),
        "key": uuid4(),
    }
    return answer_page(request, "trays/processing/run.html", context, status=status_of(given))


def _run(request: HttpRequest, pk: int) -> Run:
    by = person_of(request)
    return cast(Run, fetch(queries.whole_runs(), by=by, act="see_processing", site="machine__site_id", pk=pk))
