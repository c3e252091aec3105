"""The page of work of sterile services."""

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from cases.desks import work_words
from cases.desks.tables_work import WorkTable
from cases.desks.work import work_board
from cases.usage.views_failing import calls
from trays.places.choose import site_choice
from trays.staff.models import Person
from trays.web.table import PER_PAGE_MOST, answer_table
from trays.web.wording import in_hundred


@require_safe
def work(request: HttpRequest) -> HttpResponse:
    """What is wanted next and by when, what waits at each stage, what is late or will be."""
    by, at = cast(Person, request.user), timezone.now()
    choice = site_choice(request, act="see_processing", by=by)
    board = work_board(site=choice.site, at=at)
    much, late, machines = work_words.says_words(board)
    context = {
        "at": at,
        "site": choice.site,
        "sites": choice.links,
        "much": much,
        "late": late,
        "machines_say": machines,
        "machines": [
            (line, work_words.machine_words(line), work_words.until_words(line)) for line in board.machines
        ],
        "owed": board.owed,
        "wanted": in_hundred(board.snapshot.policy.wanted_in_room),
        "reckoned": board.snapshot.way is None,
        **calls(choice.site, by, at),
    }
    table = WorkTable(list(board.lines), at=at)
    return answer_table(
        request, table, "cases/desks/work.html", context,
        file_name=f"work-{choice.site.code}", per_page=PER_PAGE_MOST,
    )  # fmt: skip
