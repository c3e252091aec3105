"""What is usable on a day, at a site's own day, and by whose it is."""

from datetime import UTC, datetime, timedelta
from typing import Any

from tests.world import TODAY, World
from trays.parties.models import Tenure
from trays.parties.queries import site_day
from trays.stock.models import Unit
from trays.stock.queries import counts_by_owner, short_dated, usable_counts, usable_units


def test_a_unit_is_usable_on_its_day_and_not_after(world: World) -> None:
    component = world.component("tibial", "1")
    world.unit(component, expires=TODAY)
    world.unit(component, expires=None)
    world.unit(component, expires=TODAY - timedelta(days=1))
    world.unit(component, state=Unit.State.QUARANTINE)
    world.unit(component, state=Unit.State.PICKED)
    assert usable_counts(site_id=world.site.pk, day=TODAY)[component.pk] == 3
    assert usable_counts(site_id=world.site.pk, day=TODAY + timedelta(days=1))[component.pk] == 2


def test_the_day_is_the_sites_own(world: World) -> None:
    late = datetime(2026, 12, 7, 23, 30, tzinfo=UTC)
    world.far_site.zone = "Europe/Helsinki"
    assert site_day(world.site, late) == TODAY
    assert site_day(world.far_site, late) == TODAY + timedelta(days=1)


def test_piles_count_in_pieces_and_other_sites_do_not_count(world: World) -> None:
    swabs = world.component("consumable", "swab-5")
    assert usable_counts(site_id=world.site.pk, day=TODAY)[swabs.pk] == 100
    assert usable_counts(site_id=world.far_site.pk, day=TODAY) == {}


def test_counting_a_site_takes_two_queries_whatever_it_holds(
    world: World, django_assert_num_queries: Any
) -> None:
    world.stock_everything(3)
    with django_assert_num_queries(2):  # units; piles
        usable_counts(site_id=world.site.pk, day=TODAY)
    with django_assert_num_queries(1):
        found = counts_by_owner(site_id=world.site.pk)
    assert {one.units for one in found} == {3}


def test_owners_are_told_apart(world: World) -> None:
    component = world.component("tibial", "2")
    world.unit(component, 2)
    world.unit(component, 1, tenure=Tenure.CONSIGNED)
    found = counts_by_owner(site_id=world.site.pk, component_ids=[component.pk])
    assert {(one.tenure, one.owner, one.units) for one in found} == {
        ("owned", "Larkmere Orthopaedic Centre", 2),
        ("consigned", "Merrowfield", 1),
    }


def test_short_dated_units_come_first_expired_first(world: World) -> None:
    component = world.component("tibial", "1")
    (later,) = world.unit(component, expires=TODAY + timedelta(days=80))
    (sooner,) = world.unit(component, expires=TODAY + timedelta(days=3))
    world.unit(component, expires=TODAY + timedelta(days=400))
    assert list(short_dated(site_id=world.site.pk, day=TODAY)) == [sooner, later]
    assert not usable_units(site_id=world.site.pk, day=TODAY + timedelta(days=500)).filter(pk=later.pk)
