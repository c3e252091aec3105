"""What a pick list made now would bring."""

from datetime import timedelta

import pytest

from cases.readiness.assess import pick_plan
from cases.readiness.kinds import Word
from cases.reservations.models import Hold, SetHold
from tests.world import NOW, SIZES, TODAY
from trays.catalogue.models import Component, FitRule
from trays.web.errors import Refusal

SURE = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}


def sizes(plan, label: str, **wanted) -> list[str]:
    """Size labels of a slot, in order."""
    slot = next(s for s in plan.slots if s.label == label)
    rows = [one for one in slot.sizes if all(getattr(one, name) == value for name, value in wanted.items())]
    found = Component.objects.in_bulk([one.component_id for one in rows])
    return sorted({found[one.component_id].size for one in rows}, key=SIZES.index)


def exact(world) -> None:
    """An error table that leaves little beside the predicted size, and a target that it reaches."""
    from cases.forecasts.models import ErrorTable, ErrorTableRow

    for slot in ("femoral", "tibial", "patellar"):
        table = ErrorTable.objects.create(
            slot=slot, method="xray_template", source="Ours", valid_from=TODAY - timedelta(days=9)
        )
        for offset, weight in ((-1, 0.001), (0, 0.998), (1, 0.001)):
            ErrorTableRow.objects.create(table=table, offset=offset, weight=weight)
    world.site.wanted_in_room = 0.85
    world.site.save()


def test_the_run_is_never_below_the_sites_minimum_and_says_what_that_adds(world):
    exact(world)
    world.stock_everything(2)
    world.sets_of_each(2)
    case = world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)})
    plan = pick_plan(case=case, at=NOW)
    assert sizes(plan, "Femoral") == ["1", "2", "3"]
    assert sizes(plan, "Femoral", site_minimum=False) == ["2"]
    assert sizes(plan, "Femoral", group="likely") == ["2"]
    assert sizes(plan, "Femoral", group="keep_sealed") == ["1", "3"]
    # What must fit the femoral run comes with it, in every thickness.
    inserts = next(slot for slot in plan.slots if slot.label == "Insert")
    assert sizes(plan, "Insert") == ["1", "2", "3"]
    assert len(inserts.sizes) == 6
    assert plan.minimum_added.startswith("The site’s minimum adds ")
    assert plan.in_room.word is Word.COVERED


def test_a_site_that_asks_for_no_minimum_brings_the_computed_run_alone(world):
    exact(world)
    world.site.sizes_each_way = 0
    world.site.save()
    world.stock_everything(2)
    world.sets_of_each(2)
    plan = pick_plan(case=world.a_case(predictions=SURE), at=NOW)
    assert sizes(plan, "Femoral") == ["2"]
    assert plan.in_room.word is Word.COVERED


def test_what_is_not_there_is_left_out_and_said(world):
    world.stock_everything(2)
    world.sets_of_each(2)
    world.component("femoral", "2", side="right").units.all().delete()
    plan = pick_plan(case=world.a_case(predictions=SURE), at=NOW)
    assert "2" not in sizes(plan, "Femoral")
    assert "Femoral 2 RIGHT: none free on site in date." in plan.missing
    assert plan.in_room.word is Word.SHORT


def test_units_held_for_another_are_not_brought_and_own_ones_are(world):
    world.stock_everything(1)
    world.sets_of_each(2)
    case, other = world.a_case(predictions=SURE), world.a_case(predictions=SURE, hour=13)
    unit = world.component("femoral", "2", side="right").units.get()
    held = Hold.objects.create(unit=unit, case=other, placed_at=NOW, placed_by=world.cast.coordinator)
    assert "2" not in sizes(pick_plan(case=case, at=NOW), "Femoral")
    assert "2" in sizes(pick_plan(case=other, at=NOW), "Femoral")
    Hold.objects.filter(pk=held.pk).update(case=None, list=case.list)
    assert "2" in sizes(pick_plan(case=case, at=NOW), "Femoral")


def test_sets_serve_the_run_and_are_free_over_the_case_and_its_turnaround(world):
    world.stock_everything(2)
    general = world.a_set("general", "G-01")
    spare = world.a_set("general", "G-02", sterile_until=TODAY + timedelta(days=1))
    small, large = world.a_set("blocks-small", "S-01"), world.a_set("blocks-large", "L-01")
    case = world.a_case(predictions=SURE)
    assert set(pick_plan(case=case, at=NOW).set_ids) == {spare.pk, small.pk, large.pk}
    SetHold.objects.create(
        set=spare, case=world.a_case(predictions=SURE, hour=16), starts_at=NOW + timedelta(hours=9),
        ends_at=NOW + timedelta(hours=15), placed_at=NOW, placed_by=world.cast.coordinator,
    )  # fmt: skip
    # Held for another before it would be back from this case.
    assert set(pick_plan(case=case, at=NOW).set_ids) == {general.pk, small.pk, large.pk}
    world.take_to(small.packs.all(), "used")
    plan = pick_plan(case=case, at=NOW)
    assert set(plan.set_ids) == {general.pk, large.pk}
    assert plan.in_room.word is Word.SHORT


def test_both_sides_bring_two_of_what_they_share_and_no_more_than_there_are(world):
    world.stock_everything(1)
    world.sets_of_each(2)
    case = world.a_case(predictions=SURE, sides=("left", "right"))
    plan = pick_plan(case=case, at=NOW)
    brought = [one.component_id for slot in plan.slots for one in slot.sizes]
    tibial = world.component("tibial", "2").pk
    assert brought.count(tibial) == 1
    world.unit(world.component("tibial", "2"))
    again = pick_plan(case=case, at=NOW)
    assert [one.component_id for slot in again.slots for one in slot.sizes].count(tibial) == 2
    assert {slot.side for slot in again.slots} == {"left", "right"}
    assert dict(again.consumables)[world.component("consumable", "swab-5").pk] == 8


def test_a_second_unit_is_brought_against_waste_where_the_target_needs_it(world):
    exact(world)
    world.slots["femoral"].waste = 0.08
    world.slots["femoral"].save()
    world.site.wanted_in_room = 0.95
    world.site.save()
    world.stock_everything(3)
    world.sets_of_each(2)
    plan = pick_plan(case=world.a_case(predictions=SURE), at=NOW)
    two = [one for slot in plan.slots for one in slot.sizes if one.quantity == 2]
    assert [one.component_id for one in two][0] == world.component("femoral", "2", side="right").pk
    assert plan.in_room.word is Word.COVERED


def test_a_case_that_nothing_fits_is_refused_in_words(world):
    world.stock_everything(2)
    FitRule.objects.update(verdict="refused")
    with pytest.raises(Refusal) as refused:
        pick_plan(case=world.a_case(predictions=SURE), at=NOW)
    assert refused.value.code == "case-not-plannable"
