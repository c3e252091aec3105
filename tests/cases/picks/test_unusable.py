"""What has expired, or was set apart, since the list was made is not picked any more; and what goes first."""

from datetime import timedelta
from typing import Any

import pytest

from cases.picks.choose import Candidate, Wanted, choose_units
from cases.picks.models import PickLine, PickList
from cases.picks.not_this import Goods
from cases.picks.services import pick_list_make
from cases.picks.ticking import goods_pick
from cases.reservations.hold import units_hold
from tests.world import NOW, TODAY, World
from trays.stock.apart import units_set_apart
from trays.stock.models import Unit
from trays.stock.queries import expiring, usable_units
from trays.web.errors import Refusal

SOON = TODAY + timedelta(days=2)


@pytest.fixture
def listed(world: World) -> PickList:
    """A list for tomorrow; every tibial component is usable for two days more."""
    world.stock_everything()
    world.sets_of_each()
    Unit.objects.filter(component__family=world.families["tibial"]).update(expires=SOON)
    wanted = {"femoral": (1, 1), "tibial": (1, 1), "patellar": (1, 1)}
    case = world.a_case(predictions=wanted, day=TODAY + timedelta(days=1))
    pick_list_make(by=world.cast.coordinator, case=case, at=NOW)
    return PickList.objects.select_related("case__site", "case__list").get(case=case)


def line_of(world: World, pick_list: PickList) -> PickLine:
    lines = pick_list.lines.filter(component__family=world.families["tibial"])
    return lines.select_related("unit__component").order_by("number")[0]


def pick(world: World, pick_list: PickList, line: PickLine, at: Any = NOW) -> list[PickLine]:
    goods = Goods(line.component, line.unit.lot)
    return goods_pick(by=world.cast.stores, pick_list=pick_list, goods=goods, at=at)


def test_a_unit_that_expired_since_is_not_picked_from_the_next_day_on(world: World, listed: PickList) -> None:
    line = line_of(world, listed)
    with pytest.raises(Refusal, match="out-of-date"):
        pick(world, listed, line, at=NOW + timedelta(days=3))
    assert pick(world, listed, line, at=NOW + timedelta(days=2)) == [line]


def test_a_unit_that_was_set_apart_since_is_not_picked(world: World, listed: PickList) -> None:
    line = line_of(world, listed)
    units_set_apart(by=world.cast.stores, units=[line.unit], cause="unsure", at=NOW)
    with pytest.raises(Refusal, match="not-on-hand"):
        pick(world, listed, line)
    assert not listed.lines.filter(picked_at__isnull=False).exists()


def test_expired_units_are_held_for_nobody_and_counted_nowhere(world: World) -> None:
    (good,) = world.unit(world.component("tibial", "2"), 1, expires=SOON)
    (stale,) = world.unit(world.component("tibial", "2"), 1, expires=TODAY - timedelta(days=1))
    case = world.a_case(day=TODAY + timedelta(days=1))
    with pytest.raises(Refusal, match="out-of-date"):
        units_hold(by=world.cast.coordinator, units=[stale], case=case, at=NOW)
    assert list(usable_units(site_id=world.site.pk, day=TODAY)) == [good]
    assert list(usable_units(site_id=world.site.pk, day=SOON + timedelta(days=1))) == []
    assert list(expiring(site_id=world.site.pk, day=TODAY, within_days=30)) == [stale, good]


def test_what_is_to_be_used_first_goes_before_the_order_of_owners_and_dates() -> None:
    def taken(*candidates: Candidate) -> int:
        wanted = [Wanted(1, 7)]
        choice = choose_units(wanted, candidates, owner_order=["consigned", "owned"], day=TODAY)
        return choice.units[1]

    late, soon = TODAY + timedelta(days=500), TODAY + timedelta(days=50)
    consigned = Candidate(1, 7, "consigned", late)
    assert taken(consigned, Candidate(2, 7, "owned", soon)) == 1
    assert taken(consigned, Candidate(2, 7, "consigned", soon)) == 2
    assert taken(consigned, Candidate(2, 7, "owned", late, use_first=True)) == 2
