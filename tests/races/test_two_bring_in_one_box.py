"""Two theatres scan the same serial at the same moment: one has it, the other is told where it stands.

The lock on the unit and the database's constraint each keep it so; with neither it would lie on two tables.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection, transaction

from cases.bookings.models import Case
from cases.usage import checking, taking, which_unit
from cases.usage.bringing import unit_bring_in
from cases.usage.fates import fate_record
from cases.usage.models import Brought
from tests.cases.usage.conftest import Table
from tests.world import NOW, World
from trays.ledger.guards import install, registered, remove
from trays.ledger.queries import verify
from trays.stock.models import Pile, Unit
from trays.stock.verify import stock_faults
from trays.web.errors import Refusal

pytestmark = pytest.mark.race

LAW = next(law for law in Brought._meta.constraints if law.name == "brought_unit_once")


@pytest.fixture
def table(race_world: World) -> Table:
    # They did not come in through the record.
    Pile.objects.all().delete()
    return Table(race_world, race_world.a_case())


@pytest.fixture
def meet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both look where the box stands before either writes; whom the lock keeps waiting never comes here."""
    both = threading.Barrier(2)
    look = which_unit._standing_elsewhere

    def look_and_wait(unit: Unit) -> Any:
        seen = look(unit)
        if connection.in_atomic_block:
            try:
                both.wait(1.5)
            except threading.BrokenBarrierError:
                pass
        return seen

    monkeypatch.setattr(which_unit, "_standing_elsewhere", look_and_wait)


@contextmanager
def without_the_constraint() -> Iterator[None]:
    """A table that is rebuilt loses its guards on SQLite; they are put back at the end."""
    guards = [guard for guard in registered() if guard.table == "cases_brought"]
    with connection.schema_editor() as editor:
        editor.remove_constraint(Brought, LAW)
    yield
    # Two rows of one unit cannot stay; nothing else points at them but their marks.
    for guard in (*guards, *(one for one in registered() if one.table == "cases_mark")):
        remove(connection, guard)
    for row in Brought.objects.order_by("-pk")[:1] if Brought.objects.count() > 1 else ():
        row.marks.all()._raw_delete(row.marks.db)
        Brought.objects.filter(pk=row.pk)._raw_delete(Brought.objects.db)
    with connection.schema_editor() as editor:
        editor.add_constraint(Brought, LAW)
    install(connection)


def bring(table: Table, unit: Unit, case: Case) -> Callable[[], Any]:
    label = table.label(unit)
    return lambda: unit_bring_in(by=table.by, case=case, scanned=label, at=NOW)


def bring_without_the_lock(table: Table, unit: Unit, case: Case) -> Callable[[], Any]:
    """As after a check that was true a moment ago."""
    check = checking.unit_check(case=case, scanned=table.label(unit), at=NOW)

    def work() -> Any:
        with transaction.atomic():
            return taking.taken(
                table.by, check, case, NOW, override=None, opened=True, happened_at=None, own_role=True,
                client_key=None, verb="unit.bring-in",
            )  # fmt: skip

    return work


def two_cases_one_box(table: Table) -> tuple[Unit, Case, Case]:
    (unit,) = table.stock("femoral", lot="S", serial="S1")
    return unit, table.case, table.world.a_case(hour=12)


def test_one_has_it_and_the_other_is_told(table: Table, at_once: Any, meet: None) -> None:
    unit, *cases = two_cases_one_box(table)
    answers = at_once(*(bring(table, unit, case) for case in cases))
    (lost,) = (answer for answer in answers if isinstance(answer, Exception))
    assert isinstance(lost, Refusal) and lost.code in ("seen-before", "changed-meanwhile"), repr(lost)
    assert Brought.objects.count() == 1 and stock_faults() == [] and verify() == []


def test_the_lock_alone_is_enough(table: Table, at_once: Any, meet: None) -> None:
    unit, *cases = two_cases_one_box(table)
    with without_the_constraint():
        answers = at_once(*(bring(table, unit, case) for case in cases))
        assert [type(one) for one in answers if isinstance(one, Exception)] == [Refusal], answers
        assert Brought.objects.count() == 1


def test_the_constraint_alone_is_enough(table: Table, at_once: Any) -> None:
    unit, *cases = two_cases_one_box(table)
    answers = at_once(*(bring_without_the_lock(table, unit, case) for case in cases))
    assert len([one for one in answers if isinstance(one, Exception)]) == 1, answers
    assert Brought.objects.count() == 1 and stock_faults() == []


def test_with_neither_it_lies_on_two_tables(table: Table, at_once: Any) -> None:
    unit, *cases = two_cases_one_box(table)
    with without_the_constraint():
        answers = at_once(*(bring_without_the_lock(table, unit, case) for case in cases))
        assert [type(one) for one in answers] == [Brought, Brought], answers
        assert Brought.objects.filter(unit=unit).count() == 2


def test_two_look_alikes_go_to_two_tables(table: Table, at_once: Any) -> None:
    """One lot, two boxes without serials, two theatres at once: each has one of them."""
    units = table.stock("tibial", lot="SAME", count=2)
    cases = table.case, table.world.a_case(hour=12)
    answers = at_once(*(bring(table, units[0], case) for case in cases))
    assert {one.unit_id for one in answers} == {unit.pk for unit in units}, answers
    assert stock_faults() == [] and verify() == []


def test_two_say_what_became_of_it_and_the_first_word_stands(table: Table, at_once: Any) -> None:
    brought = table.bring("femoral")

    def end(fate: str, why: str) -> Callable[[], Any]:
        return lambda: fate_record(by=table.by, brought=brought, fate=fate, why=why, at=NOW)

    answers = at_once(end("implanted", ""), end("wasted", "dropped"))
    (lost,) = (answer for answer in answers if isinstance(answer, Exception))
    assert isinstance(lost, Refusal) and lost.code == "fate-known", repr(lost)
    assert stock_faults() == [] and verify() == []
