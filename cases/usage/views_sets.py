"""Sets leave the theatre: used ones to the dirty trolley with what they lack, unopened ones back."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from cases.bookings.models import Case
from cases.usage.forms_closing import SendForm
from cases.usage.leaving import Leaving, LeavingPack, leaving_packs
from cases.usage.pages import case_of, surround
from cases.usage.sending import used_sets_send
from trays.processing.forms_packs import LackForm
from trays.processing.gathering import Lack
from trays.processing.pages import done, new_key, person_of, status_of
from trays.web.errors import NotThere
from trays.web.numbers import whole
from trays.web.page import answer_page, go_to


@require_http_methods(["GET", "HEAD", "POST"])
def sets_away(request: HttpRequest, pk: int) -> HttpResponse:
    """Which packs leave, and what each lacks."""
    case = case_of(request, pk)
    if request.method != "POST":
        return _page(request, case)
    leaving = leaving_packs(request, case)
    form = SendForm(request.POST, packs=[one.pack for one in leaving], site=case.site)

    def act() -> None:
        chosen = set(form.cleaned_data["packs"].values_list("pk", flat=True))
        used_sets_send(
            by=person_of(request), case=case, packs=[one.sent() for one in leaving if one.pack.pk in chosen],
            place=form.cleaned_data["place"], at=timezone.now(), client_key=form.cleaned_data["client_key"],
        )  # fmt: skip
        Leaving(request).drop(chosen)

    return done(request, form, act, lambda: _page(request, case, send=form), "theatre-sign", case.pk)


@require_POST
def lack(request: HttpRequest, pk: int, pack: int) -> HttpResponse:
    """Note what a pack lacks, or take that back."""
    case = case_of(request, pk)
    one = _pack(request, case, pack)
    kept = Leaving(request)
    if (dropped := whole(request.POST.get("drop", ""))) is not None:
        kept.unnote(Lack(pack, dropped, 0, request.POST.get("cause", "")))
        return go_to(request, "theatre-sets", case.pk)
    form = LackForm(request.POST, pack=one.pack)

    def act() -> None:
        given = form.cleaned_data
        kept.note(Lack(pack, given["line"].pk, given["quantity"], given["cause"], given["note"]))

    return done(request, form, act, lambda: _page(request, case, of=one, lack=form), "theatre-sets", case.pk)


def _pack(request: HttpRequest, case: Case, key: int) -> LeavingPack:
    for one in leaving_packs(request, case):
        if one.pack.pk == key:
            return one
    raise NotThere("not-there", _("This pack is not in the room."), _("Load the page again."))


def _page(
    request: HttpRequest, case: Case, *, of: LeavingPack | None = None, **given: forms.Form
) -> HttpResponse:
    leaving = leaving_packs(request, case)
    chosen = request.GET.get("pack", "")
    one = of or next((row for row in leaving if str(row.pack.pk) == chosen), None)
    packs = [row.pack for row in leaving]
    context: dict[str, Any] = {
        **surround(request, case, timezone.now()),
        "leaving": leaving,
        "send_form": given.get("send")
        or SendForm(packs=packs, site=case.site, initial={**new_key(), "packs": packs}),
        "chosen": set(request.POST.getlist("packs")) if "send" in given else {str(p.pk) for p in packs},
        "one": one,
        "lack_form": (given.get("lack") or LackForm(pack=one.pack)) if one is not None else None,
    }
    return answer_page(request, "cases/usage/sets.html", context, status=status_of(given))
