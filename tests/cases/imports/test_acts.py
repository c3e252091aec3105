"""Checked first, then applied all or nothing, once, by somebody who may, and on the record."""

import io

import pytest

from cases.desks.importing import (
    import_apply,
    import_apply_later,
    import_apply_waiting,
    import_begin,
    import_check_waiting,
    import_set_aside,
    import_try,
    kind_named,
)
from tests.cases.imports.conftest import AT, table, told
from trays.exchange import staging
from trays.exchange.models import ImportRow, ImportRun
from trays.instruments.models import DesignVersion, InstrumentType, SetDesign
from trays.ledger import append
from trays.ledger.models import Event, EventLine
from trays.ledger.queries import verify
from trays.stock.models import Unit
from trays.stock.models_notices import NoticeLot, SafetyNotice
from trays.stock.verify import stock_faults
from trays.web.errors import NotAllowed, Refusal, Unreadable


def unit(**changed):
    return {
        "component": "fem-2-x-left", "lot": "A1", "expires": "2028-01-31", "owner": "LOC", "tenure": "owned",
        "site": "larkmere", "place": "S1", "received": "2026-11-02 10:00", **changed,
    }  # fmt: skip


def test_checking_changes_nothing_but_the_staging(check, world):
    run = check("units", unit(quantity=3))
    assert run.state == ImportRun.State.CHECKED
    assert run.rows_read == 1
    assert not Unit.objects.exists()
    assert not Event.objects.exists()


def test_applying_makes_the_units_and_one_event_whose_lines_are_the_stock(check, world):
    run = check(
        "units", unit(quantity=3), unit(lot="A2", tenure="consigned", owner="MER"), by=world.cast.stores
    )
    made = import_apply(run=run, by=world.cast.stores, at=AT)
    assert made["unit"] == 4
    assert Unit.objects.count() == 4
    event = Event.objects.get()
    assert (event.verb, event.chain.code, event.actor) == ("import.units", "larkmere", world.cast.stores)
    assert sum(EventLine.objects.values_list("quantity", flat=True)) == 4
    assert verify() == []
    assert not any(fault.startswith("unit") for fault in stock_faults())
    assert not ImportRow.objects.exists()


def test_a_fault_in_the_last_row_leaves_nothing(check, world):
    run = check("units", *(unit(lot=f"L{n}") for n in range(50)), unit(component="unknown"))
    assert told(run) == [(52, "component")]
    assert run.state == ImportRun.State.FAULTY
    with pytest.raises(Refusal, match="import-faulty"):
        import_apply(run=run, by=world.cast.keeper, at=AT)
    assert not Unit.objects.exists()


def test_applying_twice_is_refused_and_doubles_nothing(check, world):
    run = check("units", unit())
    import_apply(run=run, by=world.cast.keeper, at=AT)
    with pytest.raises(Refusal, match="import-applied-already"):
        import_apply(run=run, by=world.cast.keeper, at=AT)
    assert Unit.objects.count() == 1


def test_the_same_receipt_in_a_second_file_is_a_fault(check, world):
    import_apply(run=check("units", unit()), by=world.cast.keeper, at=AT)
    assert told(check("units", unit())) == [(2, "received")]
    assert told(check("units", unit(received="2026-11-09 10:00"))) == []


def test_what_changed_between_check_and_apply_is_told_and_leaves_nothing(check, world):
    row = unit(component="fem-1-x-left", serial="S9", lot="")
    first, second = check("units", row), check("units", unit(), row)
    import_apply(run=first, by=world.cast.keeper, at=AT)
    with pytest.raises(Refusal, match="import-out-of-date"):
        import_apply(run=second, by=world.cast.keeper, at=AT)
    assert Unit.objects.count() == 1
    second.refresh_from_db()
    assert second.state == ImportRun.State.CHECKED
    assert verify() == []


@pytest.mark.parametrize("lot", ["A1", ""])
def test_a_lot_that_a_safety_notice_names_comes_onto_no_shelf_by_file(check, world, lot):
    checked = check("units", unit())
    notice = SafetyNotice.objects.create(
        number="SN-1", supplier=world.supplier, reason="Loose lid", site=world.site, opened_at=AT,
        opened_by=world.cast.quality,
    )  # fmt: skip
    NoticeLot.objects.create(notice=notice, component=world.component("femoral", "2", side="left"), lot=lot)
    with pytest.raises(Refusal, match="import-out-of-date"):
        import_apply(run=checked, by=world.cast.keeper, at=AT)
    faulty = check("units", unit())
    assert [(fault.column, fault.sentence) for fault in faulty.faults.all()] == [
        ("lot", "An open safety notice names lot A1.")
    ]
    assert check("units", unit(state="quarantine")).state == ImportRun.State.CHECKED
    assert not Unit.objects.exists()


