"""The page for putting away and moving: a shelf first, then what goes there; scan by scan, or ticked."""

from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from trays.parties.models import Site
from trays.places.choose import site_choice
from trays.places.models import Place
from trays.staff.access import fetch
from trays.staff.signed_in import person_of
from trays.stock.forms_moves import FromForm, MoveForm, MovePiecesForm, MoveThingForm, ToForm
from trays.stock.models import Pile
from trays.stock.queries_takes import units_lying
from trays.stock.services import SHELVES, pile_move, units_move
from trays.stock.which import unit_to_move
from trays.web.acting import done, new_key, status_of
from trays.web.page import answer_page, go_to

ACT = "move_stock"


@require_safe
def moves(request: HttpRequest) -> HttpResponse:
    """Choose or scan the shelf to which things go."""
    by = person_of(request)
    choice = site_choice(request, act=ACT, by=by)
    if "to" in request.GET:
        chosen = ToForm(request.GET, site=choice.site)
        if chosen.is_valid():
            return go_to(request, "stock-moves-to", chosen.cleaned_data["to"].pk)
    context = {
        "site": choice.site,
        "sites": choice.links,
        "at": timezone.now(),
        "to_form": ToForm(site=choice.site, auto_id="to_%s"),
    }
    return answer_page(request, "trays/stock/moves.html", context)


@require_safe
def moves_to(request: HttpRequest, pk: int) -> HttpResponse:
    """What goes to this shelf: by scan, by label, or ticked from another shelf."""
    return _page(request, _shelf(request, pk))


@require_POST
def move_thing(request: HttpRequest, pk: int) -> HttpResponse:
    """One unit by its label."""
    place = _shelf(request, pk)
    form = MoveThingForm(request.POST, site=place.site)

    def act() -> None:
        given = form.cleaned_data
        unit = unit_to_move(
            component=form.component(), lot=given["lot"], serial=given["serial"], place=place,
            origin=given["origin"],
        )  # fmt: skip
        units_move(
            by=person_of(request), units=[unit], place=place, at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip
        messages.success(request, _("%(unit)s: here now.") % {"unit": unit})

    return done(request, form, act, lambda: _page(request, place, thing=form), "stock-moves-to", pk)


@require_POST
def move_ticked(request: HttpRequest, pk: int) -> HttpResponse:
    """Units that were ticked on another shelf."""
    place = _shelf(request, pk)
    form = MoveForm(request.POST, site=place.site)

    def act() -> None:
        units = list(form.cleaned_data["units"])
        units_move(
            by=person_of(request), units=units, place=place, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip
        said = ngettext("%(n)s unit is here now.", "%(n)s units are here now.", len(units))
        messages.success(request, said % {"n": len(units)})

    return done(request, form, act, lambda: _page(request, place, ticked=form), _back(request, place))


@require_POST
def move_pieces(request: HttpRequest, pk: int) -> HttpResponse:
    """Pieces of a pile on another shelf."""
    place = _shelf(request, pk)
    form = MovePiecesForm(request.POST, site=place.site)

    def act() -> None:
        given = form.cleaned_data
        pile_move(
            by=person_of(request), pile=given["pile"], pieces=given["pieces"], place=place,
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        words = {"n": given["pieces"], "what": given["pile"].component}
        messages.success(request, _("%(n)s × %(what)s: here now.") % words)

    return done(request, form, act, lambda: _page(request, place, pieces=form), _back(request, place))


def _page(request: HttpRequest, place: Place, **given: forms.Form) -> HttpResponse:
    origin = _origin(request, place.site)
    context: dict[str, Any] = {
        "site": place.site,
        "place": place,
        "at": timezone.now(),
        "address": _back(request, place),
        "query": request.GET.urlencode(),
        "thing_form": given.get("thing") or MoveThingForm(site=place.site, initial=new_key()),
        "from_form": FromForm(site=place.site, auto_id="from_%s", initial={"origin": origin}),
        "origin": origin,
        "units": units_lying(place_id=origin.pk) if origin else (),
        "piles": _piles(origin) if origin else (),
        "here": units_lying(place_id=place.pk).count(),
        "ticked_form": given.get("ticked") or MoveForm(site=place.site, initial=new_key()),
        "pieces_form": given.get("pieces") or MovePiecesForm(site=place.site, initial=new_key()),
    }
    return answer_page(request, "trays/stock/moves_to.html", context, status=status_of(given))


def _origin(request: HttpRequest, site: Site) -> Place | None:
    form = FromForm(request.GET, site=site)
    return cast("Place | None", form.cleaned_data["origin"]) if form.is_valid() else None


def _piles(place: Place) -> list[Pile]:
    rows = Pile.objects.filter(place=place, quantity__gt=0).select_related("component", "owner")
    return list(rows.order_by("component__name", "expires", "pk"))


def _back(request: HttpRequest, place: Place) -> str:
    query = request.GET.urlencode()
    return reverse("stock-moves-to", args=[place.pk]) + (f"?{query}" if query else "")


def _shelf(request: HttpRequest, pk: int) -> Place:
    rows = Place.objects.filter(kind__in=SHELVES).select_related("site")
    return cast(Place, fetch(rows, by=person_of(request), act=ACT, pk=pk))
