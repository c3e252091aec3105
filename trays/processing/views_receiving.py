"""The page where used packs come in: scanned together, what they lack noted, then received in one act."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from trays.instruments.models import ContentsLine, Pack
from trays.parties.models import Site
from trays.places.choose import SiteChoice, site_choice
from trays.processing import queries, receiving
from trays.processing.forms import FillForm
from trays.processing.forms_packs import BackForm, LackForm, ReceiveForm
from trays.processing.gathering import Lack, Trolley, packs_in_order
from trays.processing.pages import done, new_key, person_of, status_of
from trays.staff.access import fetch
from trays.web.errors import Refusal
from trays.web.numbers import whole
from trays.web.page import answer_page, go_to


@require_safe
def receive(request: HttpRequest) -> HttpResponse:
    """What is gathered, what it lacks, and what is used and not back yet."""
    choice = _choice(request)
    pack = _one(request.GET.get("pack", ""), Trolley(request).packs(choice.site))
    return _page(request, choice, pack=pack)


@require_POST
def receive_gather(request: HttpRequest) -> HttpResponse:
    """Take a pack or a set up, or let a pack go again."""
    choice = _choice(request)
    trolley = Trolley(request)
    if (dropped := whole(request.POST.get("drop", ""))) is not None:
        trolley.drop([dropped])
        return go_to(request, address(choice.site))
    form = FillForm(request.POST)

    def act() -> object:
        return trolley.add(form.packs(choice.site))

    return done(request, form, act, lambda: _page(request, choice, gather=form), address(choice.site))


@require_POST
def receive_lack(request: HttpRequest, pk: int) -> HttpResponse:
    """Note what a gathered pack lacks, or take a note back."""
    choice = _choice(request)
    trolley = Trolley(request)
    pack = _one(str(pk), trolley.packs(choice.site))
    if pack is None:
        # A pack of this site that was put down meanwhile, not an address that leads nowhere.
        fetch(
            Pack.objects.select_related("set"),
            by=person_of(request),
            act="process_packs",
            site="set__site_id",
            pk=pk,
        )
        raise Refusal("not-in-hand", _("This pack is not in hand any more."), _("Scan it again."))
    if (dropped := whole(request.POST.get("drop", ""))) is not None:
        cause = request.POST.get("cause", "")
        trolley.unnote(Lack(pack.pk, dropped, 0, cause))
        return go_to(request, address(choice.site, pack))
    form = LackForm(request.POST, pack=pack)

    def act() -> object:
        given = form.cleaned_data
        trolley.note(Lack(pack.pk, given["line"].pk, given["quantity"], given["cause"], given["note"]))
        return given

    def again() -> HttpResponse:
        return _page(request, choice, pack=pack, lack=form)

    return done(request, form, act, again, address(choice.site, pack))


@require_POST
def receive_done(request: HttpRequest) -> HttpResponse:
    """Receive everything that is gathered."""
    choice = _choice(request)
    trolley = Trolley(request)
    form = ReceiveForm(request.POST, site=choice.site)

    def act() -> None:
        given = form.cleaned_data
        packs = packs_in_order(choice.site, given["packs"])
        received = receiving.packs_receive(
            by=person_of(request), packs=packs, place=given["place"], urgent=given["urgent"],
            lacking=trolley.lacking(packs), at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        trolley.drop(pack.pk for pack in packs)
        _say(request, len(received))

    return done(request, form, act, lambda: _page(request, choice, receive=form), address(choice.site))


@require_POST
def receive_back(request: HttpRequest) -> HttpResponse:
    """Put everything that is gathered back to the start: not used, but wet, dropped, out of date."""
    choice = _choice(request)
    trolley = Trolley(request)
    form = BackForm(request.POST, site=choice.site)

    def act() -> None:
        given = form.cleaned_data
        packs = packs_in_order(choice.site, given["packs"])
        put_back = receiving.packs_reject(
            by=person_of(request), packs=packs, reason=given["reason"], place=given["place"],
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        trolley.drop(pack.pk for pack in packs)
        _say(request, len(put_back))

    return done(request, form, act, lambda: _page(request, choice, back=form), address(choice.site))


def address(site: Site, pack: Pack | None = None) -> str:
    """The page's address for a site, with one pack's lines open."""
    return f"{reverse('receive')}?site={site.code}" + (f"&pack={pack.pk}" if pack else "")


def _say(request: HttpRequest, count: int) -> None:
    said = ngettext("%(n)s pack is received.", "%(n)s packs are received.", count) % {"n": count}
    messages.success(request, f"{said} {_('Next they are washed.')}")


def _page(
    request: HttpRequest, choice: SiteChoice, *, pack: Pack | None = None, **given: forms.Form
) -> HttpResponse:
    site = choice.site
    trolley = Trolley(request)
    packs = trolley.packs(site)
    used = [one for one in queries.waiting(site=site, states=Pack.IN_USE) if one.pk not in trolley.ids]
    ids = ",".join(str(one.pk) for one in packs)
    first = {**new_key(), "place": _hall(site), "packs": ids}
    context: dict[str, Any] = {
        "site": site,
        "sites": choice.links,
        "at": timezone.now(),
        "address": address(site),
        "gathered": _gathered(trolley, packs),
        "elsewhere": len(trolley.ids) - len(packs),
        "used": used,
        "unopened": [one for one in packs if one.state not in Pack.IN_USE],
        "pack": pack,
        "gather_form": given.get("gather") or FillForm(),
        "lack_form": given.get("lack") or (LackForm(pack=pack) if pack else None),
        "receive_form": given.get("receive") or ReceiveForm(site=site, initial=first),
        "back_form": given.get("back") or BackForm(site=site, initial=first),
    }
    return answer_page(request, "trays/processing/receive.html", context, status=status_of(given))


def _gathered(trolley: Trolley, packs: list[Pack]) -> list[tuple[Pack, list[tuple[Lack, ContentsLine]]]]:
    """The packs with what was noted of each (one query)."""
    rows = ContentsLine.objects.select_related("instrument", "rack_stock")
    lines = rows.in_bulk({one.line_id for one in trolley.lacks})
    return [
        (
            pack,
            [
                (one, lines[one.line_id])
                for one in trolley.lacks
                if one.pack_id == pack.pk and one.line_id in lines
            ],
        )
        for pack in packs
    ]


def _hall(site: Site) -> int | None:
    return site.places.filter(kind="sterile_services").values_list("pk", flat=True).first()


def _one(pk: str, packs: list[Pack]) -> Pack | None:
    return next((pack for pack in packs if str(pack.pk) == pk), None)


def _choice(request: HttpRequest) -> SiteChoice:
    return site_choice(request, act="process_packs", by=person_of(request))
