"""Pages of sets: the list with readiness, and one set."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from trays.instruments.care import care_of
from trays.instruments.models import InstrumentSet
from trays.instruments.models_pieces import Care
from trays.instruments.queries import contents_of, serves_in_words, set_facts
from trays.instruments.ready import SetFacts
from trays.instruments.services import care_done
from trays.instruments.tables import ContentsTable, PackTable, SetLine, SetTable, pack_lines, set_lines
from trays.parties.queries import site_day
from trays.places.choose import site_choice
from trays.staff.access import fetch, may
from trays.staff.models import Person
from trays.web.errors import NotThere
from trays.web.filters import FilterLink, GetForm
from trays.web.page import go_to
from trays.web.table import answer_table, answer_tables
from trays.web.wording import sitetime

Beside = Callable[[InstrumentSet, SetFacts, datetime], Mapping[str, Any]]


def nothing_beside(row: InstrumentSet, facts: SetFacts, at: datetime) -> Mapping[str, Any]:
    """What this room alone knows beside a set."""
    return {}


STATES = (("ready", "ready"), ("not-ready", "not ready"), ("short", "short"))


class SetFilter(GetForm):
    """Which sets of the list."""

    state = forms.ChoiceField(choices=STATES, required=False)


@require_safe
def sets(request: HttpRequest) -> HttpResponse:
    """A site's sets with readiness today, and why not."""
    by = cast(Person, request.user)
    choice = site_choice(request, act="see_sets", by=by)
    at = timezone.now()
    day = site_day(choice.site, at)
    facts = set_facts(site_ids=[choice.site.pk])
    lines = set_lines(facts, day, serves_in_words({one.design_id for one in facts}))
    form = SetFilter(request.GET)
    context = {
        "at": at,
        "site": choice.site,
        "sites": choice.links,
        "says": _says_all(lines),
        "which": _which(form, lines),
    }
    chosen = [line for line in lines if _in(form.chosen.get("state", ""), line)]
    table = SetTable(chosen)
    return answer_table(
        request, table, "trays/instruments/sets.html", context, file_name=f"sets-{choice.site.code}"
    )


def _in(state: str, line: SetLine) -> bool:
    return {"ready": line.ready, "not-ready": not line.ready, "short": line.shortages > 0}.get(state, True)


def _which(form: SetFilter, lines: Sequence[SetLine]) -> list[FilterLink]:
    def count(state: str) -> int:
        return sum(1 for line in lines if _in(state, line))

    return form.links(
        "state",
        [
            (None, _("All %(count)s") % {"count": len(lines)}),
            ("ready", _("Ready, %(count)s") % {"count": count("ready")}),
            ("not-ready", _("Not ready, %(count)s") % {"count": count("not-ready")}),
            ("short", _("Short of pieces, %(count)s") % {"count": count("short")}),
        ],
    )


def _says_all(lines: Sequence[SetLine]) -> str:
    ready = sum(1 for line in lines if line.ready)
    short = sum(1 for line in lines if line.shortages)
    total = ngettext("%(count)s set.", "%(count)s sets.", len(lines)) % {"count": len(lines)}
    now = ngettext("%(count)s is ready today.", "%(count)s are ready today.", ready) % {"count": ready}
    lacking = ngettext("%(count)s lacks pieces.", "%(count)s lack pieces.", short) % {"count": short}
    return " ".join((total, now, lacking)) if lines else _("No sets are on file at this site.")


@require_safe
def one_set(request: HttpRequest, code: str, beside: Beside = nothing_beside) -> HttpResponse:
    """One set: its packs, its contents against the list, where it is, until when it is sterile.

    `beside` gives what rooms above this one know of it: `ready_by`, `because`, `history_url`.
    """
    by = cast(Person, request.user)
    rows = InstrumentSet.objects.select_related("version__design", "site", "owner")
    # A null character in an address would not reach every database as a question.
    row = fetch(rows if code.isprintable() else rows.none(), by=by, act="see_sets", code=code.strip("\x00"))
    at = timezone.now()
    day = site_day(row.site, at)
    (facts,) = set_facts(site_ids=[row.site_id], set_ids=[row.pk])
    context = {
        "set": row,
        "facts": facts,
        "says": _says_one(facts, ready=facts.ready_on(day), why=facts.why_not(day)),
        "serves": serves_in_words([facts.design_id]).get(facts.design_id, ()),
        "at": at,
        "care": care_of(row, day=day),
        "may_care": may(by=by, act="process_packs", site_id=row.site_id),
        **beside(row, facts, at),
    }
    tables = {
        "packs": PackTable(pack_lines(facts.packs, day), prefix="packs-"),
        "contents": ContentsTable(contents_of(row), prefix="contents-"),
    }
    return answer_tables(
        request, tables, "trays/instruments/set.html", context, file_name=f"set-{row.code}", per_page=500
    )


@require_POST
def care_is_done(request: HttpRequest, pk: int) -> HttpResponse:
    """Take down that the care of a set, or of an instrument in it, was done."""
    by = cast(Person, request.user)
    row = Care.objects.select_related("set__site", "piece__site", "piece__pack__set").filter(pk=pk).first()
    thing = row.set or (row.piece.pack.set if row.piece and row.piece.pack else None) if row else None
    if row is None or thing is None:
        raise NotThere("not-there", _("There is no such care."), _("Load the set's page again."))
    fetch(InstrumentSet.objects.all(), by=by, act="see_sets", pk=thing.pk)
    care_done(by=by, care=row, at=timezone.now())
    messages.success(request, _("Taken down as done: %(what)s.") % {"what": row.what})
    return go_to(request, "set", thing.code)


def _says_one(facts: SetFacts, *, ready: bool, why: Sequence[str]) -> str:
    if not ready:
        return _("Not ready today: %(why)s.") % {"why": "; ".join(why)}
    packs = ngettext("%(count)s pack", "%(count)s packs", len(facts.packs)) % {"count": len(facts.packs)}
    until = facts.sterile_until
    if until is None:
        return _("Ready: %(packs)s, without a date.") % {"packs": packs}
    return _("Ready: %(packs)s, sterile until %(day)s.") % {"packs": packs, "day": sitetime(until, "date")}
