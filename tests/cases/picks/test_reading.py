"""What page and sheet say of a list: in words, in the site's time, as it was when the list was made."""

from datetime import timedelta
from typing import Any

import pytest

from cases.bookings.models import Case
from cases.picks.kinds import PickSheet
from cases.picks.models import PickList
from cases.picks.papers import line_code, number_from, sheet_code
from cases.picks.queries import found_by_serial, in_force, pick_lists, whole_lists
from cases.picks.reading import sheet_of
from cases.picks.services import pick_list_make
from cases.readiness.kinds import Level, Word
from cases.reservations.hold import units_release
from tests.world import NOW, TODAY, World
from trays.identifiers import gs1, ours
from trays.identifiers.checkdigits import with_mod10
from trays.instruments.models import Pack, PackLine
from trays.ledger.append import Line, record
from trays.places.models import Place

pytestmark = pytest.mark.django_db

GLN = with_mod10("952123400007")


@pytest.fixture(autouse=True)
def numbered_site(world: World) -> None:
    world.site.gln = GLN
    world.site.save()


def make(world: World, case: Case) -> PickList:
    return pick_list_make(by=world.cast.coordinator, case=case, at=NOW)


def read(made: PickList) -> PickSheet:
    return sheet_of(whole_lists().get(pk=made.pk), at=NOW)


@pytest.fixture
def knee(world: World, plan: Any) -> PickList:
    """A right knee with femorals 2 and 3 (3 by the site's minimum), one two-tray set and swabs."""
    for size, group, minimum in (("2", "likely", False), ("3", "keep_sealed", True)):
        component = world.component("femoral", size, side="right")
        world.unit(component, 1, bin=f"K1-{size}", lot=f"M{size}", tenure="consigned")
        plan.want(component, group, minimum=minimum)
    plan.sets.append(world.a_set("general", "KG-01", trays=2, sterile_until=TODAY + timedelta(days=60)).pk)
    plan.consumables.append((world.component("consumable", "swab-5").pk, 4))
    return make(world, world.a_case(hour=15))


def test_the_head_says_whose_when_and_where(knee: PickList, world: World) -> None:
    sheet = read(knee)
    assert (sheet.subject, sheet.side, sheet.reference) == ("Total knee", "RIGHT", knee.case.reference)
    assert (sheet.day, sheet.theatre, sheet.position) == ("7 Dec 2026", "Theatre 1", "1 of 1")
    assert "15:00" in sheet.starts
    assert sheet.surgeon == "Ms Surgeon"
    assert sheet.made_by == "C. Coordinator"


def test_times_are_the_sites(knee: PickList, world: World) -> None:
    world.site.zone = "Europe/Warsaw"
    world.site.save()
    assert "16:00" in read(knee).starts


def test_both_sides_are_words(world: World, plan: Any) -> None:
    assert read(make(world, world.a_case(sides=("left", "right")))).side == "LEFT and RIGHT"


def test_the_position_counts_the_cases_that_are_left(world: World, plan: Any) -> None:
    gone, case, _last = world.a_case(), world.a_case(), world.a_case()
    Case.objects.filter(pk=gone.pk).update(status="cancelled", cancel_reason="unwell")
    assert read(make(world, case)).position == "1 of 2"


def test_stops_are_numbered_as_they_are_walked(knee: PickList) -> None:
    sheet = read(knee)
    assert [(stop.number, stop.name, stop.hint) for stop in sheet.places] == [
        (1, "Implant store, shelf 1", ""),
        (2, "Sterile store", "instrument sets"),
    ]
    assert [row.number for stop in sheet.places for row in stop.rows] == [1, 2, 3, 4, 5]


def test_a_units_line_says_all_that_is_on_its_box(knee: PickList) -> None:
    rows = [row for stop in read(knee).places for row in stop.rows]
    row = next(row for row in rows if row.size == "2")
    assert (row.name, row.side) == ("Femoral component A", "RIGHT")
    assert (row.bin, row.take, row.lot) == ("K1-2", 1, "M2")
    assert row.detail == "lot M2 · use by 6 Nov 2028 · consigned"
    assert (row.group_word, row.mark, row.site_minimum, row.thing) == ("likely", "likely", False, "unit")
    other = next(row for row in rows if row.size == "3")
    assert (other.group_word, other.site_minimum) == ("keep sealed", True)


def test_a_short_dated_unit_is_called_so(world: World, plan: Any) -> None:
    component = world.component("femoral", "2", side="right")
    world.unit(component, 1, expires=TODAY + timedelta(days=20))
    plan.want(component)
    ((row,),) = (stop.rows for stop in read(make(world, world.a_case())).places)
    assert "short-dated" in row.detail


def test_a_packs_line_says_its_tray_its_date_and_what_it_lacks(knee: PickList) -> None:
    PackLine.objects.filter(pack__tray=1, line__number=2).update(present=3)
    Pack.objects.filter(tray=1).update(weight_grams=7900)
    Pack.objects.filter(tray=2).update(sterile_until=None)
    number = Pack.objects.get(tray=1).number
    first, second = read(knee).places[1].rows
    assert (first.name, first.size, first.mark) == ("Knee general set", "KG-01", "")
    assert first.side == "tray 1 of 2"
    assert first.detail == f"pack {number}-1 · sterile until 5 Feb 2027 · short 1 Artery forceps · 7.9 kg"
    assert "unless opened" in second.detail


def test_the_run_shows_every_size_and_those_on_the_list(knee: PickList) -> None:
    runs = {run.label: run for run in read(knee).runs}
    cells = [(cell.size, cell.group, cell.minimum) for cell in runs["Femoral"].cells]
    assert cells[:2] == [("1", "", False), ("2", "likely", False)]
    assert [cell.size for cell in runs["Femoral"].cells] == ["1", "2", "3", "4"]
    assert runs["Femoral"].side == "RIGHT"


