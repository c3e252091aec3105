"""Paper: one pick list, five hundred labels."""

from datetime import datetime

import pytest

from cases.bookings.models import Case
from cases.picks.models import PickList
from cases.picks.reading import sheet_of
from cases.picks.services import pick_list_make
from cases.picks.sheet import pick_list_pdf
from tests.bench.conftest import median_of, tell, timed
from trays.labels.services import labels_print
from trays.staff.models import Person
from trays.stock.models import Unit

LABELS = 500


@pytest.fixture
def pick_list(demo_world: Person, now: datetime) -> PickList:
    case = Case.objects.select_related("site", "list").get(reference="LK-0111")
    seconds, made = timed(lambda: pick_list_make(by=demo_world, case=case, at=now))
    tell(f"make the pick list of {case.reference}, {made.lines.count()} lines", seconds)
    return made


def test_one_pick_list(pick_list: PickList, now: datetime) -> None:
    seconds = median_of(lambda: pick_list_pdf(sheet_of(pick_list, at=now)), 5)
    tell("its PDF, queries included, median of 5", seconds)


@pytest.mark.parametrize("stock", ["roll-300", "a4"])
def test_five_hundred_labels(stock: str, demo_world: Person, now: datetime) -> None:
    # Only what has no readable code of its own gets a label: here all of it.
    Unit.objects.update(code_reads=False)
    units = Unit.objects.filter(site__code="larkmere", state="shelf").order_by("pk")
    ids = list(units.values_list("pk", flat=True)[:LABELS])
    seconds, printed = timed(
        lambda: labels_print(by=demo_world, kind="unit", ids=ids, stock=stock, at=now),
    )
    size = len(printed.pdf) // 1024
    tell(f"{printed.labels} unit labels on {stock}", seconds, f"{size} KiB, {len(printed.refused)} refused")
