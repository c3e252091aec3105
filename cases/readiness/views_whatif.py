"""The page on which a list is tried otherwise."""

from datetime import timedelta
from typing import Any, cast
from urllib.parse import urlencode
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from cases.bookings.models import TheatreList
from cases.bookings.queries import lists_between
from cases.readiness import whatif_words as words
from cases.readiness.assess import judgement
from cases.readiness.best_try import best_try
from cases.readiness.snapshot import HORIZON_DAYS
from cases.readiness.tries import MOST_TRIES, Kind, Try, tries_read
from cases.readiness.whatif import Board, CaseChange, Change, Done, ListLine, board
from trays.staff.access import fetch, may
from trays.staff.models import Person
from trays.web.errors import Refusal
from trays.web.page import answer_page, wants_part

ACTS = {"reorder": "reorder_list", "book": "book_case", "order": "see_reorders"}


@require_GET
def what_if(request: HttpRequest, pk: int) -> HttpResponse:
    """Both verdicts of a list's cases now and as they would be after what the address names."""
    by = cast(Person, request.user)
    lists = TheatreList.objects.select_related("site", "theatre", "surgeon")
    theatre_list = cast(TheatreList, fetch(lists, by=by, act="see_cases", pk=pk))
    known = judgement(site=theatre_list.site, at=timezone.now())
    today = known.horizon.day
    if not today <= theatre_list.day < today + timedelta(days=HORIZON_DAYS):
        raise Refusal(
            "list-not-judged",
            _("This list lies outside the four weeks that are judged, so nothing can be tried on it."),
            _("Choose a list of the next four weeks in the fortnight."),
        )
    rows = lists_between(theatre_list.site_id, today, today + timedelta(days=HORIZON_DAYS - 1))
    pressed = tries_read([*request.GET.getlist("t"), *_to_list(request)])
    found = board(theatre_list=theatre_list, now=known, rows=rows, pressed=pressed[:MOST_TRIES])
    allowed = {name: may(by=by, act=act, site_id=theatre_list.site_id) for name, act in ACTS.items()}
    search = best_try(found)
    best = search.best
    context = {
        "list": theatre_list,
        "list_words": words.list_words(theatre_list),
        "board": found,
        "kept": [str(one.one) for one in found.done],
        "done": [_done(pk, found, one, allowed) for one in found.done],
        "in_place": wants_part(request),
        "full": len(found.done) >= MOST_TRIES,
        "said": words.says_words(found.tries),
        "lines": [_line(line) for line in found.lines],
        "elsewhere": [_case(one) for one in found.elsewhere],
        "tried": bool(found.tries),
        "served_now": words.served_words(found.served_now),
        "served_then": words.served_words(found.served_then),
        "means": words.means_words(found.served_then),
        "best_words": words.best_words(found, search),
        "best_url": _address(pk, [*(one.one for one in found.done), best.one]) if best else "",
        "targets": [(one.pk, words.list_words(one)) for one in found.targets],
        "target": next((one.pk for one in found.targets if one.day >= theatre_list.day), 0),
        "order": " ".join(str(one) for one in found.new_order) if allowed["reorder"] else "",
        "seen": " ".join(str(one) for one in found.seen),
        "key": uuid4(),
    }
    answer = answer_page(request, "cases/readiness/what_if.html", context)
    if wants_part(request):
        # What was chosen in a field stands in the address like what was pressed.
        answer["HX-Push-Url"] = _address(pk, [one.one for one in found.done])
    return answer


def _to_list(request: HttpRequest) -> list[str]:
    """A move that is chosen in a field: the case by its button, the list by its field."""
    case = request.GET.get("case", "")
    return [f"move.{case}.{request.GET.get(f'to-{case}', '')}"] if case else []


def _address(pk: int, tries: list[Try]) -> str:
    query = urlencode([("t", str(one)) for one in tries])
    return reverse("list-what-if", args=[pk]) + (f"?{query}" if query else "")


def _done(pk: int, found: Board, done: Done, allowed: dict[str, bool]) -> dict[str, Any]:
    one = done.one
    who = words.act_words(one, allowed)
    return {
        "words": words.try_words(found, one),
        "refusal": done.refusal,
        "without": _address(pk, list(done.without)),
        "who": who,
        "act": "" if who or done.refusal else _act(one),
        "act_words": {
            Kind.MOVE: _("Move it"),
            Kind.OUT: _("Cancel it"),
            Kind.MORE: _("See the reorders"),
        }.get(one.kind, ""),
    }


def _act(one: Try) -> str:
    """Where the real act is; "" for what has its button below the list."""
    if one.kind is Kind.MOVE:
        return reverse("case-move", args=[one.case_id]) + f"?list={one.list_id}"
    if one.kind is Kind.OUT:
        return reverse("case-cancel", args=[one.case_id])
    return reverse("reorders") if one.kind is Kind.MORE else ""


def _line(line: ListLine) -> dict[str, Any]:
    return {
        "line": line,
        "case": line.case,
        "to": words.list_words(line.to) if line.to else "",
        "moved": not line.left and line.before not in (0, line.case.position),
        "came": not line.left and not line.before,
        **(_case(line.change) if line.change else {}),
    }


def _case(one: CaseChange) -> dict[str, Any]:
    return {"facts": one.facts, "on_site": _level(one.on_site), "in_room": _level(one.in_room)}


def _level(change: Change) -> dict[str, Any]:
    return {
        "now": change.now,
        "then": change.then,
        "by": words.change_words(change),
        "way": words.way_of(change),
        "word_changed": bool(change.now and change.then and change.now.word is not change.then.word),
    }
