"""Count sheets: one per pack from what it really holds, one for soft goods; numbers, order, what lacks."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse

from cases.bookings.models import Case
from cases.counts.kinds import CountSheetView
from cases.counts.models import CountSheet
from cases.counts.queries import pack_code, sheets_in_force, stages, stale, views_of
from cases.counts.services import count_sheets_make
from cases.counts.views import CASES
from cases.picks.models import PickLine, PickList
from tests.world import NOW, World
from trays.catalogue.models import Component
from trays.identifiers import gs1, ours
from trays.instruments.models import ContentsLine, InstrumentSet, InstrumentType, Pack, PackLine
from trays.ledger.models import Event
from trays.web.errors import NotAllowed, Refusal

pytestmark = pytest.mark.django_db


def a_list(world: World, case: Case, *sets: InstrumentSet) -> PickList:
    """A pick list with the packs of these sets."""
    PickList.objects.filter(case=case).update(replaced_at=NOW)
    made = PickList.objects.create(
        number=f"PL-{world.next():05d}", case=case, made_at=NOW, made_by=world.cast.coordinator,
        in_room=0.96, wanted=0.95,
    )  # fmt: skip
    for number, pack in enumerate(Pack.objects.filter(set__in=sets), start=1):
        PickLine.objects.create(pick_list=made, number=number, group="set", pack=pack, place=pack.place)
    return made


@pytest.fixture
def general(world: World) -> InstrumentSet:
    return world.a_set("general", "KG-01")


@pytest.fixture
def case(world: World, general: InstrumentSet) -> Case:
    made = world.a_case(reference="LK-1187")
    a_list(world, made, general)
    return made


def make(world: World, case: Case, **more: Any) -> tuple[CountSheet, ...]:
    return count_sheets_make(by=world.cast.scrub, case=case, at=more.pop("at", NOW), **more)


def read(case: Case) -> tuple[CountSheetView, ...]:
    whole = CASES.get(pk=case.pk)
    return views_of(whole, list(sheets_in_force(whole)), at=NOW)


def test_soft_goods_come_first_then_each_pack_by_set_and_tray(world: World, case: Case) -> None:
    a_list(world, case, world.a_set("blocks-small", "KB-02", trays=2), world.a_set("general", "KA-03"))
    made = make(world, case)
    assert [sheet.kind for sheet in made] == ["soft_goods", "pack", "pack", "pack"]
    assert [(view.sheet_of_case, view.subject) for view in read(case)] == [
        ("1 of 4", "Soft goods, sharps, small items"),
        ("2 of 4", "Knee general set"),
        ("3 of 4", "Femoral blocks, small"),
        ("4 of 4", "Femoral blocks, small"),
    ]
    assert [sheet.number for sheet in made] == [f"CS-{sheet.pk:05d}" for sheet in made]


def test_a_tray_of_several_is_named_by_its_number(world: World, case: Case, general: InstrumentSet) -> None:
    forceps = InstrumentType.objects.get(code="forceps")
    ContentsLine.objects.create(version=general.version, tray=2, number=1, instrument=forceps)
    make(world, case)
    assert read(case)[1].subject == "Knee general set, tray 1"


def test_what_is_expected_is_what_is_in_the_pack(world: World, case: Case, general: InstrumentSet) -> None:
    PackLine.objects.filter(line__number=2).update(present=3)
    make(world, case)
    view = read(case)[1]
    lines = [row for section in view.sections for row in section.rows]
    rows = [(row.number, row.name, row.expected, row.note, row.critical) for row in lines]
    assert rows == [
        (1, "Cutting block", 2, "", True),
        (2, "Artery forceps", 3, "list 4, short 1", False),
    ]
    assert [section.title for section in view.sections] == ["Top", "Bottom"]
    assert view.short == "short 1"
    assert view.contents_list == "v 1"


def test_more_than_the_list_is_told_as_well(world: World, case: Case) -> None:
    PackLine.objects.filter(line__number=2).update(present=6)
    make(world, case)
    assert read(case)[1].sections[1].rows[0].note == "list 4, 2 more"
    assert read(case)[1].short == ""


def test_a_line_nobody_counted_in_expects_none(world: World, case: Case) -> None:
    PackLine.objects.filter(line__number=1).delete()
    make(world, case)
    row = read(case)[1].sections[0].rows[0]
    assert (row.expected, row.note) == (0, "list 2, not recorded as packed")


def test_an_instrument_of_several_parts_says_so(world: World, case: Case) -> None:
    InstrumentType.objects.filter(code="block").update(parts=3)
    make(world, case)
    assert read(case)[1].sections[0].rows[0].note == "3 parts"


def test_rack_stock_is_a_section_of_its_own_by_size(
    world: World, case: Case, general: InstrumentSet
) -> None:
    sizes = [world.component("patellar", size) for size in "31"]
    for number, size in enumerate(sizes, start=3):
        line = ContentsLine.objects.create(
            version=general.version, number=number, section="Top", rack_stock=size, quantity=4
        )
        PackLine.objects.create(pack=general.packs.get(), line=line, present=4)
    make(world, case)
    section = read(case)[1].sections[-1]
    assert section.title == "Rack stock, by size"
    assert [row.name for row in section.rows] == ["Patellar 1", "Patellar 3"]
    assert [row.number for row in section.rows] == [3, 4]


def test_soft_goods_and_sharps_stand_by_class_with_their_packed_number(world: World, case: Case) -> None:
    make(world, case)
    soft = read(case)[0].soft
    assert [(s.title, [(row.name, row.in_packs) for row in s.rows]) for s in soft] == [
        ("Swabs and soft goods: packed and counted in 5", [("Swabs, five", "5")]),
        ("Sharps", [("Saw blade", "·")]),
    ]


def test_a_case_for_both_sides_lists_each_kind_once_and_no_number_of_the_plan(
    world: World, case: Case, general: InstrumentSet
) -> None:
    """What is brought doubles with the sides; what is counted is written by hand, whatever was brought."""
    both = world.a_case(sides=("left", "right"), hour=13)
    a_list(world, both, general)
    for one in (case, both):
        make(world, one)
    assert read(both)[0].soft == read(case)[0].soft
    names = [row.name for section in read(both)[0].soft for row in section.rows]
    assert len(names) == len(set(names)) == 2


def test_what_is_not_counted_is_not_on_the_sheet(world: World, case: Case) -> None:
    Component.objects.filter(code="swab-5").update(count_class="none")
    make(world, case)
    assert [section.title for section in read(case)[0].soft] == ["Sharps"]


def test_the_stages_are_the_sites(world: World, case: Case) -> None:
    world.site.count_stages = ["Start", "Cavity", ["R", "Relief"]]
    world.site.added_rows = 7
    world.site.save()
    make(world, case)
    view = read(case)[1]
    assert [(stage.mark, stage.word) for stage in view.stages] == [
        ("1", "Start"), ("2", "Cavity"), ("R", "Relief"),
    ]  # fmt: skip
    assert stages(CASES.get(pk=case.pk)) == view.stages
    assert view.added_rows == 7


def test_codes_name_the_sheet_and_the_pack_with_its_round(world: World, case: Case) -> None:
    world.site.gln = ours.gln("9521234", "1")
    world.site.save()
    Pack.objects.update(giai="95212340417A", round=231)
    made = make(world, case)
    view = read(case)[1]
    assert ours.key_of(gs1.parse(view.code).elements) == ours.SheetKey(
        world.site.gln, f"CS{made[1].pk:05d}"
    )
    assert gs1.hri(view.pack_code) == "(8004)95212340417A (91)231"
    assert view.pack == f"{Pack.objects.get().number}-231"
    assert pack_code(None, None) == ""


def test_new_sheets_replace_the_old_ones(world: World, case: Case) -> None:
    first = make(world, case)
    second = make(world, case, at=NOW + timedelta(hours=1))
    assert set(sheets_in_force(case)) == set(second)
    assert set(CountSheet.objects.filter(replaced_at=NOW + timedelta(hours=1))) == set(first)
    lines = Event.objects.filter(verb="count_sheets.make").order_by("-sequence")[0].lines.all()
    assert {(line.subject, line.subject_id, line.after) for line in lines} == {
        *(("count_sheet", sheet.pk, "replaced") for sheet in first),
        *(("count_sheet", sheet.pk, "made") for sheet in second),
    }


def test_sheets_that_no_longer_fit_say_so(world: World, case: Case, general: InstrumentSet) -> None:
    rows = list(make(world, case))
    assert stale(case, rows) == ""
    Pack.objects.update(round=2)
    assert "been through the round" in stale(case, rows)
    a_list(world, case, general, world.a_set("blocks-small", "KB-01"))
    assert "other packs" in stale(case, rows)


def test_without_a_pick_list_there_is_nothing_to_count(world: World) -> None:
    with pytest.raises(Refusal) as refused:
        make(world, world.a_case())
    assert refused.value.code == "no-pick-list"


def test_a_cancelled_case_gets_no_sheets(world: World, case: Case) -> None:
    Case.objects.update(status="cancelled", cancel_reason="unwell")
    with pytest.raises(Refusal) as refused:
        make(world, case)
    assert refused.value.code == "case-not-open"


def test_the_same_key_makes_the_sheets_once(world: World, case: Case, general: InstrumentSet) -> None:
    key = uuid4()
    first, again = (make(world, case, client_key=key) for _press in range(2))
    assert [sheet.pk for sheet in first] == [sheet.pk for sheet in again]
    assert CountSheet.objects.count() == 2
    other = world.a_case()
    a_list(world, other, general)
    with pytest.raises(Refusal) as refused:
        make(world, other, client_key=key)
    assert refused.value.code == "key-used-before"


@pytest.mark.parametrize("who", ["stores", "quality", "surgeon", "supplier", "stranger", "far_coordinator"])
def test_whose_act_it_is_not_may_not_make_sheets(world: World, case: Case, who: str) -> None:
    with pytest.raises(NotAllowed):
        count_sheets_make(by=getattr(world.cast, who), case=case, at=NOW)
    assert not CountSheet.objects.exists()


def test_reading_takes_the_same_few_queries_for_any_number_of_packs(
    world: World, case: Case, django_assert_num_queries: Any
) -> None:
    a_list(world, case, *(world.a_set("blocks-small", f"KB-{n:02d}", trays=2) for n in range(4)))
    make(world, case)
    whole = CASES.get(pk=case.pk)
    rows = list(sheets_in_force(whole))
    assert len(rows) == 9
    # contents lines, actual lines, consumables, sides, positions; the case opened or not, its template
    with django_assert_num_queries(7):
        views_of(whole, rows, at=NOW)


def page_of(client: Any, case: Case) -> str:
    return " ".join(client.get(reverse("count-sheets", args=[case.pk])).content.decode().split())


def test_the_page_makes_and_lists_the_sheets(world: World, case: Case, as_person: Any) -> None:
    client, address = as_person("circulating"), reverse("count-sheets", args=[case.pk])
    assert "Make the count sheets" in page_of(client, case)
    answer = client.post(address, {"client_key": str(uuid4())})
    assert (answer.status_code, answer.url) == (303, address)
    page = page_of(client, case)
    for words in ("2 sheets", "Knee general set", "Soft goods, sharps, small items", "1 of 2", "Count aloud"):
        assert words in page, words
    assert reverse("count-sheets-pdf", args=[case.pk]) in page


def test_a_case_without_a_pick_list_is_led_to_it(world: World, as_person: Any) -> None:
    other = world.a_case()
    page = page_of(as_person("circulating"), other)
    assert "no pick list yet" in page
    assert reverse("case", args=[other.pk]) in page


def test_the_paper_holds_all_sheets_and_nobody_keeps_it(world: World, case: Case, as_person: Any) -> None:
    client, address = as_person("scrub"), reverse("count-sheets-pdf", args=[case.pk])
    assert client.get(address).status_code == 404
    make(world, case)
    answer = client.get(address)
    assert (answer["Content-Type"], answer["Cache-Control"]) == ("application/pdf", "no-store")
    assert answer.content.startswith(b"%PDF-")


def test_sheets_that_no_longer_fit_are_not_printed(world: World, case: Case, as_person: Any) -> None:
    make(world, case)
    Pack.objects.update(round=2)
    client, address = as_person("scrub"), reverse("count-sheets-pdf", args=[case.pk])
    answer = client.get(address)
    assert answer.status_code == 409
    assert "Make them again" in answer.content.decode()
    make(world, case)
    assert client.get(address).status_code == 200


def test_who_may_not_print_sees_no_button_and_gets_no_paper(world: World, case: Case, as_person: Any) -> None:
    make(world, case)
    client = as_person("stores")
    assert reverse("count-sheets-pdf", args=[case.pk]) not in page_of(client, case)
    assert client.get(reverse("count-sheets-pdf", args=[case.pk])).status_code == 404
    assert client.post(reverse("count-sheets", args=[case.pk])).status_code == 403


@pytest.mark.parametrize("who", ["supplier", "stranger", "far_coordinator"])
def test_others_learn_not_even_of_the_case(world: World, case: Case, as_person: Any, who: str) -> None:
    make(world, case)
    for name in ("count-sheets", "count-sheets-pdf"):
        assert as_person(who).get(reverse(name, args=[case.pk])).status_code == 404


def test_the_page_costs_few_queries(
    world: World, case: Case, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    make(world, case)
    client = as_person("scrub")
    # session, person, roles, case, sheets, what `views_of` asks (5), packs on the list, the list, the head
    with django_assert_max_num_queries(18):
        client.get(reverse("count-sheets", args=[case.pk]))
