"""Acts on the page of a pick list: take a tick back, issue what is picked, opened, back unopened."""

from collections.abc import Callable
from typing import cast
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from cases.picks import leaving, queries, ticking
from cases.picks.forms import BackForm, LineForm, MakeForm, PacksForm
from cases.picks.models import PackFor, PickList
from cases.picks.not_this import line_words
from trays.instruments.models import Pack
from trays.staff.access import fetch, require
from trays.staff.models import Person
from trays.web.errors import Refusal, Unreadable
from trays.web.page import go_to


@require_POST
def undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back the last tick, and say which."""
    row, form = _list(request, pk), MakeForm(request.POST)

    def act() -> str:
        lines = ticking.pick_undo(by=_by(request), pick_list=row, at=timezone.now(), client_key=_key(form))
        return _("Taken back: %(what)s.") % {"what": "; ".join(line_words(line) for line in lines)}

    return _done(request, row, form, act)


@require_POST
def line(request: HttpRequest, pk: int) -> HttpResponse:
    """Tick a line of consumables."""
    row, form = _list(request, pk), LineForm(request.POST)

    def act() -> str:
        lines = ticking.pile_pick(
            by=_by(request), pick_list=row, number=form.cleaned_data["number"], at=timezone.now(),
            client_key=_key(form),
        )  # fmt: skip
        return _("Picked: %(what)s.") % {"what": "; ".join(line_words(line) for line in lines)}

    return _done(request, row, form, act)


@require_POST
def issue(request: HttpRequest, pk: int) -> HttpResponse:
    """The picked packs leave for the theatre."""
    row, form = _list(request, pk), MakeForm(request.POST)

    def act() -> str:
        made = leaving.packs_issue_for(
            by=_by(request), pick_list=row, at=timezone.now(), client_key=_key(form)
        )
        said = ngettext(
            "%(n)s pack is issued to %(place)s.", "%(n)s packs are issued to %(place)s.", len(made)
        )
        return said % {"n": len(made), "place": row.case.list.theatre.name}

    return _done(request, row, form, act)


@require_POST
def opened(request: HttpRequest, pk: int) -> HttpResponse:
    """Packs were opened for the case of this list."""
    row = _list(request, pk)
    require(by=_by(request), act="issue_packs", site_id=row.case.site_id)
    form = PacksForm(request.POST, known=_with_case(row))

    def act() -> str:
        rows = leaving.packs_open_for(
            by=_by(request), case=row.case, packs=_packs(form), at=timezone.now(), client_key=_key(form)
        )
        return ngettext("%(n)s pack is opened.", "%(n)s packs are opened.", len(rows)) % {"n": len(rows)}

    return _done(request, row, form, act)


@require_POST
def returned(request: HttpRequest, pk: int) -> HttpResponse:
    """Packs came back unopened."""
    row = _list(request, pk)
    require(by=_by(request), act="store_packs", site_id=row.case.site_id)
    form = BackForm(request.POST, known=_with_case(row), site=row.case.site)

    def act() -> str:
        place = form.cleaned_data["place"]
        rows = leaving.packs_return_from(
            by=_by(request), case=row.case, packs=_packs(form), place=place, at=timezone.now(),
            client_key=_key(form),
        )  # fmt: skip
        said = ngettext(
            "%(n)s pack is back unopened, on %(place)s.",
            "%(n)s packs are back unopened, on %(place)s.",
            len(rows),
        )
        return said % {"n": len(rows), "place": place.name}

    return _done(request, row, form, act)


def _done(request: HttpRequest, row: PickList, form: forms.Form, act: Callable[[], str]) -> HttpResponse:
    """Do the act and say so on the list's page; nothing was typed that could be lost by a refusal."""
    if not form.is_valid():
        sentence = next(iter(form.errors.values()))[0]
        raise Unreadable("not-understood", str(sentence), _("Go back to the list and press again."))
    try:
        messages.success(request, act())
    except Refusal as refusal:
        if refusal.code == "not-your-act":
            raise
        messages.warning(request, f"{refusal.sentence} {refusal.next_step}")
    return go_to(request, "pick-list", row.pk)


def _with_case(row: PickList) -> list[int]:
    left = PackFor.objects.filter(case=row.case, returned_at__isnull=True, opened_at__isnull=True)
    return list(left.values_list("pack_id", flat=True))


def _packs(form: forms.Form) -> list[Pack]:
    rows = Pack.objects.select_related("set__site", "place")
    return list(rows.filter(pk__in=form.cleaned_data["packs"]).order_by("pk"))


def _key(form: forms.Form) -> UUID | None:
    return cast("UUID | None", form.cleaned_data["client_key"])


def _by(request: HttpRequest) -> Person:
    return cast(Person, request.user)


def _list(request: HttpRequest, pk: int) -> PickList:
    by = _by(request)
    return cast(PickList, fetch(queries.whole_lists(), by=by, act="see_picks", site="case__site_id", pk=pk))
