"""Pages of transfers between sites: listed, sent, received by scan, differences explained."""

from typing import Any, cast

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from trays.places.choose import site_choice
from trays.staff.access import may, require, sites_for, sites_or_refuse
from trays.staff.models import Person
from trays.staff.signed_in import person_of
from trays.stock import transferring, transfers_in
from trays.stock.forms import ChosenForm, ReasonForm, ThingForm
from trays.stock.forms_moves import (
    ArriveForm,
    ArrivePiecesForm,
    ExplainForm,
    MovePiecesForm,
    NoteForm,
    TransferForm,
)
from trays.stock.models_transfers import CarriedState, Transfer, TransferPile, TransferStatus, TransferUnit
from trays.stock.queries_pages import piles_at, transfers
from trays.stock.which import unit_arriving, unit_to_send
from trays.web.acting import KeyForm, done, new_key, status_of
from trays.web.errors import NotThere
from trays.web.numbers import whole
from trays.web.page import answer_page

ACT = "transfer_stock"
SEES = "see_stock"


@require_safe
def transfer_list(request: HttpRequest) -> HttpResponse:
    """Transfers from and to the person's sites, open ones first."""
    return _list_page(request)


@require_POST
def transfer_new(request: HttpRequest) -> HttpResponse:
    """Begin a transfer: what goes is listed on its own page."""
    by = person_of(request)
    site = site_choice(request, act=ACT, by=by).site
    form = TransferForm(request.POST, site=site)

    def act() -> None:
        given = form.cleaned_data
        transferring.transfer_make(
            by=by, source=site, target=given["target"], note=given["note"], needed_on=given["needed_on"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        messages.success(request, _("Begun. Open it and scan what shall go."))

    return done(request, form, act, lambda: _list_page(request, form), f"/transfers/?site={site.code}")


@require_safe
def transfer(request: HttpRequest, pk: int) -> HttpResponse:
    """One transfer: what goes, what has come, what differs."""
    return _page(request, _transfer(request, pk))


@require_POST
def transfer_list_thing(request: HttpRequest, pk: int) -> HttpResponse:
    """List one unit by its label."""
    row = _to_do(request, pk, "source")
    form = ThingForm(request.POST)

    def act() -> None:
        given = form.cleaned_data
        unit = unit_to_send(
            transfer=row, component=form.component(), lot=given["lot"], serial=given["serial"]
        )
        transferring.transfer_add(
            by=person_of(request), transfer=row, units=[unit], at=timezone.now(),
            client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, thing=form), "transfer", pk)


@require_POST
def transfer_list_pieces(request: HttpRequest, pk: int) -> HttpResponse:
    """List pieces of a pile."""
    row = _to_do(request, pk, "source")
    form = MovePiecesForm(request.POST, site=row.source)

    def act() -> None:
        given = form.cleaned_data
        transferring.transfer_add(
            by=person_of(request), transfer=row, at=timezone.now(), client_key=given["client_key"],
            pieces=[transferring.Pieces(given["pile"], given["pieces"])],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, pieces=form), "transfer", pk)


@require_POST
def transfer_take_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a unit off the list again."""
    row = _to_do(request, pk, "source")
    form = ChosenForm(request.POST, site=row.source)

    def act() -> None:
        transferring.transfer_take_off(
            by=person_of(request), transfer=row, units=list(form.cleaned_data["units"]), at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, off=form), "transfer", pk)


@require_POST
def transfer_send(request: HttpRequest, pk: int) -> HttpResponse:
    """Send what is listed."""
    row = _to_do(request, pk, "source")
    form = KeyForm(request.POST)

    def act() -> None:
        transferring.transfer_send(
            by=person_of(request), transfer=row, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, send=form), "transfer", pk)


@require_POST
def transfer_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Give it up."""
    row = _to_do(request, pk, "source")
    form = ReasonForm(request.POST)

    def act() -> None:
        transferring.transfer_cancel(
            by=person_of(request), transfer=row, reason=form.cleaned_data["reason"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, cancel=form), "transfer", pk)


@require_POST
def transfer_arrive(request: HttpRequest, pk: int) -> HttpResponse:
    """Take one unit in by its label."""
    row = _to_do(request, pk, "target")
    form = ArriveForm(request.POST, site=row.target)

    def act() -> None:
        given = form.cleaned_data
        unit = unit_arriving(
            transfer=row, component=form.component(), lot=given["lot"], serial=given["serial"]
        )
        transfers_in.transfer_receive(
            by=person_of(request), transfer=row, units=[unit], place=given["place"], bin=given["bin"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, arrive=form), "transfer", pk)


@require_POST
def transfer_arrive_pieces(request: HttpRequest, pk: int) -> HttpResponse:
    """Take pieces of one lot in."""
    carried = _carried_pile(request, pk)
    row = _to_do(request, carried.transfer_id, "target")
    form = ArrivePiecesForm(request.POST, site=row.target)

    def act() -> None:
        given = form.cleaned_data
        transfers_in.transfer_receive_pieces(
            by=person_of(request), transfer=row, carried=carried, pieces=given["pieces"],
            place=given["place"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, arrive_pieces=form), "transfer", row.pk)


