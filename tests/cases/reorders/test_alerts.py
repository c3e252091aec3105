"""Alerts from the database: what bookings, holds, use and stock rules come to."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache

from cases.bookings.models import Case, Prediction
from cases.forecasts.models import Outcome
from cases.readiness.assess import horizon
from cases.reorders.alerts import AlertRow, Alerts, alerts
from cases.reorders.demand import site_facts
from cases.reorders.models import StockRule
from cases.reorders.reasons import act, reason, summary
from cases.reservations.models import Hold
from tests.world import NOW, TODAY, World
from trays.catalogue.models import Component
from trays.ledger.append import record


@pytest.fixture(autouse=True)
def fresh_cache() -> None:
    cache.clear()


SOON = TODAY + timedelta(days=3)


def row_of(found: Alerts, component: Component) -> AlertRow | None:
    return next((row for row in found.rows if row.component == component), None)


def booked(world: World, count: int = 1, *, size: int = 1, day: Any = SOON) -> list[Case]:
    """So many right knees for which femoral and tibial size `size` (rank) is predicted."""
    return [
        world.a_case(predictions={"femoral": (size, size), "tibial": (size, size)}, day=day, hour=8 + n)
        for n in range(count)
    ]


def test_enough_stock_means_no_alert(world: World) -> None:
    world.stock_everything(6)
    booked(world, 2)
    found = alerts(site=world.site, at=NOW)
    assert found.rows == ()
    assert found.looked_at > 0
    assert "Nothing is below" in summary(found)


def test_a_size_that_booked_cases_may_take_and_that_lacks_is_told_with_its_reason(world: World) -> None:
    world.stock_everything(6)
    wanted = world.component("femoral", "2", side="right")
    wanted.units.all().delete()
    world.unit(wanted, 1)
    booked(world, 3)
    row = row_of(alerts(site=world.site, at=NOW), wanted)
    assert row is not None
    assert row.usable == 1
    assert 2 <= row.wanted <= 3
    assert row.suggested == row.wanted - 1
    assert "Three booked cases may take it by" in reason(row)
    assert f"1 usable, wanted {row.wanted}." in reason(row)
    assert "No forecast" in reason(row)
    assert act(row) == f"Order {row.suggested}"
    assert row.order_by == TODAY and not row.late


def test_the_other_side_is_left_alone(world: World) -> None:
    booked(world, 1)
    found = alerts(site=world.site, at=NOW)
    sides = {row.component.side for row in found.rows if row.component.family == world.families["femoral"]}
    assert sides == {"right"}


def test_the_number_follows_a_changed_prediction(world: World) -> None:
    world.stock_everything(1)
    cases = booked(world, 3, size=0)
    first, last = (world.component("femoral", size, side="right") for size in ("1", "4"))
    before = alerts(site=world.site, at=NOW)
    for case in cases:
        for slot in case.constructs.get().slots.filter(plan_slot__code__in=("femoral", "tibial")):
            Prediction.objects.create(
                slot=slot, method=Prediction.Method.XRAY, made_at=NOW, low_rank=3, high_rank=3
            )
    record_change(world)
    after = alerts(site=world.site, at=NOW)
    was, now = row_of(before, first), row_of(after, last)
    assert was is not None and now is not None
    assert was.suggested > 0 and now.suggested > 0
    smaller = row_of(after, first)
    assert smaller is None or smaller.wanted < was.wanted
    larger = row_of(before, last)
    assert larger is None or larger.wanted < now.wanted


def record_change(world: World) -> None:
    from django.db import transaction

    with transaction.atomic():
        record(chain=world.site.code, verb="case.predict", by=world.cast.coordinator, at=NOW)


def test_demand_is_what_readiness_says(world: World) -> None:
    (case,) = booked(world, 1)
    component = world.component("femoral", "2", side="right")
    (draw,) = [
        one
        for item in site_facts(site=world.site, at=NOW).items
        if item.component == component
        for one in item.draws
    ]
    (said,) = horizon(site=world.site, at=NOW).demand[component.pk]
    assert (draw.day, draw.case_id, draw.one, draw.two) == (said.day, case.pk, said.p_one, said.p_two)
    assert draw.list_id == case.list_id


def test_a_held_unit_counts_for_its_case_only(world: World) -> None:
    component = world.component("femoral", "2", side="right")
    near, far = booked(world, 1)[0], booked(world, 1, day=TODAY + timedelta(days=20))[0]
    (unit,) = world.unit(component, 1)
    hold = Hold.objects.create(unit=unit, case=near, placed_at=NOW, placed_by=world.cast.stores)
    assert row_of(alerts(site=world.site, at=NOW), component) is None
    hold.case = far
    hold.save()
    cache.clear()
    row = row_of(alerts(site=world.site, at=NOW), component)
    assert row is not None
    assert (row.usable, row.kept, row.missing) == (0, 1, 1)


def test_use_in_the_last_half_year_makes_a_forecast(world: World) -> None:
    component = world.component("patellar", "3")
    for number in range(36):
        Outcome.objects.create(
            site=world.site,
            reference=f"O{number}",
            slot="patellar",
            component=component,
            used_on=TODAY - timedelta(days=1 + 4 * number),
        )
    row = row_of(alerts(site=world.site, at=NOW), component)
    assert row is not None
    assert row.forecast
    assert row.expected_unbooked == pytest.approx(36 / 180 * ((row.until - TODAY).days + 1))
    assert "No booked case asks for it, but unbooked work takes 2" in reason(row)
    Outcome.objects.update(used_on=TODAY - timedelta(days=200))
    assert row_of(alerts(site=world.site, at=NOW), component) is None


def test_a_sites_own_rule_sets_chance_and_least(world: World) -> None:
    component = world.component("tibial", "4")
    StockRule.objects.create(site=world.site, component=component, wanted=0.9, least=2)
    row = row_of(alerts(site=world.site, at=NOW), component)
    assert row is not None
    assert (row.wanted, row.suggested) == (2, 2)
    assert "The site keeps at least 2." in reason(row)
    world.unit(component, 2)
    assert row_of(alerts(site=world.site, at=NOW), component) is None


def test_consumables_of_booked_cases_are_counted_in_pieces(world: World) -> None:
    swabs = world.component("consumable", "swab-5")
    swabs.piles.update(quantity=10)
    swabs.order_multiple = 10
    swabs.save()
    booked(world, 3)
    row = row_of(alerts(site=world.site, at=NOW), swabs)
    assert row is not None
    assert (row.usable, row.wanted, row.suggested) == (10, 12, 10)
    assert "Three booked cases take 12 by" in reason(row)
    assert act(row) == "Order 1 box of 10"


def test_a_case_for_both_sides_takes_its_consumables_twice(world: World) -> None:
    swabs = world.component("consumable", "swab-5")
    swabs.piles.update(quantity=7)
    world.a_case(sides=("left", "right"), day=SOON)
    row = row_of(alerts(site=world.site, at=NOW), swabs)
    assert row is not None
    assert (row.wanted, row.suggested) == (8, 1)


def test_what_must_be_ordered_first_comes_first(world: World) -> None:
    booked(world, 1, day=TODAY + timedelta(days=1))
    booked(world, 1, size=3, day=TODAY + timedelta(days=7))
    rows = alerts(site=world.site, at=NOW).rows
    assert [row.order_by for row in rows] == sorted(row.order_by for row in rows)
    assert rows[0].late
    assert "too late for that" in reason(rows[0])


def test_another_site_has_alerts_of_its_own(world: World) -> None:
    booked(world, 2)
    assert alerts(site=world.far_site, at=NOW).rows == ()
    assert alerts(site=world.site, at=NOW).rows


def test_cancelled_cases_ask_for_nothing(world: World) -> None:
    (case,) = booked(world, 1)
    assert alerts(site=world.site, at=NOW).rows
    Case.objects.filter(pk=case.pk).update(status=Case.Status.CANCELLED, cancel_reason="no_bed")
    cache.clear()
    assert alerts(site=world.site, at=NOW).rows == ()


def test_more_cases_take_no_more_queries(world: World, django_assert_num_queries: Any) -> None:
    world.stock_everything(1)
    booked(world, 2)
    horizon(site=world.site, at=NOW)
    # chain positions; cases, consumables, holds, units, leaving, piles, use, rules, orders, transfers,
    # components
    with django_assert_num_queries(12):
        alerts(site=world.site, at=NOW)
    booked(world, 6, day=TODAY + timedelta(days=4))
    cache.clear()
    horizon(site=world.site, at=NOW)
    with django_assert_num_queries(12):
        alerts(site=world.site, at=NOW)
