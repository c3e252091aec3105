"""The page for putting away and bringing: a shelf or theatre and packs, scanned in either order."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from trays.instruments.models import Pack, PackState
from trays.parties.models import Site
from trays.places.choose import SiteChoice, site_choice
from trays.processing import queries
from trays.processing.forms import FillForm
from trays.processing.forms_packs import AnywhereForm, PutForm
from trays.processing.gathering import Hands, packs_in_order
from trays.processing.pages import done, new_key, person_of, status_of
from trays.processing.putting import packs_put
from trays.staff.access import may
from trays.stock.queries import site_day
from trays.web.numbers import whole
from trays.web.page import answer_page, go_to


@require_safe
def store(request: HttpRequest) -> HttpResponse:
    """What is in hand, and what waits to be put away."""
    return _page(request, _choice(request))


@require_POST
def store_gather(request: HttpRequest) -> HttpResponse:
    """Take a pack or a set up; with a place in hand it is put there at once. Or let a pack go again."""
    choice = _choice(request)
    hands = Hands(request)
    if (dropped := whole(request.POST.get("drop", ""))) is not None:
        hands.drop([dropped])
        return go_to(request, address(choice.site))
    form = FillForm(request.POST)

    def act() -> None:
        packs = form.packs(choice.site)
        place = hands.place(choice.site)
        if place is None:
            hands.add(packs)
            return
        said = packs_put(
            by=person_of(request), packs=packs, place=place, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip
        messages.success(request, said)

    return done(request, form, act, lambda: _page(request, choice, gather=form), address(choice.site))


@require_POST
def store_place(request: HttpRequest) -> HttpResponse:
    """Choose the place to which all that follows is brought, or none."""
    choice = _choice(request)
    form = AnywhereForm(request.POST, site=choice.site)
    if "none" in request.POST:
        Hands(request).hold(None)
        return go_to(request, address(choice.site))

    def act() -> None:
        Hands(request).hold(form.cleaned_data["place"])

    return done(request, form, act, lambda: _page(request, choice, place=form), address(choice.site))


@require_POST
def store_done(request: HttpRequest) -> HttpResponse:
    """Bring everything that is gathered to a place."""
    choice = _choice(request)
    hands = Hands(request)
    form = PutForm(request.POST, site=choice.site)

    def act() -> None:
        given = form.cleaned_data
        packs = packs_in_order(choice.site, given["packs"])
        said = packs_put(
            by=person_of(request), packs=packs, place=given["place"], bin=given["bin"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        hands.drop(pack.pk for pack in packs)
        messages.success(request, said)

    return done(request, form, act, lambda: _page(request, choice, put=form), address(choice.site))


def address(site: Site) -> str:
    """The page's address for a site."""
    return f"{reverse('store')}?site={site.code}"


def _page(request: HttpRequest, choice: SiteChoice, **given: forms.Form) -> HttpResponse:
    site, by, at = choice.site, person_of(request), timezone.now()
    hands = Hands(request)
    packs = hands.packs(site)
    day = site_day(site, at)
    first = {**new_key(), "packs": ",".join(str(pack.pk) for pack in packs)}
    context: dict[str, Any] = {
        "site": site,
        "sites": choice.links,
        "at": at,
        "address": address(site),
        "place": hands.place(site),
        "gathered": packs,
        "elsewhere": len(hands.ids) - len(packs),
        "released": _others(queries.waiting(site=site, states=[PackState.RELEASED]), hands.ids),
        "expired": queries.out_of_date(site=site, day=day),
        "may_store": may(by=by, act="store_packs", site_id=site.pk),
        "gather_form": given.get("gather") or FillForm(initial=new_key()),
        "place_form": given.get("place") or AnywhereForm(site=site),
        "put_form": given.get("put") or PutForm(site=site, initial=first),
    }
    return answer_page(request, "trays/processing/store.html", context, status=status_of(given))


def _others(packs: Sequence[Pack], ids: Sequence[int]) -> list[Pack]:
    return [pack for pack in packs if pack.pk not in ids]


def _choice(request: HttpRequest) -> SiteChoice:
    return site_choice(request, act="issue_packs", by=person_of(request))
