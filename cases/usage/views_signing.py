"""Sign and close: what still waits, who has signed, the sets that leave, the end of the case."""

from collections.abc import Callable
from typing import Any
from uuid import UUID, uuid5

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from cases.bookings.models import Case
from cases.counts.models_counts import StageSigning
from cases.counts.signing import signature_shows, stages_sign
from cases.usage.closing import case_close, case_close_by_exception
from cases.usage.forms import construct_words
from cases.usage.forms_closing import ExceptionForm, SignForm, UnsignedForm
from cases.usage.kinds import Shown
from cases.usage.leaving import leaving_packs
from cases.usage.models_record import SignRole
from cases.usage.pages import case_of, pressed, surround
from cases.usage.queries_record import closing_waits, signings, unsigned_waits
from cases.usage.signing import record_leave_unsigned, record_sign
from trays.processing.pages import done, key_of, new_key, person_of, status_of
from trays.staff.models import Person, RoleKind
from trays.staff.signing import Signer, signer_named
from trays.web.errors import Refusal, Unreadable
from trays.web.page import answer_page

SEATS = (SignRole.SCRUB, SignRole.CIRCULATING)
SEAT_OF: dict[str, str] = {
    SignRole.SCRUB: RoleKind.SCRUB_NURSE,
    SignRole.CIRCULATING: RoleKind.CIRCULATING_NURSE,
    SignRole.SURGEON: RoleKind.SURGEON,
}
# One of the two may have been signed before, or there was no count on screen.
NOTHING_TO_DO = ("signed-already", "nothing-to-sign", "case-not-opened")


@require_safe
def sign(request: HttpRequest, pk: int) -> HttpResponse:
    """What waits, the signatures, the close."""
    return _page(request, case_of(request, pk))


@require_POST
def record_signed(request: HttpRequest, pk: int) -> HttpResponse:
    """A person signs counts and record with badge and PIN, whoever is signed in on this screen."""
    case = case_of(request, pk)
    role = request.POST.get("role", "")
    if role not in SignRole.values:
        raise Unreadable(
            "no-such-role", _("This names nobody who signs."), _("Press a button of the page again.")
        )
    form = SignForm(request.POST, role=role)

    def act() -> None:
        given = form.cleaned_data
        signer = signer_named(name=given["name"], pin=given["pin"])
        _sign_both(person_of(request), case, given["role"], signer, given["client_key"])

    return done(request, form, act, lambda: _page(request, case, **{role: form}), "theatre-sign", case.pk)


@require_POST
def unsigned(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody stands for the record and cannot sign now."""
    case = case_of(request, pk)
    form = UnsignedForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        record_leave_unsigned(
            by=person_of(request), case=case, role=given["role"], name=given["name"], why=given["why"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, case, unsigned=form), "theatre-sign", case.pk)


@require_POST
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """The case is over."""
    case = case_of(request, pk)

    def act() -> str:
        case_close(by=person_of(request), case=case, at=timezone.now(), client_key=key_of(request))
        return _("Case %(reference)s is closed.") % {"reference": case.reference}

    return pressed(request, act, "theatre-record", case.pk)


@require_POST
def close_by_exception(request: HttpRequest, pk: int) -> HttpResponse:
    """A senior person closes it although something is open."""
    case = case_of(request, pk)
    form = ExceptionForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        senior = signer_named(name=given["name"], pin=given["pin"])
        case_close_by_exception(
            by=person_of(request), case=case, senior=senior, reason=given["reason"], words=given["words"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, case, exception=form), "theatre-record", case.pk)


def _sign_both(by: Person, case: Case, role: str, signer: Signer, key: UUID | None) -> None:
    """One PIN for the record and for what this person counted; each is an act of its own."""
    at, said = timezone.now(), []
    acts: list[Callable[[], object]] = [
        lambda: record_sign(by=by, case=case, role=role, signer=signer, at=at, client_key=key),
        lambda: stages_sign(
            by=by, case=case, signer=signer, seat=SEAT_OF[role], at=at,
            client_key=uuid5(key, "count") if key is not None else None,
        ),
    ]  # fmt: skip
    for act in acts:
        try:
            act()
        except Refusal as refusal:
            if refusal.code not in NOTHING_TO_DO:
                raise
            said.append(refusal)
    if len(said) == len(acts):
        raise said[0]


def seats_of(case: Case, shown: tuple[Shown, ...]) -> list[dict[str, Any]]:
    """Each seat with its signatures under the records and the counts of the case, in words."""
    constructs = {one.pk: construct_words(one) for one in case.constructs.order_by("number")}
    several = len(constructs) > 1
    counts = _count_signings(case)
    found = []
    for role in (*SEATS, SignRole.SURGEON):
        own = [one for one in shown if one.role == role]
        if role == SignRole.SURGEON and not own:
            continue
        lines = [
            (one, _("Implant record, %(side)s") % {"side": constructs[one.construct_id]})
            if several
            else (one, _("Implant record"))
            for one in own
        ]
        lines += [(one, label) for seat, one, label in counts if seat == SEAT_OF[role]]
        whole = len(own) == len(constructs) and all(one.holds for one, _label in lines)
        found.append({"role": role, "label": role.label, "lines": lines, "whole": whole})
    return found


def _count_signings(case: Case) -> list[tuple[str, Shown, str]]:
    """The signatures under the stages of the count, in the order of the stages."""
    rows = StageSigning.objects.filter(stage__count__case=case).select_related("stage", "signature")
    return [
        (
            row.seat,
            Shown(
                pk=row.pk, construct_id=0, role=row.seat, name=row.signature.name, at=row.signature.signed_at,
                signed=True, holds=signature_shows(row.signature), why="",
                meaning=row.signature.get_meaning_display(),
            ),
            row.stage.word,
        )
        for row in rows.order_by("stage__number", "stage__turn", "pk")
    ]  # fmt: skip


def _page(request: HttpRequest, case: Case, **given: forms.Form) -> HttpResponse:
    shown = signings(case)
    waits = closing_waits(case)
    seats = seats_of(case, shown)
    for seat in seats:
        role = seat["role"].value
        first = {**new_key(), "role": role, "name": _badge(request, role)}
        seat["form"] = given.get(role) or SignForm(role=role, initial=first)
    context = {
        **surround(request, case, timezone.now()),
        "waits": waits,
        "unsigned": unsigned_waits(case),
        "seats": seats,
        "leaving": leaving_packs(request, case),
        "unsigned_form": given.get("unsigned") or UnsignedForm(initial=new_key()),
        "exception_form": given.get("exception") or ExceptionForm(initial=new_key()),
        "key": new_key()["client_key"],
        "forms": [form for form in given.values() if form.is_bound],
    }
    return answer_page(request, "cases/usage/sign.html", context, status=status_of(given))


def _badge(request: HttpRequest, role: str) -> str:
    """The sign-in name of whoever's badge was scanned on this page for this seat."""
    return request.GET.get("name", "")[:60] if request.GET.get("role") == role else ""