@require_POST
def transfer_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that all that came has been received."""
    row = _to_do(request, pk, "target")
    form = KeyForm(request.POST)

    def act() -> None:
        transfers_in.transfer_end(
            by=person_of(request), transfer=row, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, end=form), "transfer", pk)


@require_POST
def transfer_explain(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what became of a unit that did not arrive."""
    rows = TransferUnit.objects.select_related("transfer__source", "transfer__target", "unit")
    carried = cast(TransferUnit, rows.filter(pk=pk).first() or _not_there())
    row = _to_do(request, carried.transfer_id, "source", "target")
    form = ExplainForm(request.POST, sites=[row.source, row.target])

    def act() -> None:
        given = form.cleaned_data
        transfers_in.difference_explain(
            by=person_of(request), carried=carried, how=given["how"], note=given["note"],
            place=given["place"], at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, explain=form), "transfer", row.pk)


@require_POST
def transfer_pieces_lost(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that the rest of a lot is lost."""
    carried = _carried_pile(request, pk)
    row = _to_do(request, carried.transfer_id, "source", "target")
    form = NoteForm(request.POST)

    def act() -> None:
        transfers_in.pieces_lost(
            by=person_of(request), carried=carried, note=form.cleaned_data["note"], at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _page(request, row, lost=form), "transfer", row.pk)


def _list_page(request: HttpRequest, form: forms.Form | None = None) -> HttpResponse:
    by = person_of(request)
    sites = sites_or_refuse(by=by, act=SEES)
    senders = list(sites_for(by=by, act=ACT))
    site = site_choice(request, act=ACT, by=by).site if senders else None
    context = {
        "transfers": transfers(sites=sites),
        "here": {site.pk for site in sites},
        "site": site,
        "new_form": (form or TransferForm(site=site, initial=new_key())) if site else None,
    }
    return answer_page(
        request, "trays/stock/transfers.html", context, status=status_of({"form": form} if form else {})
    )


def _page(request: HttpRequest, row: Transfer, **given: forms.Form) -> HttpResponse:
    by = person_of(request)
    units = row.units.exclude(state=CarriedState.TAKEN_OFF).select_related(
        "unit__component", "unit__place", "unit__owner", "by"
    )
    listed = list(units.order_by("unit__component__name", "unit__expires", "pk"))
    piles = list(row.piles.select_related("pile__component", "pile__place").order_by("pile__component__name"))
    sends = may(by=by, act=ACT, site_id=row.source_id) and row.status == TransferStatus.MADE
    arriving = row.status in (TransferStatus.SENT, TransferStatus.DIFFERS)
    takes = may(by=by, act=ACT, site_id=row.target_id) and arriving
    context: dict[str, Any] = {
        "transfer": row,
        "at": timezone.now(),
        "units": listed,
        "piles": piles,
        "still": sum(one.state in (CarriedState.SENT, CarriedState.MISSING) for one in listed),
        "extra": sum(one.state == CarriedState.EXTRA for one in listed),
        "sends": sends,
        "takes": takes,
        "explains": row.status == TransferStatus.DIFFERS and (takes or _at_source(by, row)),
        "stock_piles": piles_at(site=row.source) if sends else (),
        "key": new_key()["client_key"],
        "faulty": [form for form in given.values()],
        "thing_form": given.get("thing") or ThingForm(initial=new_key()),
        "pieces_form": MovePiecesForm(site=row.source, initial=new_key()),
        "cancel_form": given.get("cancel") or ReasonForm(initial=new_key()),
        "arrive_form": given.get("arrive") or ArriveForm(site=row.target, initial=_into(request)),
        "arrive_pieces_form": ArrivePiecesForm(site=row.target, initial={**new_key(), **_into(request)}),
        "explain_form": ExplainForm(sites=[row.source, row.target], initial=new_key()),
        "into": _into(request).get("place", ""),
    }
    return answer_page(request, "trays/stock/transfer.html", context, status=status_of(given))


def _into(request: HttpRequest) -> dict[str, Any]:
    place = request.GET.get("place", "")
    return {**new_key(), **({"place": place} if whole(place) is not None else {})}


def _at_source(by: Person, row: Transfer) -> bool:
    return may(by=by, act=ACT, site_id=row.source_id)


def _transfer(request: HttpRequest, pk: int) -> Transfer:
    """A transfer from or to a site whose stock the person may see; else it is not there."""
    sites = sites_for(by=person_of(request), act=SEES)
    rows = Transfer.objects.filter(Q(source__in=sites) | Q(target__in=sites), pk=pk)
    found = rows.select_related("source", "target", "made_by", "sent_by", "ended_by").first()
    return found or _not_there()


def _to_do(request: HttpRequest, pk: int, *ends: str) -> Transfer:
    """The same, for somebody who may act on it at one of these ends."""
    row = _transfer(request, pk)
    by = person_of(request)
    if not any(may(by=by, act=ACT, site_id=getattr(row, f"{end}_id")) for end in ends):
        require(by=by, act=ACT, site_id=getattr(row, f"{ends[0]}_id"))
    return row


def _carried_pile(request: HttpRequest, pk: int) -> TransferPile:
    rows = TransferPile.objects.select_related("transfer__source", "transfer__target", "pile__component")
    return rows.filter(pk=pk).first() or _not_there()


def _not_there() -> Any:
    raise NotThere(
        "not-there", _("There is nothing here that you may see."), _("Go back, or look for it in the list.")
    )
