"""The page of a case's sizes: what their likelihood rests on, linked sizes as pairs, and what is there."""

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_GET

from cases.bookings.models import Case
from cases.bookings.queries import whole_cases
from cases.readiness import drawn
from cases.readiness.assess import case_board
from cases.readiness.sizes import pair_bases, slot_bases
from trays.staff.access import fetch
from trays.staff.models import Person
from trays.web.page import answer_page


@require_GET
def sizes_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Each slot's law, the joint law of linked slots, and the stock below each size."""
    by = cast(Person, request.user)
    case: Case = fetch(whole_cases(), by=by, act="see_cases", pk=pk)
    board = case_board(case=case, at=timezone.now())
    law = board.law
    pictures = drawn.slot_pictures(board.snapshot, law, board.run, board.speaker) if law else []
    context = {
        "case": case,
        "sides": [one.side for one in board.snapshot.cases[0].constructs if one.side != "none"],
        "slots": slot_bases(board.snapshot, law, pictures) if law else [],
        "pairs": pair_bases(board.snapshot, law) if law else [],
        "possible": law is not None,
    }
    return answer_page(request, "cases/readiness/sizes.html", context)
