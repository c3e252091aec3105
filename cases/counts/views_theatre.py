"""The theatre's pages of one day and one case: today, bring in, count."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from cases.bookings.models import Case
from cases.counts import bringing_in, opening
from cases.counts.around import around
from cases.counts.forms_theatre import CountersForm, PackAllTheSameForm, PackInForm
from cases.counts.models_counts import IndicatorSeen, TheatreCount
from cases.counts.queries_device import counter_at, counters_at
from cases.counts.queries_room import CaseToday, Room, packs_brought, rooms_of, theatre_day
from cases.counts.state import count_state
from cases.counts.views_entries import case_of, picture
from cases.counts.words import page_words
from cases.picks.queries import in_force
from trays.instruments.models import Pack
from trays.parties.queries import site_day
from trays.places.choose import site_choice
from trays.processing.gathering import shown_packs
from trays.processing.pages import person_of
from trays.staff.access import may
from trays.staff.models import Person
from trays.web.acting import KeyForm, done, new_key, status_of
from trays.web.errors import NotThere, Refusal
from trays.web.filters import GetForm
from trays.web.numbers import whole
from trays.web.page import answer_page, go_to


@require_safe
def today(request: HttpRequest) -> HttpResponse:
    """Today's cases by theatre: what each has in the room, what it lacks, and the way in."""
    by, at = _by(request), timezone.now()
    choice = site_choice(request, act="see_theatre", by=by)
    day = site_day(choice.site, at)
    days = theatre_day(site_id=choice.site.pk, day=day)
    chosen = request.GET.get("theatre", "")
    shown = [one for one in days if one.theatre.code == chosen] or list(days)
    links = GetForm(request.GET).links(
        "theatre", [(None, _("All theatres")), *((one.theatre.code, one.theatre.name) for one in days)]
    )
    context = {
        "site": choice.site,
        "sites": choice.links,
        "day": day,
        "at": at,
        "days": shown,
        "theatres": links if len(days) > 1 else (),
        "cases": (cases := [one for theatre in shown for one in theatre.cases]),
        "says": _says(cases),
    }
    return answer_page(request, "cases/counts/theatre/today.html", context)


@require_safe
def bring_in(request: HttpRequest, pk: int) -> HttpResponse:
    """What the case has in the room, what it lacks; the trolley, and each pack that is opened."""
    return _bring_in(request, case_of(request, pk))


