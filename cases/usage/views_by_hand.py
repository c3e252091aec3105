"""Boxes without a unit on stock, or without a code that anybody knows: facts, taken down and marked."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from cases.bookings.models import Case
from cases.usage.bringing import box_take_down
from cases.usage.forms import ByHandForm
from cases.usage.in_hand import Box, InHand
from cases.usage.kinds import Override, Scanned
from cases.usage.pages import case_of, surround
from cases.usage.views_implants import waiting_of
from trays.processing.pages import done, new_key, person_of, status_of
from trays.web.page import answer_page


@require_http_methods(["GET", "HEAD", "POST"])
def box_down(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a box down: what the scanner read of it if it is in hand, else what is typed off its label."""
    case = case_of(request, pk)
    if request.method != "POST":
        return _page(request, case, None)
    form = ByHandForm(request.POST, case=case)
    hand = InHand(request, case)

    def act() -> None:
        given = form.cleaned_data
        box = hand.box if given["from_scan"] else None
        override = None
        if given["override_reason"]:
            override = Override(given["override_reason"], given["override_name"])
        box_take_down(
            by=person_of(request), case=case, scanned=_scanned(form, box), construct=given["construct"],
            component=given["component"], owner=given["owner"], override=override, at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip
        hand.drop()

    return done(request, form, act, lambda: _page(request, case, form), "theatre-implants", case.pk)


def _scanned(form: ByHandForm, box: Box | None) -> Scanned:
    """The label as it was scanned, with what it is in words; or all of it as it was typed."""
    if box is None:
        return form.scanned
    one = box.scanned
    return Scanned(
        raw=one.raw, device=one.device, lot=one.lot, serial=one.serial, expires=one.expires,
        made_on=one.made_on, agency=one.agency, pis=one.pis, described=form.cleaned_data["described"],
    )  # fmt: skip


def _page(request: HttpRequest, case: Case, form: forms.Form | None) -> HttpResponse:
    at = timezone.now()
    hand = InHand(request, case)
    asked = request.GET.get("scanned") or (form is not None and form.data.get("from_scan"))
    box = hand.box if asked else None
    waiting = waiting_of(case, box, hand, at) if box is not None else None
    if form is None:
        first: dict[str, Any] = {**new_key(), "construct": waiting.check.construct if waiting else None}
        if box is not None:
            first |= {
                "from_scan": True, "device": box.scanned.device, "lot": box.scanned.lot,
                "serial": box.scanned.serial, "expires": box.scanned.expires,
                "typed_reason": _("scanned; the code is not on stock"),
                "component": waiting.check.component if waiting else None,
            }  # fmt: skip
        form = ByHandForm(case=case, initial={key: value for key, value in first.items() if value})
    context = {**surround(request, case, at), "form": form, "waiting": waiting}
    shown = {"form": form} if form.is_bound else {}
    return answer_page(request, "cases/usage/box_down.html", context, status=status_of(shown))
