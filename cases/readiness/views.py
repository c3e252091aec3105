"""Pages of readiness: the fortnight, and one case."""

from typing import cast
from uuid import uuid4

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from cases.bookings.models import Case
from cases.bookings.queries import whole_cases
from cases.readiness import drawn
from cases.readiness.assess import case_board, horizon
from cases.readiness.fortnight import DAYS, fortnight
from cases.readiness.listing import list_words
from cases.readiness.tables import FortnightLines
from trays.staff.access import fetch, may, sites_or_refuse
from trays.staff.models import Person
from trays.web.filters import GetForm
from trays.web.page import answer_page
from trays.web.table import FILES, table_file

# Acts on the case's page: name in the template -> (URL name, the act that the person must have).
CASE_ACTS = {
    "predict": ("case-predict", "predict_size"),
    "change": ("case-change", "book_case"),
    "move": ("case-move", "book_case"),
    "cancel": ("case-cancel", "book_case"),
    "count_sheets": ("count-sheets", "print_count_sheets"),
    "make": ("pick-list-make", "make_pick_list"),
    "pick_list": ("case-pick-list", "see_picks"),
    "record": ("theatre-record", "see_theatre"),
    "avoid": ("case-avoid", "see_theatre"),
    "actions": ("case-actions", "see_reorders"),
}


class FortnightFilter(GetForm):
    """Which lines, and of which site."""

    show = forms.ChoiceField(choices=[("needs", "needs"), ("mine", "mine")], required=False)
    site = forms.SlugField(required=False)


@require_GET
def fortnight_page(request: HttpRequest) -> HttpResponse:
    """Every list of the next two weeks with its cases' verdicts."""
    mine = sites_or_refuse(by=_person(request), act="see_cases")
    chosen = FortnightFilter(request.GET)
    code = chosen.chosen.get("site", "")
    sites = [site for site in mine if site.code == code] or mine
    show = chosen.chosen.get("show", "")
    found = fortnight(sites=sites, by=_person(request), at=timezone.now(), show=show)
    kind = request.GET.get("as", "")
    if kind in FILES:
        return table_file(FortnightLines(found.lines), kind, "fortnight")
    links = [
        ("", _("All %(n)d") % {"n": len(found.lines)}),
        ("needs", _("Need an act, %(n)d") % {"n": found.needing}),
        ("mine", _("Mine")),
    ]
    context = {
        "fortnight": found,
        "counts": {word.value: count for word, count in found.counts.items()},
        "sites": sites,
        "links": chosen.links("show", links),
        "site_links": chosen.links(
            "site", [("", _("Every site")), *((site.code, site.name) for site in mine)]
        )
        if len(mine) > 1
        else [],
        "files": [
            (kind.upper(), chosen.address() + ("&" if request.GET else "") + f"as={kind}") for kind in FILES
        ],
        "days": DAYS,
        "may_book": any(may(by=_person(request), act="book_case", site_id=site.pk) for site in sites),
        "book_url": _address("case-book"),
        "ordering": {
            site.pk for site in sites if may(by=_person(request), act="reorder_list", site_id=site.pk)
        },
        "import_url": _address("import-new"),
    }
    return answer_page(request, "cases/readiness/fortnight.html", context)


@require_GET
def case_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One case: both verdicts with their reasons, its sizes drawn, its sets, and what can be done."""
    case: Case = fetch(whole_cases(), by=_person(request), act="see_cases", pk=pk)
    now = timezone.now()
    board = case_board(case=case, at=now)
    verdict = horizon(site=case.site, at=now).verdicts.get(case.pk)
    facts = board.snapshot.cases[0]
    law = board.law
    context = {
        "case": case,
        "facts": facts,
        "sides": [construct.side for construct in facts.constructs if construct.side != "none"],
        "verdict": verdict,
        "predictions": [
            drawn.prediction_line(board.snapshot, slot, construct.side)
            for construct in facts.constructs
            for slot in construct.slots
            if slot.predicted
        ],
        "pictures": drawn.slot_pictures(board.snapshot, law, board.run, board.speaker) if law else [],
        "sets": drawn.set_lines(board.snapshot, law, board.set_ids, board.speaker) if law else [],
        "list_words": list_words(board.room, law, board.speaker)
        if board.room and law and verdict and not verdict.picked
        else (),
        "urls": _case_urls(request, case),
        "order_url": _address("list-order", case.list_id)
        if may(by=_person(request), act="reorder_list", site_id=case.site_id)
        else "",
        "key": uuid4(),
        "open": case.status == Case.Status.BOOKED,
    }
    return answer_page(request, "cases/readiness/case.html", context)


def _person(request: HttpRequest) -> Person:
    """Who has signed in: the site lets nobody else through."""
    return cast(Person, request.user)


def _case_urls(request: HttpRequest, case: Case) -> dict[str, str]:
    """Addresses of the acts that this person may do on the case."""
    return {
        name: _address(url, case.pk)
        for name, (url, act) in CASE_ACTS.items()
        if may(by=_person(request), act=act, site_id=case.site_id)
    }


def _address(name: str, *args: object) -> str:
    """ "" where the site has no such page."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""
