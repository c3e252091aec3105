"""Pages of stock takes: a place is counted by scan, counted again, agreed or adjusted."""

from typing import Any, cast

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from trays.places.choose import site_choice
from trays.staff.access import fetch, may, sites_or_refuse
from trays.staff.signed_in import person_of
from trays.staff.signing import signer, signer_named
from trays.stock import taking
from trays.stock.forms import ChosenForm, PiecesForm, ThingForm
from trays.stock.forms_moves import AdjustForm, BeginTakeForm
from trays.stock.models_takes import Sighting, StockTake, TakeStatus
from trays.stock.policies import policy_of
from trays.stock.queries_takes import elsewhere_on_site, take_picture, takes
from trays.stock.take_end import take_adjust, take_agree
from trays.web.acting import KeyForm, done, new_key, status_of
from trays.web.page import answer_page

ACT = "count_stock"
SEES = "see_stock"


@require_safe
def take_list(request: HttpRequest) -> HttpResponse:
    """Counts of the person's sites, those under way first."""
    return _list_page(request)


@require_POST
def take_begin(request: HttpRequest) -> HttpResponse:
    """Begin to count a place."""
    by = person_of(request)
    site = site_choice(request, act=ACT, by=by).site
    form = BeginTakeForm(request.POST, site=site)

    def act() -> None:
        taking.take_begin(
            by=by, place=form.cleaned_data["place"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _list_page(request, form), f"/stock-takes/?site={site.code}")


@require_safe
def take(request: HttpRequest, pk: int) -> HttpResponse:
    """One count as it stands."""
    return _page(request, _take(request, pk, SEES))


@require_POST
def take_see(request: HttpRequest, pk: int) -> HttpResponse:
    """Take down one thing by its label."""
    row = _take(request, pk, ACT)
    form = ThingForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        taking.thing_see(
            by=person_of(request), take=row, component=form.component(), lot=given["lot"],
            serial=given["serial"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, thing=form), "stock-take", pk)


@require_POST
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a scan back."""
    sighting = _sighting(request, pk)
    form = KeyForm(request.POST)

    def act() -> None:
        taking.sighting_take_back(
            by=person_of(request), sighting=sighting, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    row = sighting.take
    return done(request, form, act, lambda: _page(request, row, back=form), "stock-take", row.pk)


@require_POST
def take_moved(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that one more of a lot is a unit which the record holds elsewhere."""
    sighting = _sighting(request, pk)
    row = sighting.take
    form = ChosenForm(request.POST, site=row.site)

    def act() -> None:
        taking.more_is_moved(
            by=person_of(request), sighting=sighting, unit=form.cleaned_data["units"][0], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, moved=form), "stock-take", row.pk)


@require_POST
def take_pieces(request: HttpRequest, pk: int) -> HttpResponse:
    """How many pieces of a pile there are."""
    row = _take(request, pk, ACT)
    form = PiecesForm(request.POST, site=row.site)

    def act() -> None:
        given = form.cleaned_data
        taking.pile_count(
            by=person_of(request), take=row, pile=given["pile"], pieces=given["pieces"], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, pieces=form), "stock-take", pk)


@require_POST
def take_recount(request: HttpRequest, pk: int) -> HttpResponse:
    """Count the place again."""
    row = _take(request, pk, ACT)
    form = KeyForm(request.POST)

    def act() -> None:
        taking.take_recount(
            by=person_of(request), take=row, at=timezone.now(), client_key=form.cleaned_data["client_key"]
        )

    return done(request, form, act, lambda: _page(request, row, recount=form), "stock-take", pk)


@require_POST
def take_agree_do(request: HttpRequest, pk: int) -> HttpResponse:
    """End a count that agrees."""
    row = _take(request, pk, ACT)
    form = KeyForm(request.POST)

    def act() -> None:
        take_agree(
            by=person_of(request), take=row, at=timezone.now(), client_key=form.cleaned_data["client_key"]
        )

    return done(request, form, act, lambda: _page(request, row, agree=form), "stock-take", pk)


