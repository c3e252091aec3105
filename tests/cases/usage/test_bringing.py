"""Bringing sealed implants to the table: each scan is answered in words; a fact is taken down anyhow."""

from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

import pytest

from cases.bookings.models import Case
from cases.reservations.hold import units_hold
from cases.reservations.models import Hold
from cases.usage.avoiding import materials_set
from cases.usage.bringing import box_take_down, brought_place, unit_bring_in, unit_open
from cases.usage.checking import unit_check
from cases.usage.kinds import Level, Override, Scanned
from cases.usage.models import Brought, Fits, MarkKind, Source
from cases.usage.models_record import SurgeonDecision
from cases.usage.queries import chase_list, construct_check
from tests.cases.usage.conftest import LATER, SAID, Table
from tests.world import NOW, TODAY
from trays.catalogue.models import Family, FitRule
from trays.ledger.models import Event
from trays.places.models import Place
from trays.refusals.models import RefusedScan
from trays.refusals.services import Where
from trays.stock.apart import units_set_apart
from trays.stock.models import Unit
from trays.stock.models_notices import NoticeLot, SafetyNotice
from trays.stock.transferring import transfer_make, transfer_send
from trays.stock.transfers_in import transfer_end
from trays.stock.verify import stock_faults
from trays.web.errors import NotAllowed, Refusal


def hold(table: Table, unit: Unit, case: Case | None = None) -> None:
    units_hold(by=table.world.cast.coordinator, units=[unit], case=case or table.case, at=NOW)


def a_notice(table: Table) -> SafetyNotice:
    return SafetyNotice.objects.create(
        number="SN-1", supplier=table.world.supplier, reason="Loose lid", site=table.world.site,
        opened_at=NOW, opened_by=table.world.cast.quality,
    )  # fmt: skip


def marks(brought: Brought) -> set[str]:
    return set(brought.marks.values_list("kind", flat=True))


def test_a_unit_set_aside_for_the_case_is_opened_and_leaves_stock(table: Table) -> None:
    (unit,) = table.stock("femoral", lot="A1")
    hold(table, unit)
    check = unit_check(case=table.case, scanned=table.label(unit), at=NOW)
    assert (check.clear, check.source, check.fits) == (True, Source.HELD, Fits.NO_PAIR)
    assert (check.unit, check.construct, check.slot.plan_slot.code) == (unit, table.construct(), "femoral")
    assert not Brought.objects.exists()
    brought = table.bring_unit(unit)
    unit.refresh_from_db()
    assert (unit.state, unit.place) == (Unit.State.OPENED, table.world.theatre)
    assert Hold.objects.get().ended_reason == "used"
    assert (brought.number, brought.lot, brought.agency, brought.di) == (
        1,
        "A1",
        "GS1",
        table.label(unit).device,
    )
    assert bytes(brought.raw).startswith(b"]d201") and ["10", "A1"] in brought.pis
    assert marks(brought) == set() and stock_faults() == []


@pytest.mark.parametrize(
    ("case_of", "code", "mark"),
    [
        ("out of date", "out-of-date", MarkKind.OUT_OF_DATE),
        ("other side", "wrong-side", MarkKind.WRONG_SIDE),
        ("quarantine", "in-quarantine", MarkKind.NOT_RELEASED),
        ("another case's", "held-by-another", MarkKind.OTHER_CASE),
        ("material", "material", MarkKind.MATERIAL),
        ("safety notice", "recalled", MarkKind.RECALLED),
        ("another lot", "another-lot", MarkKind.ANOTHER_LOT),
        ("against the rules", "pair-refused", MarkKind.NO_FIT),
        ("no rule", "pair-not-known", MarkKind.NO_FIT),
    ],
)
def test_what_speaks_against_it_is_said_and_kept_and_given_way_to_by_name_and_reason(
    table: Table, case_of: str, code: str, mark: str
) -> None:
    size = "4" if case_of == "against the rules" else "2"
    (unit,) = table.stock(
        "femoral", size, side="left" if case_of == "other side" else "right",
        expires=TODAY - timedelta(days=1) if case_of == "out of date" else LATER,
    )  # fmt: skip
    if case_of == "quarantine":
        Unit.objects.filter(pk=unit.pk).update(state="quarantine")
    if case_of == "another case's":
        hold(table, unit, table.world.a_case(hour=13))
    if case_of == "material":
        Family.objects.filter(pk=table.world.families["femoral"].pk).update(material="CoCr")
        materials_set(by=table.world.cast.coordinator, case=table.case, materials=["CoCr"], at=NOW)
    if case_of == "safety notice":
        notice = a_notice(table)
        NoticeLot.objects.create(notice=notice, component=unit.component, lot=unit.lot)
    if case_of == "another lot":
        hold(table, table.stock("femoral", lot="PICKED")[0])
    if case_of == "against the rules":
        table.bring("tibial", "1")
    if case_of == "no rule":
        table.bring("tibial", "2")
        FitRule.objects.filter(rank_a=1, rank_b=1).delete()
    count = Event.objects.count()
    with pytest.raises(Refusal) as refused:
        unit_bring_in(
            by=table.by, case=table.case, scanned=table.label(unit), at=NOW, where=Where(page="/theatre/")
        )
    assert refused.value.code == code and refused.value.next_step and refused.value.facts["overridable"]
    kept = RefusedScan.objects.get()
    assert (kept.code, bytes(kept.raw)) == (code, table.label(unit).raw)
    assert Event.objects.count() == count
    brought = table.bring_unit(unit, override=SAID)
    assert brought.overridden == [code] and brought.override_name == "Ms Surgeon"
    assert marks(brought) == {mark} and stock_faults() == []
    assert [one.kind for one in chase_list(table.world.site)] == [mark]
    decided = code.startswith("pair-")
    assert SurgeonDecision.objects.filter(brought=brought, reason=SAID.reason).exists() == decided


