"""Pick lists from the real forecast: what is predicted is fetched, and a change of it changes the list."""

from typing import Any

import pytest

from cases.bookings.models import Case, CaseSlot, Prediction
from cases.counts.services import count_sheets_make
from cases.picks.models import PickLine, PickList
from cases.picks.queries import whole_lists
from cases.picks.reading import sheet_of
from cases.picks.services import pick_list_make
from tests.world import NOW, World

pytestmark = pytest.mark.django_db


def make(world: World, case: Case) -> PickList:
    case = Case.objects.select_related("site", "list").get(pk=case.pk)
    return pick_list_make(by=world.cast.coordinator, case=case, at=NOW)


def femorals(made: PickList) -> list[str]:
    lines = made.lines.filter(component__family__slot="femoral").order_by("component__size_rank")
    return [f"{line.component.size} {line.component.side}" for line in lines if line.component]


@pytest.fixture
def stocked(world: World) -> World:
    world.stock_everything(3)
    world.sets_of_each(2)
    return world


def predicted(world: World, low: int, high: int, **more: Any) -> Case:
    slots = ("femoral", "tibial", "patellar")
    return world.a_case(predictions=dict.fromkeys(slots, (low, high)), **more)


def test_the_list_is_an_unbroken_run_of_the_right_side_with_sets_and_consumables(stocked: World) -> None:
    made = make(stocked, predicted(stocked, 1, 1))
    run = femorals(made)
    assert "2 right" in run
    assert [side for _size, side in (one.split() for one in run)] == ["right"] * len(run)
    sizes = [int(one.split()[0]) for one in run]
    assert sizes == list(range(sizes[0], sizes[-1] + 1))
    groups = set(made.lines.values_list("group", flat=True))
    assert {PickLine.Group.SET, PickLine.Group.CONSUMABLE, PickLine.Group.LIKELY} <= groups
    assert made.lines.filter(pack__set__version__design__code="general").exists()


def test_another_prediction_makes_another_list(stocked: World) -> None:
    case = predicted(stocked, 0, 0)
    before = femorals(make(stocked, case))
    for slot in CaseSlot.objects.filter(construct__case=case, predictions__isnull=False):
        Prediction.objects.create(
            slot=slot, method=Prediction.Method.CT, planner=stocked.cast.surgeon, made_at=NOW,
            low_rank=3, high_rank=3,
        )  # fmt: skip
    after = femorals(make(stocked, case))
    assert before != after
    assert "4 right" in after


def test_both_sides_are_fetched_for_a_case_of_both(stocked: World) -> None:
    run = femorals(make(stocked, predicted(stocked, 1, 1, sides=("left", "right"))))
    assert {"2 left", "2 right"} <= set(run)


def test_the_level_of_the_list_is_that_of_what_it_holds(world: World) -> None:
    world.sets_of_each(2)
    for key, component in world.components.items():
        if key[0] in ("tibial", "insert", "patellar"):
            world.unit(component, 3)
    world.unit(world.component("femoral", "4", side="right"), 1)
    made = make(world, predicted(world, 1, 1))
    sheet = sheet_of(whole_lists().get(pk=made.pk), at=NOW)
    assert sheet.verdict.in_room.word == "Short"
    assert any("none free on site" in gone.name for gone in sheet.not_on_site)


def test_making_the_list_again_at_once_names_the_same_things(stocked: World) -> None:
    case = predicted(stocked, 1, 2)
    first, again = (
        set(make(stocked, case).lines.values_list("unit", "pack", "pile", "quantity")) for _turn in range(2)
    )
    assert first == again


def test_count_sheets_follow_the_packs_of_the_list(stocked: World) -> None:
    case = predicted(stocked, 1, 1)
    made = make(stocked, case)
    sheets = count_sheets_make(by=stocked.cast.scrub, case=case, at=NOW)
    packs = made.lines.filter(pack__isnull=False).values_list("pack", flat=True)
    assert {sheet.pack_id for sheet in sheets if sheet.pack_id} == set(packs)
