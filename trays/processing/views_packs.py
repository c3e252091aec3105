"""The page of one pack: where it is in its round, its steps so far, and everything that can be done next."""

from collections.abc import Callable
from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from trays.instruments.care import care_of
from trays.instruments.models import Pack, PackState
from trays.instruments.ready import state_word
from trays.processing import queries, recalling, receiving, storing
from trays.processing.forms import KeyForm
from trays.processing.forms_packs import (
    BackForm,
    LiftForm,
    OutForm,
    OutletForm,
    QuarantineForm,
    ShelfForm,
)
from trays.processing.gathering import shown_packs
from trays.processing.pages import done, new_key, person_of, status_of
from trays.processing.putting import packs_put
from trays.processing.ways import Way, way
from trays.processing.words import reason_word
from trays.staff.access import fetch, may, require
from trays.staff.signing import signer
from trays.stock.queries import site_day
from trays.web.page import answer_page

S = PackState


@require_safe
def pack(request: HttpRequest, pk: int) -> HttpResponse:
    """One pack."""
    return _page(request, _pack(request, pk))


@require_POST
def pack_store(request: HttpRequest, pk: int) -> HttpResponse:
    """Onto a shelf; or back onto one, unopened."""
    row = _pack(request, pk)
    return _put(request, row, "store", ShelfForm(request.POST, site=row.set.site))


@require_POST
def pack_issue(request: HttpRequest, pk: int) -> HttpResponse:
    """To a theatre or onto a trolley."""
    row = _pack(request, pk)
    return _put(request, row, "issue", OutletForm(request.POST, site=row.set.site))