def test_a_unit_is_usable_on_its_last_day_by_the_clock_of_the_site(table: Table) -> None:
    (unit,) = table.stock("femoral", expires=TODAY)
    label = table.label(unit)
    late = NOW.replace(hour=23, minute=30)
    assert unit_check(case=table.case, scanned=label, at=late).clear
    next_day = unit_check(case=table.case, scanned=label, at=late + timedelta(hours=1))
    assert [one.code for one in next_day.stops] == ["out-of-date"]


def test_the_whole_construct_is_checked_whichever_way_round_the_rule_was_written(table: Table) -> None:
    tibial, femoral = table.world.families["tibial"], table.world.families["femoral"]
    FitRule.objects.create(
        family_a=tibial, rank_a=1, family_b=femoral, rank_b=1, verdict="caution", source="Letter 4",
        valid_from=TODAY,
    )  # fmt: skip
    FitRule.objects.create(
        family_a=femoral, rank_a=1, family_b=tibial, rank_b=1, verdict="refused", source="Letter 5",
        valid_from=TODAY + timedelta(days=1),
    )  # fmt: skip
    table.bring("tibial", "2")
    (unit,) = table.stock("femoral", "2")
    check = unit_check(case=table.case, scanned=table.label(unit), at=NOW)
    assert check.fits == Fits.CAUTION and check.stops[0].code == "pair-caution"
    assert "Letter 4" in check.stops[0].sentence
    table.bring_unit(unit, override=SAID)
    (picture,) = construct_check(table.case)
    assert (picture.fits, picture.missing) == (Fits.CAUTION, ("Insert",))


def test_another_size_takes_the_place_of_the_one_before_it(table: Table) -> None:
    """The femoral that was too large no longer counts when the next one is checked."""
    table.bring("tibial", "1")
    table.bring("femoral", "4", override=SAID)
    check = unit_check(case=table.case, scanned=table.label(table.stock("femoral", "2")[0]), at=NOW)
    assert check.clear and {one.code for one in check.remarks} == {"slot-has-another", "not-set-aside"}


def test_taking_another_cases_unit_plans_that_case_anew(table: Table) -> None:
    taken, free = table.stock("femoral", lot="TWO", count=2)
    other = table.world.a_case(hour=13)
    hold(table, taken, other)
    hold(table, free, table.world.a_case(hour=15))
    third = table.stock("femoral", lot="THREE")[0]
    Unit.objects.filter(pk=free.pk).update(state="quarantine")
    brought = table.bring_unit(taken, override=SAID)
    assert brought.unit == taken and brought.source == Source.OTHER_CASE
    assert Hold.objects.get(case=other, ended_at=None).unit == third
    assert Hold.objects.get(unit=taken).ended_reason == "taken"
    words = brought.marks.get(kind=MarkKind.OTHER_CASE).words
    assert other.reference in words and "THREE" in words


def test_nothing_left_for_the_other_case_is_said(table: Table) -> None:
    (taken,) = table.stock("femoral")
    other = table.world.a_case(hour=13)
    hold(table, taken, other)
    brought = table.bring_unit(taken, override=SAID)
    assert "plan it anew" in brought.marks.get(kind=MarkKind.OTHER_CASE).words
    assert not Hold.objects.filter(case=other, ended_at=None).exists()


def test_the_same_code_again_asks_another_one_and_a_serial_is_never_two(table: Table) -> None:
    first, second = table.stock("tibial", lot="SAME", count=2)
    table.bring_unit(first)
    with pytest.raises(Refusal) as refused:
        table.bring_unit(first)
    assert refused.value.code == "another-one" and not refused.value.facts["overridable"]
    assert table.bring_unit(first, another=True, override=SAID).unit == second
    (serial,) = table.stock("femoral", lot="S", serial="777")
    table.bring_unit(serial)
    with pytest.raises(Refusal) as again:
        table.bring_unit(serial, override=SAID, another=True)
    assert again.value.code == "brought-already"


