"""What each kind refuses in a row: told with the row and the column where it is to be mended."""

import pytest

from cases.bookings.models import Case, TheatreList
from cases.desks.importing import import_apply
from tests.cases.imports.conftest import AT, told
from tests.cases.imports.test_acts import unit
from trays.instruments.models import ContentsLine, PackLine
from trays.parties.models import Party
from trays.stock.models import Pile


def case(**changed):
    return {
        "site": "larkmere", "reference": "R-1", "theatre": "T1", "day": "2026-12-07", "position": "1",
        "procedure": "knee", "surgeon": "surgeon", "side": "right", "sizes": "femoral:2-3|tibial:2",
        "method": "xray_template", "confidence": "0.9", **changed,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "column"),
    [
        ({"expires": "2026-11-30"}, "expires"),
        ({"quantity": "-1"}, "quantity"),
        ({"lot": ""}, "lot"),
        ({"serial": "S1", "quantity": "2"}, "quantity"),
        ({"component": "swab-5"}, "component"),
        ({"owner": "MER"}, "tenure"),
        ({"place": "T9"}, "place"),
        ({"site": "elsewhere"}, "site"),
        ({"received": ""}, "received"),
        ({"state": "implanted"}, "state"),
        ({"measure": "box of 5"}, "measure"),
        ({"lot": "L" * 21}, "lot"),
        ({"expires": "2027-02-30"}, "expires"),
        ({"component": "09521234000013"}, "component"),
    ],
)
def test_units(check, changed, column):
    assert told(check("units", unit(**changed))) == [(2, column)]


def test_a_consigned_unit_is_of_its_own_supplier(check, world):
    other = Party.objects.create(code="TRD", name="Tarn & Ridley", kind="supplier")
    assert told(check("units", unit(tenure="consigned", owner="MER"))) == []
    run = check("units", unit(tenure="consigned", owner=other.code))
    assert told(run) == [(2, "owner")]
    assert "another supplier" in run.faults.get().sentence


def test_an_expired_unit_may_come_in_only_as_quarantined(check):
    assert told(check("units", unit(expires="2026-11-30", state="quarantine"))) == []
    assert told(check("units", unit(expires="2026-12-01"))) == []


def test_a_trade_code_names_the_component_with_or_without_its_zeros(check, world):
    code = world.component("femoral", "2", side="left").pack_levels.get().code
    assert code.startswith("09")
    assert told(check("units", unit(component=code), unit(component=code.lstrip("0"), lot="A2"))) == []


def test_one_serial_stands_once_in_a_file(check):
    assert told(check("units", unit(serial="S1"), unit(serial="S1"))) == [(3, "serial")]


def test_piles_are_whole_and_not_negative_and_stand_once(check, world):
    row = {
        "component": "swab-5", "lot": "C9", "expires": "2027-05-01", "quantity": "12", "owner": "LOC",
        "tenure": "owned", "site": "larkmere", "place": "S1",
    }  # fmt: skip
    assert told(check("piles", {**row, "quantity": "-4"})) == [(2, "quantity")]
    assert told(check("piles", row, row)) == [(3, "lot")]
    import_apply(run=check("piles", row), by=world.cast.keeper, at=AT)
    assert Pile.objects.get(lot="C9").quantity == 12
    assert told(check("piles", row)) == [(2, "lot")]


@pytest.mark.parametrize(
    ("changed", "column"),
    [
        ({"sizes": "femoral:9"}, "sizes"),
        ({"sizes": "femoral:3-2"}, "sizes"),
        ({"sizes": "femoral"}, "sizes"),
        ({"sizes": "stem:2"}, "sizes"),
        ({"sizes": "insert:2"}, "sizes"),
        ({"side": ""}, "side"),
        ({"side": "both"}, "side"),
        ({"procedure": "hip"}, "procedure"),
        ({"theatre": "S1"}, "theatre"),
        ({"method": ""}, "method"),
        ({"confidence": "90"}, "confidence"),
        ({"families": "femoral:tibial-a"}, "families"),
        ({"start": "2026-12-09 08:30"}, "start"),
        ({"day": "2062-12-07"}, "day"),
        ({"surgeon": "nobody"}, "surgeon"),
    ],
)
def test_cases(check, changed, column):
    # A side that is wrong makes its sizes wrong too.
    assert set(told(check("cases", case(**changed)))) - {(2, "sizes")} == {(2, column)} - {(2, "sizes")}
    assert (2, column) in told(check("cases", case(**changed)))


def test_two_rows_are_one_case_with_both_sides(check, world):
    run = check(
        "cases", case(side="left"), case(side="right", sizes="femoral:3|tibial:2"), by=world.cast.coordinator
    )
    assert told(run) == []
    import_apply(run=run, by=world.cast.coordinator, at=AT)
    made = Case.objects.get()
    assert [one.side for one in made.constructs.all()] == ["left", "right"]
    assert made.booked_by == world.cast.coordinator
    assert TheatreList.objects.get().day.isoformat() == "2026-12-07"


def test_rows_of_one_case_must_agree_and_cases_do_not_share_a_position(check):
    assert told(check("cases", case(side="left"), case(side="right", position="2"))) == [(3, "reference")]
    assert told(check("cases", case(), case())) == [(3, "reference")]
    assert told(check("cases", case(), case(reference="R-2"))) == [(3, "position")]


def test_a_reference_is_used_once_at_a_site(check, world):
    import_apply(run=check("cases", case()), by=world.cast.keeper, at=AT)
    assert told(check("cases", case(position="2"))) == [(2, "reference")]


