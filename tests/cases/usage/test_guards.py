"""What the database itself refuses, whoever asks: a fate set twice, a record altered, a case closed open."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from cases.bookings.models import Case
from cases.usage.bringing import unit_bring_in
from cases.usage.deciding import explant_record, stop_moment_record
from cases.usage.failing import set_fail
from cases.usage.fates import fate_record
from cases.usage.models import Brought, Mark
from cases.usage.models_closing import CaseClosing, SetFailure
from cases.usage.models_record import Explant, RecordSigning, StopMoment, SurgeonDecision
from cases.usage.signing import record_leave_unsigned
from tests.cases.usage.conftest import Table
from tests.world import NOW
from trays.ledger.guards import missing


def refused(act: Callable[[], Any], name: str) -> None:
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        act()


def test_every_law_is_in_force(table: Table) -> None:
    assert missing(connection) == []


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"fate": "wasted", "why": "dropped"}, "brought_fate_once"),
        ({"fate": "", "fate_at": None, "fate_by": None, "title_passed": False}, "brought_fate_once"),
        ({"lot": "ANOTHER"}, "brought_stays_as_taken_down"),
        ({"raw": b"x"}, "brought_stays_as_taken_down"),
        ({"pis": [["10", "x"]]}, "brought_stays_as_taken_down"),
        ({"unit": None}, "brought_stays_as_taken_down"),
        ({"construct": None, "slot": None}, "brought_replaced_stays"),
        ({"opened_at": None, "opened_by": None}, "brought_replaced_stays|brought_used_was_opened"),
    ],
)
def test_what_was_brought_in_and_its_fate_stay(table: Table, changes: dict[str, Any], name: str) -> None:
    row = fate_record(by=table.by, brought=table.bring("femoral"), fate="implanted", at=NOW)
    refused(lambda: Brought.objects.filter(pk=row.pk).update(**changes), name)


def test_a_unit_lies_on_one_table_at_a_time(table: Table) -> None:
    row = table.bring("femoral")
    row.pk, row.number, row._state.adding = None, 2, True
    refused(lambda: row.save(force_insert=True), "brought_unit_once|cases_brought.unit_id")


def test_nothing_of_the_record_is_altered_or_taken_away(table: Table) -> None:
    brought = table.bring("tibial")
    explant_record(by=table.by, case=table.case, construct=table.construct(), what="Tibial, old", at=NOW)
    stop_moment_record(by=table.by, construct=table.construct(), said=["side"], at=NOW)
    record_leave_unsigned(by=table.by, case=table.case, role="scrub", name="A. Bank", why="left", at=NOW)
    set_fail(by=table.by, case=table.case, pack=table.a_pack(), cause="wet", at=NOW)
    SurgeonDecision.objects.create(
        case=table.case, over="caution", surgeon_name="Ms Surgeon", reason="r", at=NOW, recorded_at=NOW,
        by=table.by, brought=brought,
    )  # fmt: skip
    tampering: list[tuple[Any, dict[str, Any]]] = [
        (Explant, {"what": "x"}), (StopMoment, {"content": "{}"}), (SurgeonDecision, {"reason": "x"}),
        (RecordSigning, {"name": "x"}), (SetFailure, {"cause": "hole"}), (Mark, {"kind": "late"}),
    ]  # fmt: skip
    for model, changes in tampering:
        assert model.objects.exists()
        refused(lambda m=model, c=changes: m.objects.update(**c), "append-only|stays")  # type: ignore[misc]
        refused(lambda m=model: m.objects.all()._raw_delete(m.objects.db), "append-only|never deleted")  # type: ignore[misc]
    refused(lambda: Brought.objects.filter(pk=brought.pk)._raw_delete(Brought.objects.db), "never deleted")


def test_a_case_is_closed_only_by_its_closing_and_that_only_where_nothing_is_open(table: Table) -> None:
    def close(**more: Any) -> CaseClosing:
        return CaseClosing.objects.create(case=table.case, at=NOW, by=table.by, **more)

    refused(
        lambda: Case.objects.filter(pk=table.case.pk).update(status="closed"), "case_closed_without_closing"
    )
    refused(close, "closing_not_counted")
    table.counted()
    brought = table.bring("femoral")
    refused(close, "closing_without_fate")
    fate_record(by=table.by, brought=brought, fate="implanted", at=NOW)
    pack = table.a_pack()
    refused(close, "closing_pack_in_room")
    refused(lambda: close(by_exception=True, reason="emergency"), "case_closing_exception_signed")
    table.world.take_to([pack], "used")
    close()
    Case.objects.filter(pk=table.case.pk).update(status="closed")
    refused(lambda: Case.objects.filter(pk=table.case.pk).update(status="opened"), "case_closed_stays")
    late = unit_bring_in(
        by=table.by, case=Case.objects.get(pk=table.case.pk), at=NOW,
        scanned=table.label(table.stock("patellar")[0]),
    )  # fmt: skip
    assert set(late.marks.values_list("kind", flat=True)) == {"late"}