def test_a_box_that_was_not_on_stock_is_received_and_used_in_one_step(table: Table) -> None:
    label = table.box(table.component("femoral"), lot="NEW1")
    with pytest.raises(Refusal) as refused:
        unit_bring_in(by=table.by, case=table.case, scanned=label, at=NOW)
    assert refused.value.code == "unit-not-on-file"
    brought = box_take_down(by=table.by, case=table.case, scanned=label, at=NOW)
    unit = brought.unit
    assert (unit.state, unit.lot, unit.owner, unit.tenure) == (
        "opened",
        "NEW1",
        table.world.supplier,
        "consigned",
    )
    assert marks(brought) == {MarkKind.UNBOOKED, MarkKind.OWNER_NOT_KNOWN} and stock_faults() == []
    assert brought.slot.plan_slot.code == "femoral"


def test_a_box_of_a_lot_under_a_notice_is_one_more_for_the_notice_to_account_for(table: Table) -> None:
    component = table.component("femoral")
    NoticeLot.objects.create(notice=a_notice(table), component=component, lot="")
    label = table.box(component, lot="NEW1")
    with pytest.raises(Refusal) as refused:
        box_take_down(by=table.by, case=table.case, scanned=label, at=NOW)
    assert refused.value.code == "recalled" and refused.value.facts["overridable"]
    brought = box_take_down(by=table.by, case=table.case, scanned=label, at=NOW, override=SAID)
    assert MarkKind.RECALLED in marks(brought)
    assert [row.outcome for row in brought.unit.notices.all()] == ["open"]


def test_what_was_kept_from_use_and_is_opened_is_kept_no_longer(table: Table) -> None:
    (unit,) = table.stock("femoral")
    units_set_apart(by=table.world.cast.stores, units=[unit], cause="damaged", at=NOW)
    table.bring_unit(unit, override=SAID)
    assert [row.end for row in unit.set_apart.all()] == ["used"]


@pytest.mark.parametrize(
    ("to_here", "ended", "how"),
    [(False, False, "never_left"), (False, True, "never_left"), (True, False, "arrived_later")],
)
def test_what_was_on_its_way_and_is_opened_ends_its_transfer(
    table: Table, to_here: bool, ended: bool, how: str
) -> None:
    units, world = table.stock("femoral", count=2), table.world
    far_shelf = Place.objects.create(site=world.far_site, code="F1", name="Far", kind="shelf", walk=1)
    if to_here:
        Unit.objects.filter(pk__in=[one.pk for one in units]).update(site=world.far_site, place=far_shelf)
        units = list(Unit.objects.filter(pk__in=[one.pk for one in units]))
    sites = (world.far_site, world.site) if to_here else (world.site, world.far_site)
    keeper = world.cast.keeper
    transfer = transfer_make(by=keeper, source=sites[0], target=sites[1], units=units, at=NOW)
    transfer_send(by=keeper, transfer=transfer, at=NOW)
    if ended:
        transfer_end(by=keeper, transfer=transfer, at=NOW)
    opened = [table.bring_unit(units[0], override=SAID, another=True)]
    transfer.refresh_from_db()
    assert transfer.status == ("differs" if ended else "sent")
    opened.append(table.bring_unit(units[1], override=SAID, another=True))
    transfer.refresh_from_db()
    assert transfer.status == "closed"
    assert {(one.state, one.note) for one in transfer.units.all()} == {
        (how, f"Opened in case {table.case.reference}.")
    }
    assert {one.unit.state for one in opened} == {"opened"} and stock_faults() == []


def test_an_unknown_code_is_kept_as_it_was_read(table: Table) -> None:
    label = Scanned(raw=b"+H999X1", device="H999X", agency="HIBCC", lot="Q")
    with pytest.raises(Refusal) as refused:
        unit_bring_in(by=table.by, case=table.case, scanned=label, at=NOW)
    assert refused.value.code == "unknown-item"
    with pytest.raises(Refusal) as wordless:
        box_take_down(by=table.by, case=table.case, scanned=label, at=NOW)
    assert wordless.value.code == "say-what-it-is"
    brought = box_take_down(
        by=table.by, case=table.case, scanned=replace(label, described="Screw 6.5 × 30"), at=NOW
    )
    assert (brought.component, brought.unit, bytes(brought.raw)) == (None, None, b"+H999X1")
    assert marks(brought) == {MarkKind.UNKNOWN_CODE} and brought.fits == Fits.NOT_KNOWN