@require_POST
def pack_open(request: HttpRequest, pk: int) -> HttpResponse:
    """It was opened, here."""
    row = _pack(request, pk)
    form = KeyForm(request.POST)

    def act() -> object:
        return storing.packs_open(
            by=person_of(request), packs=[row], place=row.place, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return _done(request, row, form, act, open=form)


@require_POST
def pack_quarantine(request: HttpRequest, pk: int) -> HttpResponse:
    """Nobody may use it until it is cleared up."""
    row = _pack(request, pk)
    form = QuarantineForm(request.POST)

    def act() -> object:
        return storing.packs_quarantine(
            by=person_of(request), packs=[row], reason=form.cleaned_data["reason"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return _done(request, row, form, act, quarantine=form)


@require_POST
def pack_lift(request: HttpRequest, pk: int) -> HttpResponse:
    """Free again: the quality lead's act, signed."""
    row = _pack(request, pk)
    require(by=person_of(request), act="lift_quarantine", site_id=row.set.site_id)
    form = LiftForm(request.POST)

    def act() -> object:
        by = signer(person=person_of(request), pin=form.cleaned_data["pin"])
        return recalling.quarantine_lift(
            by=by, packs=[row], at=timezone.now(), client_key=form.cleaned_data["client_key"]
        )

    return _done(request, row, form, act, lift=form)


@require_POST
def pack_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Back to the start, with a reason."""
    row = _pack(request, pk)
    form = BackForm(request.POST, site=row.set.site)

    def act() -> object:
        given = form.cleaned_data
        return receiving.packs_reject(
            by=person_of(request), packs=[row], reason=given["reason"], place=given["place"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return _done(request, row, form, act, back=form)


@require_POST
def pack_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Out of the round: repair, lent, lost, condemned."""
    row = _pack(request, pk)
    form = OutForm(request.POST)

    def act() -> object:
        return storing.packs_take_out(
            by=person_of(request), packs=[row], how=form.cleaned_data["how"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return _done(request, row, form, act, out=form)


def _put(request: HttpRequest, row: Pack, name: str, form: forms.Form) -> HttpResponse:
    def act() -> None:
        given = form.cleaned_data
        said = packs_put(
            by=person_of(request), packs=[row], place=given["place"], bin=given.get("bin", ""),
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        messages.success(request, said)

    return _done(request, row, form, act, **{name: form})


def _done(
    request: HttpRequest, row: Pack, form: forms.Form, act: Callable[[], object], **given: forms.Form
) -> HttpResponse:
    def again() -> HttpResponse:
        return _page(request, _pack(request, row.pk), **given)

    return done(request, form, act, again, "pack", row.pk)


def _page(request: HttpRequest, row: Pack, **given: forms.Form) -> HttpResponse:
    at, site, by = timezone.now(), row.set.site, person_of(request)
    day = site_day(site, at)
    can = _can(row)
    dated = row.sterile_until is not None and row.state in (*Pack.READY, S.QUARANTINED)
    mays = {act: may(by=by, act=act, site_id=site.pk) for act in _ACTS}
    context: dict[str, Any] = {
        "pack": row,
        "state": PackState(row.state),
        "state_word": state_word(row.state),
        "dated": dated,
        "expired": dated and row.sterile_until is not None and row.sterile_until < day,
        "lacks": queries.lacks_of(row),
        "runs": queries.runs_that_take(row),
        "in_run": queries.run_of(row),
        "steps": [(step, reason_word(step.reason)) for step in queries.steps_of(row)],
        "care": care_of(row.set, day=day),
        "can": can,
        "mays": mays,
        "offers": any(can[what] and mays[act] for act, whats in _OFFERS.items() for what in whats),
        "key": new_key()["client_key"],
        "forms": {**_forms(row), **given},
        "faulty": next((form for form in given.values() if form.errors), None),
    }
    return answer_page(request, "trays/processing/pack.html", context, status=status_of(given))


_ACTS = (
    "process_packs", "store_packs", "issue_packs", "quarantine_packs", "lift_quarantine", "print_labels",
)  # fmt: skip

_OFFERS = {
    "process_packs": ("receive", "wash", "bench", "load", "loaded"), "store_packs": ("store",),
    "issue_packs": ("issue", "open"), "lift_quarantine": ("lift",), "print_labels": ("label",),
}  # fmt: skip


def _forms(row: Pack) -> dict[str, forms.Form]:
    site, first = row.set.site, new_key
    hall = site.places.filter(kind="sterile_services").values_list("pk", flat=True).first()
    shelf = {**first(), "place": row.place_id, "bin": row.bin}
    return {
        "store": ShelfForm(site=site, initial=shelf),
        "issue": OutletForm(site=site, initial=first()),
        "quarantine": QuarantineForm(initial=first()),
        "lift": LiftForm(initial=first()),
        "back": BackForm(site=site, initial={**first(), "place": hall}),
        "out": OutForm(initial=first()),
    }


def _can(row: Pack) -> dict[str, bool]:
    """What the ways allow from where it is."""
    usable = row.state in (S.RELEASED, S.STORED)
    returned = way(row.state, S.RECEIVED)
    return {
        "receive": row.state in (S.USED, S.OPENED, S.REPAIR, S.LENT, S.LOST),
        "wash": row.state == S.RECEIVED,
        "bench": row.state in (S.CLEANED, S.ASSEMBLED),
        "load": row.state == S.PACKED,
        "loaded": row.state == S.IN_LOAD,
        "store": (usable or row.state == S.ISSUED) and not row.immediate_use,
        "issue": usable,
        "open": row.state == S.ISSUED,
        "back": returned is Way.BACK,
        "quarantine": way(row.state, S.QUARANTINED) is not None,
        "lift": row.state == S.QUARANTINED,
        "out": way(row.state, S.REPAIR) is not None or way(row.state, S.CONDEMNED) is not None,
        "label": row.state in (S.PACKED, S.IN_LOAD, S.QUARANTINED, S.RELEASED, S.STORED),
    }


def _pack(request: HttpRequest, pk: int) -> Pack:
    return cast(
        Pack, fetch(shown_packs(), by=person_of(request), act="see_processing", site="set__site_id", pk=pk)
    )
