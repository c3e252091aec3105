"""The page of a site's sets over one day."""

from datetime import date, timedelta
from typing import cast
from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from cases.readiness import day_words
from cases.readiness.day import day_board
from cases.readiness.day_order import propose
from cases.readiness.snapshot import HORIZON_DAYS
from cases.readiness.way import SURE
from trays.parties.queries import site_day
from trays.staff.access import may, sites_or_refuse
from trays.staff.models import Person
from trays.web.errors import NotThere
from trays.web.page import answer_page
from trays.web.wording import in_hundred


@require_GET
def day_sets(request: HttpRequest, site: str, day: str) -> HttpResponse:
    """Each kind of set over the day, the first case that waits, and an order in which none does."""
    by, now = cast(Person, request.user), timezone.now()
    found = next((one for one in sites_or_refuse(by=by, act="see_cases") if one.code == site), None)
    wanted = _day(day)
    if found is None or wanted is None:
        raise _not_there()
    today = site_day(found, now)
    if not today <= wanted < today + timedelta(days=HORIZON_DAYS):
        raise _not_there()
    board = day_board(site=found, day=wanted, at=now)
    proposal = propose(board)
    context = {
        "site": found,
        "board": board,
        "today": wanted == today,
        "says": day_words.page_words(board),
        "conflicts": day_words.waiting_words(board),
        "kinds": [(kind, day_words.kind_words(kind)) for kind in board.kinds if kind.tight],
        "ample": [(kind, day_words.kind_words(kind)) for kind in board.kinds if not kind.tight],
        "proposal": proposal,
        "order_says": day_words.order_words(proposal) if proposal else None,
        "may_order": may(by=by, act="reorder_list", site_id=found.pk),
        "orders": [(one, uuid4()) for one in proposal.lists] if proposal else [],
        "sure": in_hundred(SURE),
    }
    return answer_page(request, "cases/readiness/day_sets.html", context)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _not_there() -> NotThere:
    return NotThere(
        "day-not-there",
        _("There is no such day of this site to look at."),
        _("Choose a day in the fortnight; sets are looked at from today on, for four weeks."),
    )