def test_what_is_typed_has_a_reason_and_neither_lot_nor_serial_is_warned_of(table: Table) -> None:
    code = table.component("femoral").pack_levels.get().code
    label = Scanned(device=code, typed_reason="label torn")
    check = unit_check(case=table.case, scanned=label, at=NOW)
    assert {one.code: one.level for one in check.remarks}["no-lot"] is Level.CAUTION
    with pytest.raises(Refusal) as why:
        box_take_down(by=table.by, case=table.case, scanned=replace(label, typed_reason=" "), at=NOW)
    assert why.value.code == "why-typed"
    brought = box_take_down(by=table.by, case=table.case, scanned=label, at=NOW)
    assert brought.unit is None and brought.component == table.component("femoral")
    assert marks(brought) == {MarkKind.UNBOOKED, MarkKind.OWNER_NOT_KNOWN, MarkKind.TYPED, MarkKind.NO_LOT}


def test_both_sides_are_two_constructs_and_the_side_says_which(table: Table) -> None:
    both = table.world.a_case(sides=("left", "right"), hour=14)
    table.case = both
    left = table.bring("femoral", side="left")
    assert left.construct.side == "left"
    (tibial,) = table.stock("tibial")
    with pytest.raises(Refusal) as asked:
        table.bring_unit(tibial)
    assert asked.value.code == "which-construct" and len(asked.value.facts["constructs"]) == 2
    placed = table.bring_unit(tibial, construct=both.constructs.get(side="right"))
    assert placed.slot.construct.side == "right"
    unknown = box_take_down(
        by=table.by, case=both, at=NOW, construct=both.constructs.get(side="left"),
        scanned=Scanned(raw=b"x", described="Stem"),
    )  # fmt: skip
    with pytest.raises(Refusal):
        brought_place(by=table.by, brought=unknown, construct=both.constructs.get(side="right"), at=NOW)


def test_brought_in_sealed_it_stays_stock_until_it_is_opened(table: Table) -> None:
    brought = table.bring("femoral", opened=False)
    brought.unit.refresh_from_db()
    assert (brought.unit.state, brought.opened) == ("picked", False)
    opened = unit_open(by=table.by, brought=brought, at=NOW)
    opened.unit.refresh_from_db()
    assert opened.unit.state == "opened" and stock_faults() == []
    with pytest.raises(Refusal) as again:
        unit_open(by=table.by, brought=brought, at=NOW)
    assert again.value.code == "opened-already"


def test_who_may_be_in_theatre_takes_facts_down_and_is_marked_and_others_do_not(table: Table) -> None:
    (unit,) = table.stock("femoral")
    with pytest.raises(NotAllowed):
        unit_bring_in(by=table.world.cast.stores, case=table.case, scanned=table.label(unit), at=NOW)
    brought = unit_bring_in(by=table.world.cast.surgeon, case=table.case, scanned=table.label(unit), at=NOW)
    assert marks(brought) == {MarkKind.NO_RIGHT}


def test_what_is_entered_long_after_is_marked_late_and_sent_twice_is_there_once(table: Table) -> None:
    (unit,) = table.stock("femoral")
    key = uuid4()
    first, second = (
        unit_bring_in(
            by=table.by, case=table.case, scanned=table.label(unit), at=NOW, client_key=key,
            happened_at=NOW - timedelta(hours=3),
        )
        for _time in range(2)
    )  # fmt: skip
    assert first == second and Brought.objects.count() == 1
    assert marks(first) == {MarkKind.LATE}
    assert first.opened_at == NOW - timedelta(hours=3) and first.recorded_at == NOW


def test_a_time_that_has_not_come_is_no_time_at_which_it_happened(table: Table) -> None:
    (unit,) = table.stock("femoral")
    with pytest.raises(Refusal) as refused:
        table.bring_unit(unit, happened_at=NOW + timedelta(hours=1))
    assert refused.value.code == "to-come" and not Brought.objects.exists()


def test_a_serial_that_stands_in_another_record_is_said_and_taken_down_beside_it(table: Table) -> None:
    (unit,) = table.stock("femoral", lot="S", serial="42")
    table.bring_unit(unit)
    table.case = table.world.a_case(hour=14)
    with pytest.raises(Refusal) as refused:
        table.bring_unit(unit)
    assert refused.value.code == "seen-before"
    brought = table.bring_unit(unit, override=Override("read twice", "C. Circulating"))
    assert brought.unit is None and brought.serial == "42"
    assert MarkKind.SEEN_BEFORE in marks(brought)


def test_a_check_costs_a_fixed_number_of_queries(table: Table, django_assert_max_num_queries: object) -> None:
    for slot in ("tibial", "insert", "patellar"):
        table.bring(slot)
    (unit,) = table.stock("femoral", lot="X1")
    table.stock("femoral", lot="X1", count=30)
    with django_assert_max_num_queries(20):  # type: ignore[operator]
        assert unit_check(case=table.case, scanned=table.label(unit), at=NOW).clear
