"""Two people apply the same checked file at the same moment: it is applied once, the other is told so."""

import io
from datetime import timedelta

import pytest

from cases.desks.importing import import_apply, import_check, kind_named
from tests.world import NOW
from trays.exchange.models import ImportRun
from trays.ledger.queries import verify
from trays.stock.models import Unit
from trays.stock.verify import stock_faults
from trays.web.errors import Refusal

pytestmark = pytest.mark.race

ROWS = b"""component,lot,quantity,owner,tenure,site,place,received
fem-2-x-left,A1,3,LOC,owned,larkmere,S1,2026-11-02 10:00
"""


def test_one_of_two_applies_it(race_world, at_once):
    cast = race_world.cast
    run = import_check(
        kind=kind_named("units"), file=io.BytesIO(ROWS), file_name="units.csv", by=cast.stores, at=NOW
    )
    assert run.state == ImportRun.State.CHECKED
    at = NOW + timedelta(minutes=5)

    def apply():
        return import_apply(run=ImportRun.objects.get(pk=run.pk), by=cast.stores, at=at)

    answers = at_once(apply, apply)
    refused = [answer for answer in answers if isinstance(answer, Refusal)]
    assert [one.code for one in refused] == ["import-applied-already"]
    assert Unit.objects.count() == 3
    assert verify() == []
    assert not any(fault.startswith("unit") for fault in stock_faults())


def test_of_two_files_with_one_receipt_one_is_applied(race_world, at_once):
    cast = race_world.cast
    kind = kind_named("units")
    runs = [
        import_check(kind=kind, file=io.BytesIO(raw), file_name="units.csv", by=cast.stores, at=NOW)
        for raw in (ROWS, ROWS + b"fem-2-x-left,A2,1,LOC,owned,larkmere,S1,2026-11-02 10:00\n")
    ]
    at = NOW + timedelta(minutes=5)

    def apply(run):
        return lambda: import_apply(run=ImportRun.objects.get(pk=run.pk), by=cast.stores, at=at)

    answers = at_once(*map(apply, runs))
    refused = [answer for answer in answers if isinstance(answer, Refusal)]
    assert [one.code for one in refused] == ["import-out-of-date"]
    assert Unit.objects.filter(lot="A1").count() == 3
    assert verify() == []
    assert not any(fault.startswith("unit") for fault in stock_faults())
