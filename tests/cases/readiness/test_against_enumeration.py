"""From the database to the verdict: the same numbers as going through every outcome by hand."""

import random
from datetime import timedelta

import pytest

from cases.readiness.assess import judge
from cases.readiness.snapshot import take
from cases.reservations.models import Hold
from tests.cases.readiness.brute import walk
from tests.world import NOW, SIZES, THICKNESSES, TODAY
from trays.catalogue.models import FitRule


def narrow(world):
    """A case small enough to go through by hand: no patella, a single thickness is likely anyway."""
    slot = world.slots["patellar"]
    slot.use = 0.0
    slot.save()


def agrees(world, cases) -> None:
    snapshot = take(site=world.site, at=NOW)
    found = judge(snapshot)
    by_hand = walk(cases, snapshot.errors)
    for case in cases:
        low, high = by_hand[case.pk]
        level = found.verdicts[case.pk].on_site
        assert not level.at_most
        assert level.chance == pytest.approx(low, abs=1e-9)
        assert level.unknown == pytest.approx(high - low, abs=1e-9)


def stock(world, draw: random.Random) -> None:
    for slot in ("femoral", "tibial"):
        for size in SIZES:
            side = "right" if slot == "femoral" else "none"
            world.unit(world.component(slot, size, side=side), draw.choice((0, 1, 1, 2)))
    for size in SIZES:
        for thickness in THICKNESSES:
            world.unit(world.component("insert", size, second=thickness), draw.choice((0, 1, 2)))


@pytest.mark.parametrize("seed", range(4))
def test_two_cases_that_share_units_and_banded_sets(world, seed):
    narrow(world)
    draw = random.Random(seed)
    stock(world, draw)
    world.a_set("general", "G-01")
    world.a_set("general", "G-02")
    world.a_set("blocks-small", "S-01")
    if seed % 2:
        world.a_set("blocks-large", "L-01")
    one = world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 2)}, hour=8)
    two = world.a_case(predictions={"femoral": (1, 2), "tibial": (2, 2)}, hour=11)
    agrees(world, [one, two])


def test_a_held_unit_counts_for_its_case_alone(world):
    narrow(world)
    stock(world, random.Random(7))
    world.sets_of_each(2)
    one = world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 1)}, hour=8)
    two = world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 1)}, hour=11)
    for unit in world.unit(world.component("femoral", "2", side="right"), 1):
        Hold.objects.create(unit=unit, case=two, placed_at=NOW, placed_by=world.cast.coordinator)
    for unit in world.unit(world.component("tibial", "2"), 1):
        Hold.objects.create(unit=unit, list=two.list, placed_at=NOW, placed_by=world.cast.coordinator)
    agrees(world, [one, two])


def test_units_that_expire_between_two_days_serve_the_first_only(world):
    narrow(world)
    world.sets_of_each(2)
    tomorrow = TODAY + timedelta(days=1)
    for size in SIZES:
        world.unit(world.component("femoral", size, side="right"), 1, expires=TODAY)
        world.unit(world.component("femoral", size, side="right"), 1, expires=tomorrow)
        world.unit(world.component("tibial", size), 1, expires=tomorrow)
        for thickness in THICKNESSES:
            world.unit(world.component("insert", size, second=thickness), 2)
    one = world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 1)})
    two = world.a_case(predictions={"femoral": (2, 2), "tibial": (2, 2)}, day=tomorrow)
    agrees(world, [one, two])


def test_outcomes_with_no_rule_on_file_are_told_apart(world):
    narrow(world)
    stock(world, random.Random(3))
    world.sets_of_each(2)
    femoral, tibial = world.families["femoral"], world.families["tibial"]
    FitRule.objects.filter(family_a=femoral, rank_a=2, family_b=tibial, rank_b=2).delete()
    one = world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 1)}, hour=8)
    two = world.a_case(predictions={"femoral": (2, 2), "tibial": (2, 2)}, hour=11)
    agrees(world, [one, two])