@require_POST
def open_case(request: HttpRequest, pk: int) -> HttpResponse:
    """Open the case in theatre; who counts may be said now or when the first count begins."""
    case = case_of(request, pk)
    form = CountersForm(request.POST, people=counters_at(site_id=case.site_id))

    def act() -> None:
        opening.case_open(
            by=_by(request), case=case, scrub=_counter(case, form, "scrub"),
            circulating=_counter(case, form, "circulating"), at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip

    return done(request, form, act, lambda: _bring_in(request, case, open=form), "theatre-case", case.pk)


@require_POST
def trolley(request: HttpRequest, pk: int) -> HttpResponse:
    """Take over what picking checked: everything on the list in force that was picked."""
    case = case_of(request, pk)
    form = KeyForm(request.POST)

    def act() -> None:
        pick_list = in_force(case)
        if pick_list is None:
            raise no_list(case)
        opening.trolley_take_over(
            by=_by(request), case=case, pick_list=pick_list, at=timezone.now(),
            client_key=form.cleaned_data["client_key"],
        )  # fmt: skip
        messages.success(request, _("The trolley is taken over. Scan each pack as it is opened."))

    return done(request, form, act, lambda: _bring_in(request, case, trolley=form), "theatre-case", case.pk)


@require_POST
def pack_in(request: HttpRequest, pk: int, pack: int) -> HttpResponse:
    """A pack was opened: what the scrub nurse said of its indicator; all the same, by whom and why."""
    case = case_of(request, pk)
    chosen = _pack(case, pack)
    against = any(not one.ok for one in bringing_in.pack_checks(case=case, pack=chosen, at=timezone.now()))
    form = (PackAllTheSameForm if against else PackInForm)(request.POST)

    def act() -> None:
        given = form.cleaned_data
        anyway = None
        if against:
            anyway = bringing_in.Opened(
                reason=given["reason"], note=given["note"], decided_by=given["decided_by"]
            )
        bringing_in.pack_bring_in(
            by=_by(request), case=case, pack=chosen, indicator=given["indicator"], opened_already=anyway,
            at=timezone.now(), client_key=given["client_key"],
        )  # fmt: skip
        messages.success(request, _("Pack %(pack)s is opened and counted with.") % {"pack": chosen.number})

    def again() -> HttpResponse:
        return _bring_in(request, case, chosen, pack=form)

    return done(request, form, act, again, "theatre-case", case.pk)


@require_safe
def count(request: HttpRequest, pk: int) -> HttpResponse:
    """The count: drawn by its own module, with or without a network; worked by forms without scripts."""
    case = case_of(request, pk)
    given = picture(request, case)
    found = count_state(case)
    if found is None:
        return go_to(request, "theatre-case", case.pk)
    stage = found.stage(found.current) if found.current else None
    context = {
        **around(request, case),
        "at": timezone.now(),
        "picture": json.dumps(given),
        "state": found,
        "stage": stage,
        "next": found.stage(found.next) if found.next and not stage else None,
        "counted": [one for one in found.lines if stage and one.klass in stage.classes],
        "people": given["people"],
        "words": json.dumps(page_words()),
        "key": uuid4(),
        "may_count": may(by=_by(request), act="count", site_id=case.site_id),
        "may_print": may(by=_by(request), act="print_count_sheets", site_id=case.site_id),
    }
    return answer_page(request, "cases/counts/theatre/count.html", context)


def no_list(case: Case) -> Refusal:
    return Refusal(
        "no-pick-list",
        _("Case %(reference)s has no pick list, so nothing was picked by it.")
        % {"reference": case.reference},
        _("Scan each pack and each box as it is opened."),
    )


def address_of_pack(case: Case, pack: Pack) -> str:
    """The page with a pack in hand, whose indicator is asked for."""
    return f"{reverse('theatre-case', args=[case.pk])}?pack={pack.pk}#hand"


def _bring_in(
    request: HttpRequest, case: Case, chosen: Pack | None = None, **given: forms.Form
) -> HttpResponse:
    by, at = _by(request), timezone.now()
    opened = TheatreCount.objects.filter(case=case).select_related("scrub", "circulating").first()
    if chosen is None and opened is not None and (asked := request.GET.get("pack", "")).isdecimal():
        chosen = _pack(case, whole(asked) or 0)
    checks = bringing_in.pack_checks(case=case, pack=chosen, at=at) if chosen and opened else ()
    wrong = [one for one in checks if not one.ok]
    people = counters_at(site_id=case.site_id)
    form = PackAllTheSameForm if wrong else PackInForm
    room, packs_in = rooms_of([case])[case.pk], packs_brought(opened) if opened else ()
    context: dict[str, Any] = {
        **around(request, case),
        "at": at,
        "opened": opened,
        "room": room,
        "says": _room_says(case, room, bool(opened)),
        "packs_in": packs_in,
        "brought": {one.pack_id for one in packs_in},
        "hand": chosen,
        "checks": checks,
        "wrong": wrong,
        "indicators": IndicatorSeen.choices,
        "sheets": may(by=by, act="print_count_sheets", site_id=case.site_id),
        "open_form": given.get("open") or CountersForm(people=people, initial=new_key()),
        "trolley_form": given.get("trolley"),
        "pack_form": given.get("pack") or form(initial=new_key()),
        "may_count": may(by=by, act="count", site_id=case.site_id),
        "ended": case.status not in (Case.Status.BOOKED, Case.Status.OPENED),
        "key": uuid4(),
    }
    return answer_page(request, "cases/counts/theatre/bring_in.html", context, status=status_of(given))


def _says(cases: Sequence[CaseToday]) -> str:
    under_way = sum(one.state == "opened" for one in cases)
    lacking = sum(bool(one.room.missing) for one in cases if one.state == "to_come")
    said = [ngettext("%(n)s case.", "%(n)s cases.", len(cases)) % {"n": len(cases)}]
    if under_way:
        said.append(ngettext("%(n)s is under way.", "%(n)s are under way.", under_way) % {"n": under_way})
    said.append(
        ngettext("%(n)s still lacks something.", "%(n)s still lack something.", lacking) % {"n": lacking}
        if lacking
        else _("Nothing is missing for those to come.")
    )
    return " ".join(said)


def _room_says(case: Case, room: Room, opened: bool) -> str:
    if case.status == Case.Status.CLOSED:
        return _("The case is closed.")
    if not room.packs:
        return _("No packs have been picked for it.")
    said = _("%(n)s of %(all)s packs are in the room, %(units)s of %(wanted)s implants were picked.") % {
        "n": room.packs_here, "all": len(room.packs), "units": room.units_picked, "wanted": room.units,
    }  # fmt: skip
    missing = len(room.missing)
    if missing:
        words = ngettext("%(n)s thing is missing.", "%(n)s things are missing.", missing)
        said += " " + words % {"n": missing}
    return said if opened else said + " " + _("It has not been opened yet.")


def _pack(case: Case, pk: int) -> Pack:
    row = shown_packs().filter(pk=pk, set__site_id=case.site_id).first()
    if row is None:
        raise NotThere("no-such-pack", _("There is no such pack at this site."), _("Scan it again."))
    return row


def _counter(case: Case, form: CountersForm, name: str) -> Person | None:
    chosen = form.cleaned_data[name]
    return counter_at(site_id=case.site_id, pk=chosen) if chosen else None


def _by(request: HttpRequest) -> Person:
    return person_of(request)