def test_a_receipt_is_applied_once_also_when_both_files_were_checked_before(check, world):
    first, second = check("units", unit()), check("units", unit(lot="A2"), unit())
    import_apply(run=first, by=world.cast.keeper, at=AT)
    with pytest.raises(Refusal, match="import-out-of-date"):
        import_apply(run=second, by=world.cast.keeper, at=AT)
    assert Unit.objects.count() == 1
    assert not any(fault.startswith("unit") for fault in stock_faults())


def test_setting_aside_empties_the_staging_and_ends_the_run(check, world):
    run = check("units", unit())
    import_set_aside(run=run, by=world.cast.keeper, at=AT)
    assert not ImportRow.objects.exists()
    with pytest.raises(Refusal, match="import-set-aside"):
        import_apply(run=run, by=world.cast.keeper, at=AT)
    applied = check("units", unit())
    import_apply(run=applied, by=world.cast.keeper, at=AT)
    with pytest.raises(Refusal, match="import-applied-already"):
        import_set_aside(run=applied, by=world.cast.keeper, at=AT)


def test_rows_of_another_site_are_faults_for_those_who_work_at_one(check, world):
    assert told(
        check("stock-rules", {"site": "fennside", "component": "swab-5"}, by=world.cast.coordinator)
    ) == [(2, "site")]
    assert (
        told(check("stock-rules", {"site": "larkmere", "component": "swab-5"}, by=world.cast.coordinator))
        == []
    )


def test_the_act_behind_the_rows_is_asked_for_too(check, world):
    for by in (world.cast.coordinator, world.cast.technician):
        with pytest.raises(NotAllowed):
            check("units", unit(), by=by)
    with pytest.raises(NotAllowed):
        check("cases", {"site": "larkmere"}, by=world.cast.stores)


@pytest.mark.parametrize("who", ["scrub", "circulating", "surgeon", "quality", "supplier", "stranger"])
def test_those_without_the_act_import_nothing(check, world, who):
    for kind in ("units", "parties", "stock-rules"):
        with pytest.raises(NotAllowed):
            check(kind, unit(), by=getattr(world.cast, who))


def test_what_all_sites_share_is_the_keepers_only(check, world):
    row = {"code": "new", "name": "New", "kind": "supplier"}
    with pytest.raises(NotAllowed):
        check("parties", row, by=world.cast.coordinator)
    assert told(check("parties", row)) == []


def test_a_checked_file_is_not_applied_by_somebody_of_another_site(check, world):
    run = check("stock-rules", {"site": "larkmere", "component": "swab-5"}, by=world.cast.coordinator)
    with pytest.raises(NotAllowed):
        import_apply(run=run, by=world.cast.far_coordinator, at=AT)


def test_a_file_that_waits_is_checked_later_as_the_person_who_handed_it_in(world, monkeypatch):
    monkeypatch.setattr(staging, "PART_BYTES", 50_000)
    rows = [{"site": site, "component": "swab-5"} for site in ("larkmere", "fennside")]
    raw = table(*rows) + b"\n" * 90_000
    run = import_begin(
        kind=kind_named("stock-rules"),
        file=io.BytesIO(raw),
        file_name="big.csv",
        by=world.cast.coordinator,
        at=AT,
    )
    assert run.state == ImportRun.State.CHECKING
    assert run.rows.count() == 2
    with pytest.raises(Refusal, match="import-not-checked"):
        import_apply(run=run, by=world.cast.coordinator, at=AT)
    run.refresh_from_db()
    assert told(import_check_waiting(run=run, at=AT)) == [(3, "site")]
    assert import_check_waiting(run=run, at=AT).rows_read == 2


def test_a_file_that_is_no_table_makes_no_run(check, world):
    for raw, code in ((b"%PDF-1.4", "file-not-a-table"), (b"", "file-empty"), (b"PK\x03\x04", "file-broken")):
        with pytest.raises(Unreadable, match=code):
            check("units", raw)
    assert not ImportRun.objects.exists()


def test_a_file_with_heads_only_or_wrong_heads_is_faulty(check, world):
    assert told(check("units", b"component,lot\n")) != []
    assert told(check("stock-rules", b"site,component\n")) == [(1, "")]
    assert (
        "colour" in {column for _row, column in told(check("stock-rules", b"site,component,colour\n"))}
    ) is True


def test_a_broken_row_in_the_middle_ends_the_check_as_a_fault(check, world):
    run = check("stock-rules", b'site,component\nlarkmere,swab-5\nlarkmere,"blade-1\n')
    assert run.state == ImportRun.State.FAULTY
    assert "3" in run.faults.get().sentence


def test_signs_that_cannot_be_seen_are_faults_of_their_cell(check, world):
    assert told(check("stock-rules", b"site,component\nlarkmere,swab\x00-5\n")) == [(2, "component")]


def test_a_head_with_an_unseen_sign_is_told_as_an_unknown_head(check, world):
    assert (1, "col\N{REPLACEMENT CHARACTER}our") in told(
        check("stock-rules", b"site,component,col\x00our\n")
    )


