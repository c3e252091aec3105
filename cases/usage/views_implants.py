"""The page Implants of one case: what was brought in, how it was checked, how each piece ended."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast
from uuid import uuid4

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from cases.bookings.models import Case
from cases.usage import deciding, queries
from cases.usage.bringing import brought_place, unit_bring_in, unit_open
from cases.usage.checking import unit_check
from cases.usage.fates import card_record, fate_correct, fate_record
from cases.usage.forms import (
    CardForm,
    DecisionForm,
    ExplantForm,
    FateForm,
    OverrideForm,
    PlaceForm,
    construct_words,
)
from cases.usage.in_hand import Box, InHand
from cases.usage.kinds import Check, Override, Pair, Remark, Scanned
from cases.usage.models import Brought, Fits
from cases.usage.pages import SEES, case_of, pressed, surround
from cases.usage.reading import implants_of
from cases.usage.scanning import stops
from trays.processing.forms import KeyForm
from trays.processing.pages import done, key_of, new_key, person_of, status_of
from trays.staff.access import fetch
from trays.web.numbers import whole
from trays.web.page import answer_page, go_to


@dataclass(frozen=True, slots=True)
class Waiting:
    """The box in hand and what is to be done with it.

    `way` is one of: side (say for which construct), another (another one, or the same box again), already
    (brought in before), down (take it down), override (name and reason), clear.
    """

    box: Box
    check: Check
    against: tuple[Remark, ...]
    way: str

    @property
    def sides(self) -> list[tuple[int, str]]:
        """The constructs to choose between."""
        return [(one.pk, construct_words(one)) for one in self.check.ask]

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """What the rules say of this box with the others; once something is against it, what doubts it."""
        own = (one for one in self.check.pairs if 0 in (one.a_brought, one.b_brought))
        return tuple(one for one in own if not self.against or one.fits != Fits.ALLOWED)

    @property
    def notes(self) -> tuple[Remark, ...]:
        """What is to be known of it and stops nobody."""
        return tuple(one for one in self.check.remarks if one not in self.against)


@require_safe
def implants(request: HttpRequest, pk: int) -> HttpResponse:
    """Each construct with its pieces; the box in hand; what came out; what was decided."""
    return implants_page(request, case_of(request, pk))


@require_POST
def box_open(request: HttpRequest, pk: int) -> HttpResponse:
    """The box in hand is opened, with name and reason if need be; or lies on the table, still sealed."""
    case = case_of(request, pk)
    at = timezone.now()
    hand = InHand(request, case)
    box = hand.box
    if box is None:
        return go_to(request, "theatre-implants", case.pk)
    waiting = waiting_of(case, box, hand, at)
    form = OverrideForm(request.POST) if waiting.way == "override" else KeyForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        override = None
        if waiting.way == "override":
            override = Override(given["override_reason"], given["override_name"])
        unit_bring_in(
            by=person_of(request), case=case, scanned=box.scanned, construct=hand.construct(box),
            override=override, opened="sealed" not in request.POST, another=box.another, at=at,
            client_key=given["client_key"],
        )  # fmt: skip
        hand.drop()

    return done(
        request, form, act, lambda: implants_page(request, case, override=form), "theatre-implants", case.pk
    )


@require_POST
def box_in_hand(request: HttpRequest, pk: int) -> HttpResponse:
    """Say for which side the box in hand is, or that it is another one of its lot; or let it go."""
    case = case_of(request, pk)
    hand = InHand(request, case)
    chosen = whole(request.POST.get("construct", ""))
    if "another" in request.POST:
        hand.is_another()
    elif chosen is not None and case.constructs.filter(pk=chosen).exists():
        hand.choose(chosen)
    else:
        hand.drop()
    return go_to(request, "theatre-implants", case.pk)


@require_safe
def box(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """One piece: what its label said, what speaks for and against it, and the four ways it may end."""
    case = case_of(request, pk)
    return _box_page(request, case, _brought(request, case, number))


@require_POST
def opened(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """What lay sealed on the table is opened now."""
    case = case_of(request, pk)
    row = _brought(request, case, number)

    def act() -> str:
        unit_open(by=person_of(request), brought=row, at=timezone.now(), client_key=key_of(request))
        return _("Opened: %(what)s.") % {"what": queries.piece_name(row)}

    return pressed(request, act, "theatre-implants", case.pk)


@require_POST
def fate(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """How a piece ended; or, where that is on file already, how it really ended."""
    case = case_of(request, pk)
    row = _brought(request, case, number)
    form = FateForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        record = fate_correct if row.fate else fate_record
        record(
            by=person_of(request), brought=row, fate=given["fate"], why=given["why"],
            why_words=given["why_words"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(
        request, form, act, lambda: _box_page(request, case, row, fate=form), "theatre-implants", case.pk
    )


@require_POST
def card(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """Whether the patient's card was given."""
    case = case_of(request, pk)
    row = _brought(request, case, number)
    form = CardForm(request.POST)

    def act() -> None:
        card_record(
            by=person_of(request), brought=row, card=form.cleaned_data["card"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(
        request, form, act, lambda: _box_page(request, case, row, card=form), "theatre-implants", case.pk
    )


@require_POST
def place(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """For which construct a piece is, where that was not clear."""
    case = case_of(request, pk)
    row = _brought(request, case, number)
    form = PlaceForm(request.POST, case=case)

    def act() -> None:
        brought_place(
            by=person_of(request), brought=row, construct=form.cleaned_data["construct"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(
        request, form, act, lambda: _box_page(request, case, row, place=form), "theatre-implants", case.pk
    )


@require_POST
def decision(request: HttpRequest, pk: int) -> HttpResponse:
    """The surgeon's decision over what the rules say of a construct."""
    case = case_of(request, pk)
    form = DecisionForm(request.POST, case=case)

    def act() -> None:
        given = form.cleaned_data
        deciding.decision_record(
            by=person_of(request), case=case, construct=given["construct"], surgeon=given["surgeon"],
            surgeon_name=given["surgeon_name"], reason=given["reason"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return done(
        request, form, act, lambda: implants_page(request, case, decision=form), "theatre-implants", case.pk
    )


@require_POST
def explant(request: HttpRequest, pk: int) -> HttpResponse:
    """An implant of an earlier operation that came out."""
    case = case_of(request, pk)
    form = ExplantForm(request.POST, case=case)

    def act() -> None:
        given = form.cleaned_data
        said = Scanned(lot=given["lot"], serial=given["serial"])
        deciding.explant_record(
            by=person_of(request), case=case, construct=given["construct"], what=given["what"],
            scanned=said if given["lot"] or given["serial"] else None, reason=given["reason"],
            whereto=given["whereto"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(
        request, form, act, lambda: implants_page(request, case, explant=form), "theatre-implants", case.pk
    )


def implants_page(request: HttpRequest, case: Case, **given: forms.Form) -> HttpResponse:
    """The page, with a form again where something is wrong with it."""
    at = timezone.now()
    hand = InHand(request, case)
    box = hand.box
    seen = implants_of(case)
    surgeon = case.surgeon.name if case.surgeon else ""
    stands, open_ = seen.says
    context: dict[str, Any] = {
        **surround(request, case, at),
        "seen": seen,
        "stands": stands,
        "open": open_,
        "waiting": waiting_of(case, box, hand, at) if box is not None else None,
        "failures": queries.failures_of(case),
        "override_form": given.get("override")
        or OverrideForm(initial={**new_key(), "override_name": surgeon}),
        "decision_form": given.get("decision") or DecisionForm(case=case, initial=new_key()),
        "explant_form": given.get("explant") or ExplantForm(case=case, initial=new_key()),
        "key": uuid4(),
    }
    return answer_page(request, "cases/usage/implants.html", context, status=status_of(given))


def waiting_of(case: Case, box: Box, hand: InHand, at: datetime) -> Waiting:
    """The box in hand, checked anew."""
    check = unit_check(case=case, scanned=box.scanned, at=at, construct=hand.construct(box))
    codes = stops(check, another=box.another)
    against = tuple(one for one in check.stops if one.code in codes)
    return Waiting(box, check, against, _way(check, codes))


def _way(check: Check, codes: tuple[str, ...]) -> str:
    if "brought-already" in codes:
        return "already"
    if check.ask:
        return "side"
    if "another-one" in codes:
        return "another"
    if "unknown-item" in codes or "unit-not-on-file" in codes:
        return "down"
    return "override" if codes else "clear"


def _box_page(request: HttpRequest, case: Case, row: Brought, **given: forms.Form) -> HttpResponse:
    seen = implants_of(case)
    piece = seen.by_pk.get(row.pk)
    context: dict[str, Any] = {
        **surround(request, case, timezone.now()),
        "piece": piece,
        "brought": row,
        "fate_form": given.get("fate") or FateForm(initial=new_key()),
        "place_form": given.get("place") or PlaceForm(case=case, initial=new_key()),
        "card_form": given.get("card") or CardForm(initial=new_key()),
        "key": uuid4(),
    }
    return answer_page(request, "cases/usage/box.html", context, status=status_of(given))


def _brought(request: HttpRequest, case: Case, number: int) -> Brought:
    """The piece of this number that is in force; what was corrected has another number."""
    rows = Brought.objects.filter(case=case, replaced_at__isnull=True).select_related(
        "case__site", "case__list__theatre", "component__family", "unit", "construct", "slot__plan_slot"
    )
    row = cast(Brought, fetch(rows, by=person_of(request), act=SEES, site="case__site_id", number=number))
    row.case = case
    return row