def test_inserts_have_a_row_for_each_size_with_their_thicknesses(world: World, plan: Any) -> None:
    for second in ("8", "10"):
        component = world.component("insert", "3", second=second)
        world.unit(component, 1)
        plan.want(component)
    first, *_rest = read(make(world, world.a_case())).runs
    assert (first.label, first.unit) == ("Insert 3", "thickness")
    assert [cell.size for cell in first.cells] == ["8", "10"]


def test_a_hole_in_the_run_is_a_gap(world: World, plan: Any) -> None:
    from cases.picks.said import _cells  # the shape of one row, without the plan around it

    sizes = [world.component("tibial", size) for size in "1234"]
    listed = {sizes[0].pk: 1, sizes[2].pk: 1}
    gaps = _cells(sizes, listed, lambda one, words, within: within and one.pk not in listed, str)
    assert gaps == (False, True, False, False)


def test_the_verdict_is_the_worse_of_the_two_levels(world: World, plan: Any) -> None:
    plan.on_site = Level(Word.THIN, 0.983, False, 0.99, 0.0)
    verdict = read(make(world, world.a_case())).verdict
    assert (verdict.state, verdict.word) == ("thin", "Thin")
    assert (verdict.in_room.word, verdict.in_room.figures) == ("Covered", "96 in 100; wanted 95")
    assert (verdict.on_site.word, verdict.on_site.figures) == ("Thin", "98 in 100; wanted 99")
    assert verdict.reasons == ("Femoral 3 RIGHT: one on site, also wanted by the next case.",)


def test_a_case_outside_the_forecast_is_not_known_on_site(knee: PickList) -> None:
    verdict = read(knee).verdict
    assert (verdict.on_site.word, verdict.on_site.figures, verdict.state) == ("Not known", "", "unknown")


def test_what_the_list_said_stays_when_the_forecast_changes(knee: PickList, plan: Any) -> None:
    before = read(knee)
    plan.chance = 0.5
    assert read(knee).verdict == before.verdict
    assert read(knee).runs == before.runs


def test_what_is_not_on_site_is_told_in_words(world: World, plan: Any) -> None:
    plan.want(world.component("tibial", "3"), "contingency", minimum=True)
    (gone,) = read(make(world, world.a_case())).not_on_site
    assert (gone.size, gone.why, gone.group_word) == ("3", "none on site", "contingency")
    assert gone.site_minimum


def test_a_case_that_changed_since_is_told(knee: PickList, world: World) -> None:
    assert read(knee).changed_since == ""
    record(
        chain=world.site.code, verb="case.predict", by=world.cast.coordinator, at=NOW,
        lines=[Line("case", knee.case_id, "booked", "booked")],
    )
    assert read(knee).changed_since == "The case has been changed since this list was made."


def test_lines_that_are_no_longer_kept_are_told_by_number(knee: PickList, world: World) -> None:
    units = [line.unit for line in knee.lines.filter(unit__isnull=False)]
    units_release(by=world.cast.stores, units=units[:1], at=NOW)
    numbers = list(knee.lines.filter(unit=units[0]).values_list("number", flat=True))
    assert read(knee).changed_since == f"Line {numbers[0]} is no longer kept for this case."


def test_a_cancelled_case_sends_everything_back(knee: PickList) -> None:
    Case.objects.update(status="cancelled", cancel_reason="unwell")
    assert "Put everything back" in read(knee).changed_since


def test_a_replaced_list_says_so_and_is_not_the_one_in_force(knee: PickList, world: World) -> None:
    newer = make(world, knee.case)
    knee.refresh_from_db()
    assert "Do not pick by it" in read(knee).replaced
    assert in_force(knee.case) == newer
    assert list(pick_lists([world.site.pk])) == [newer]
    assert list(pick_lists([world.far_site.pk])) == []


def test_codes_name_the_sheet_and_the_line_never_the_thing(knee: PickList, world: World) -> None:
    sheet = read(knee)
    serial = f"PL{knee.pk:05d}"
    assert sheet.code == ours.sheet(GLN, serial)
    row = sheet.places[0].rows[0]
    assert row.code == ours.sheet_line(GLN, serial, row.number)
    assert row.text == f"{serial}-001"
    key = ours.key_of(gs1.parse(row.code).elements)
    assert key == ours.SheetKey(GLN, serial, 1)
    assert found_by_serial(key.serial) == knee
    assert found_by_serial("XX00001") is None
    assert number_from("PL12a") == ""


def test_a_site_without_a_number_of_its_own_prints_no_code(world: World) -> None:
    world.site.gln = ""
    assert sheet_code(world.site, "PL-00001") == line_code(world.site, "PL-00001", 1) == ""
    world.site.gln = "9521234000070"[:-1] + "9"
    assert sheet_code(world.site, "PL-00001") == ""


def test_a_place_in_a_room_names_the_room(knee: PickList, world: World) -> None:
    room = Place.objects.create(site=world.site, code="IS", name="Implant store", kind="store")
    Place.objects.filter(pk=world.shelf.pk).update(room=room, name="shelf 1")
    assert read(knee).places[0].name == "Implant store · shelf 1"
    Place.objects.filter(pk=world.shelf.pk).update(name="Implant store, shelf 1")
    assert read(knee).places[0].name == "Implant store, shelf 1"


def test_reading_takes_the_same_few_queries_for_any_list(
    knee: PickList, django_assert_num_queries: Any
) -> None:
    chosen = whole_lists().get(pk=knee.pk)
    # lines, packs' facts (4), sides, positions, the case's last entry, unit holds, set holds
    with django_assert_num_queries(10):
        sheet_of(chosen, at=NOW)
