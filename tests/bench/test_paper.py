"""Paper: one pick list. Labels are in test_labels.py."""

from datetime import datetime

import pytest

from cases.bookings.models import Case
from cases.picks.models import PickList
from cases.picks.reading import sheet_of
from cases.picks.services import pick_list_make
from cases.picks.sheet import pick_list_pdf
from tests.bench.conftest import median_of, tell, timed
from trays.staff.models import Person


@pytest.fixture
def pick_list(demo_world: Person, now: datetime) -> PickList:
    case = Case.objects.select_related("site", "list").get(reference="LK-0111")
    seconds, made = timed(lambda: pick_list_make(by=demo_world, case=case, at=now))
    tell(f"make the pick list of {case.reference}, {made.lines.count()} lines", seconds)
    return made


def test_one_pick_list(pick_list: PickList, now: datetime) -> None:
    seconds = median_of(lambda: pick_list_pdf(sheet_of(pick_list, at=now)), 5)
    tell("its PDF, queries included, median of 5", seconds)