@require_POST
def take_break_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a count up."""
    row = _take(request, pk, ACT)
    form = KeyForm(request.POST)

    def act() -> None:
        taking.take_break_off(
            by=person_of(request), take=row, at=timezone.now(), client_key=form.cleaned_data["client_key"]
        )

    return done(request, form, act, lambda: _page(request, row, broken=form), "stock-take", pk)


@require_POST
def take_adjust_do(request: HttpRequest, pk: int) -> HttpResponse:
    """Adjust the record, signed."""
    row = _take(request, pk, "adjust_stock")
    form = AdjustForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        by = signer(person=person_of(request), pin=given["pin"])
        second = signer_named(name=given["second"], pin=given["second_pin"]) if given["second"] else None
        take_adjust(
            by=by, take=row, reason=given["reason"], note=given["note"], second=second, at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, adjust=form), "stock-take", pk)


def _list_page(request: HttpRequest, form: forms.Form | None = None) -> HttpResponse:
    by = person_of(request)
    sites = sites_or_refuse(by=by, act=SEES)
    counts = [site for site in sites if may(by=by, act=ACT, site_id=site.pk)]
    choice = site_choice(request, act=ACT, by=by) if counts else None
    context = {
        "takes": takes(sites=sites),
        "site": choice.site if choice else None,
        "sites": choice.links if choice else (),
        "begin_form": (form or BeginTakeForm(site=choice.site, initial=new_key())) if choice else None,
    }
    return answer_page(
        request, "trays/stock/takes.html", context, status=status_of({"form": form} if form else {})
    )


def _page(request: HttpRequest, row: StockTake, **given: forms.Form) -> HttpResponse:
    by = person_of(request)
    row.refresh_from_db(fields=["status", "round", "expected", "seen", "ended_at"])
    picture = take_picture(row)
    away = elsewhere_on_site(row, picture.more)
    policy = policy_of(row.site_id)
    counting = row.status == TakeStatus.COUNTING
    context: dict[str, Any] = {
        "take": row,
        "at": timezone.now(),
        "picture": picture,
        "more": [(one, away.get((one.component_id, one.lot), [])) for one in picture.more],
        "last": picture.sightings[-1] if picture.sightings else None,
        "limit": policy.adjustment_limit,
        "two": picture.value > policy.adjustment_limit or picture.unpriced > 0,
        "counts": counting and may(by=by, act=ACT, site_id=row.site_id),
        "adjusts": counting and may(by=by, act="adjust_stock", site_id=row.site_id),
        "adjustment": _adjustment(row) if not counting else None,
        "key": new_key()["client_key"],
        "faulty": [form for name, form in given.items() if name not in ("adjust", "thing")],
        "thing_form": given.get("thing") or ThingForm(initial=new_key()),
        "pieces_form": PiecesForm(site=row.site, initial=new_key()),
        "adjust_form": given.get("adjust") or AdjustForm(initial=new_key()),
    }
    return answer_page(request, "trays/stock/take.html", context, status=status_of(given))


def _adjustment(row: StockTake) -> Any:
    rows = StockTake.objects.filter(pk=row.pk, adjustment__isnull=False)
    found = rows.select_related("adjustment__signature", "adjustment__second").first()
    return found.adjustment if found else None


def _take(request: HttpRequest, pk: int, act: str) -> StockTake:
    rows = StockTake.objects.select_related("site", "place", "begun_by", "ended_by")
    return cast(StockTake, fetch(rows, by=person_of(request), act=act, pk=pk))


def _sighting(request: HttpRequest, pk: int) -> Sighting:
    rows = Sighting.objects.select_related("take__site", "take__place", "take__begun_by", "take__ended_by")
    return cast(
        Sighting, fetch(rows, by=person_of(request), act=ACT, site="take__site_id", pk=pk)
    )