def test_cases_come_onto_the_list_in_the_order_of_their_positions(check, world):
    run = check(
        "cases", case(reference="C", position="3"), case(reference="A"), case(reference="B", position="2")
    )
    import_apply(run=run, by=world.cast.keeper, at=AT)
    found = Case.objects.order_by("position")
    assert [(one.reference, one.position) for one in found] == [("A", 1), ("B", 2), ("C", 3)]
    starts = [one.starts_at for one in found]
    assert starts == sorted(starts)


def test_components_need_a_side_exactly_where_the_family_has_sides(check):
    row = {
        "code": "new",
        "name": "New",
        "family": "femoral-a",
        "size": "5",
        "size_order": "5",
        "supplier": "MER",
    }
    assert told(check("components", row)) == [(2, "side")]
    assert told(check("components", {**row, "family": "tibial-a", "side": "left"})) == [(2, "side")]
    assert told(check("components", {**row, "side": "left"})) == []
    assert told(check("components", {**row, "side": "left", "size": "2", "size_order": "2"})) == [
        (2, "size_order")
    ]
    assert told(check("components", {**row, "side": "left", "size": "2b", "size_order": "2"}))[-1] == (
        2,
        "size",
    )


def test_a_fit_rule_is_about_two_families_and_a_pair_stands_once_a_day(check):
    row = {
        "family_a": "insert-a", "size_a": "1", "family_b": "tibial-a", "size_b": "1", "verdict": "allowed",
        "source": "Chart", "valid_from": "2026-01-01",
    }  # fmt: skip
    turned = {**row, "family_a": "tibial-a", "family_b": "insert-a"}
    assert told(check("fit-rules", row)) == []
    assert told(check("fit-rules", row, turned)) == [(3, "family_a")]
    assert told(check("fit-rules", {**row, "family_b": "insert-a", "size_b": "2"})) == [(2, "family_b")]
    assert told(check("fit-rules", {**row, "size_b": "9"})) == [(2, "size_b")]


def test_a_contents_list_on_file_is_never_changed(check, world):
    line = {
        "design": "general",
        "version": "1",
        "valid_from": "2026-02-01",
        "number": "9",
        "instrument": "block",
    }
    assert told(check("contents", line)) == [(2, "version")]
    import_apply(run=check("contents", {**line, "version": "2"}), by=world.cast.keeper, at=AT)
    assert ContentsLine.objects.filter(version__version=2).count() == 1
    assert told(check("contents", {**line, "version": "3", "rack_component": "swab-5"})) == [
        (2, "instrument")
    ]


def test_a_complete_pack_brings_its_lines_another_waits_for_them(check, world):
    one = {
        "code": "G-1",
        "design": "general",
        "version": "1",
        "site": "larkmere",
        "owner": "LOC",
        "tenure": "owned",
    }
    import_apply(run=check("sets", one, {**one, "code": "G-2"}), by=world.cast.keeper, at=AT)
    pack = {"set": "G-1", "number": "P1", "place": "SS", "state": "stored"}
    assert told(check("packs", {**pack, "tray": "4"})) == [(2, "tray")]
    run = check("packs", pack, {**pack, "set": "G-2", "number": "P2", "complete": "no"})
    import_apply(run=run, by=world.cast.technician, at=AT)
    assert PackLine.objects.filter(pack__number="P1").count() == 2
    assert not PackLine.objects.filter(pack__number="P2").exists()
    lines = [{"pack": "P2", "number": "1", "present": "1"}, {"pack": "P1", "number": "1", "present": "1"}]
    assert told(check("pack-lines", *lines)) == [(3, "number")]


def test_a_hold_takes_the_free_unit_that_expires_first(check, world):
    later, sooner = world.unit(world.component("femoral", "2", side="right"), 2)
    sooner.expires = later.expires.replace(year=2027)
    sooner.save()
    booked = world.a_case(predictions={"femoral": (1, 1)})
    row = {"site": "larkmere", "reference": booked.reference, "component": "fem-2-x-right"}
    run = check("holds", row, row)
    assert told(run) == []
    assert [values["unit"] for values in run.rows.order_by("number").values_list("values", flat=True)] == [
        sooner.pk, later.pk,
    ]  # fmt: skip
    assert told(check("holds", row, row, row)) == [(4, "component")]
    import_apply(run=run, by=world.cast.keeper, at=AT)
    assert told(check("holds", row)) == [(2, "component")]


def test_error_tables_and_outcomes(check, world):
    row = {
        "slot": "femoral", "method": "xray_template", "source": "Own", "valid_from": "2026-01-01",
        "offset": "-1", "weight": "0.2",
    }  # fmt: skip
    import_apply(run=check("error-tables", row, {**row, "offset": "0"}), by=world.cast.keeper, at=AT)
    assert told(check("error-tables", row)) == [(2, "valid_from")]
    assert told(check("error-tables", {**row, "slot": "elbow"})) == [(2, "slot")]
    booked = world.a_case(predictions={"femoral": (1, 1)})
    used = {
        "site": "larkmere", "reference": booked.reference, "slot": "femoral", "component": "fem-3-x-right",
        "used_on": "2026-11-30", "method": "xray_template", "predicted_size": "2",
    }  # fmt: skip
    assert told(check("outcomes", {**used, "used_on": "2026-12-03"})) == [(2, "used_on")]
    assert told(check("outcomes", {**used, "predicted_size": "8"})) == [(2, "predicted_size")]
    import_apply(run=check("outcomes", used), by=world.cast.coordinator, at=AT)
    made = booked.constructs.get().slots.get(plan_slot__code="femoral").outcome
    assert made.predicted_rank == 1