def test_a_shifted_row_is_a_fault_not_a_lost_cell(check, world):
    assert told(check("stock-rules", b"site,component\nlarkmere,swab-5,left over\n")) == [(2, "")]


def test_the_name_of_a_file_is_never_a_path(check, world):
    run = check("stock-rules", {"site": "larkmere", "component": "swab-5"})
    assert run.file_name == "stock-rules.csv"
    other = import_begin(
        kind=kind_named("stock-rules"), file=io.BytesIO(b"site\n"), file_name="../../etc\\x\x00y.csv",
        by=world.cast.keeper, at=AT,
    )  # fmt: skip
    assert other.file_name == "xy.csv"


def test_a_dry_run_says_what_would_be_made_and_keeps_nothing(check, world):
    run = check("units", unit(quantity=3), unit(lot="A2"))
    assert import_try(run=run, by=world.cast.stores, at=AT) == {"unit": 4}
    assert not Unit.objects.exists()
    assert not Event.objects.exists()
    assert run.state == ImportRun.State.CHECKED
    assert run.rows.count() == 2
    import_apply(run=run, by=world.cast.stores, at=AT)
    assert Unit.objects.count() == 4


def test_a_dry_run_is_refused_where_applying_would_be(check, world):
    row = unit(component="fem-1-x-left", serial="S9", lot="")
    first, second = check("units", row), check("units", unit(), row)
    import_apply(run=first, by=world.cast.keeper, at=AT)
    with pytest.raises(Refusal, match="import-out-of-date"):
        import_try(run=second, by=world.cast.keeper, at=AT)


def test_a_double_is_found_across_chunks_and_told_with_the_first_row(check, world, monkeypatch):
    monkeypatch.setattr(staging, "CHUNK", 2)
    rows = [unit(lot="", serial=f"S{n}") for n in range(5)]
    run = check("units", *rows, rows[0], rows[0], rows[4])
    assert told(run) == [(7, "serial"), (8, "serial"), (9, "serial")]
    assert "row 2" in run.faults.first().sentence


def test_many_chunks_are_one_act_with_every_line_on_the_record(check, world, monkeypatch):
    monkeypatch.setattr(staging, "CHUNK", 3)
    monkeypatch.setattr(append, "LINES", 4)
    run = check("units", *(unit(lot=f"L{n}") for n in range(11)))
    assert import_apply(run=run, by=world.cast.keeper, at=AT) == {"unit": 11}
    event = Event.objects.get()
    assert set(event.lines.values_list("subject_id", flat=True)) == set(
        Unit.objects.values_list("pk", flat=True)
    )
    assert [line.number for line in event.lines.order_by("number")] == list(range(1, 12))
    assert verify() == []
    assert not any(fault.startswith("unit") for fault in stock_faults())


def test_a_contents_list_that_goes_over_several_chunks_is_one_list(check, world, monkeypatch):
    monkeypatch.setattr(staging, "CHUNK", 2)
    run = check("contents", *(contents_row(number=n) for n in range(1, 6)))
    assert told(run) == []
    import_apply(run=run, by=world.cast.keeper, at=AT)
    assert DesignVersion.objects.get(version=9).lines.count() == 5


def contents_row(*, number):
    return {
        "design": SetDesign.objects.first().code, "version": 9, "valid_from": "2026-12-01", "tray": 1,
        "number": number, "section": "Top", "instrument": InstrumentType.objects.first().code, "quantity": 1,
    }  # fmt: skip


def test_a_long_file_is_left_to_the_worker_who_applies_it_once(check, world):
    run = check("units", unit())
    import_apply_later(run=run, by=world.cast.keeper, at=AT)
    with pytest.raises(Refusal, match="import-being-applied"):
        import_apply_later(run=run, by=world.cast.keeper, at=AT)
    with pytest.raises(Refusal, match="import-being-applied"):
        import_set_aside(run=run, by=world.cast.keeper, at=AT)
    run.refresh_from_db()
    assert import_apply_waiting(run=run, by=world.cast.keeper, at=AT).state == "applied"
    assert import_apply_waiting(run=run, by=world.cast.keeper, at=AT).state == "applied"
    assert Unit.objects.count() == 1


def test_what_the_worker_is_refused_is_told_on_the_run(check, world):
    row = unit(component="fem-1-x-left", serial="S9", lot="")
    first, second = check("units", row), check("units", unit(), row)
    import_apply_later(run=second, by=world.cast.keeper, at=AT)
    import_apply(run=first, by=world.cast.keeper, at=AT)
    second.refresh_from_db()
    assert import_apply_waiting(run=second, by=world.cast.keeper, at=AT).state == "checked"
    second.refresh_from_db()
    assert "has changed since it was checked" in second.note
    assert Unit.objects.count() == 1
