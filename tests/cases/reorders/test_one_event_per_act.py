"""Each act of reorders writes exactly one event, names nobody in it, and is not done twice."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core.cache import cache

from cases.bookings.models import Case
from cases.reorders.accepting import Accepted, plan_accept
from cases.reorders.alerts import alerts
from cases.reorders.demand import site_facts
from cases.reorders.expiring import units_exchange
from cases.reorders.models import SetAside
from cases.reorders.services import (
    Bought,
    Wanted,
    alert_set_aside,
    alert_take_up,
    alerts_order,
    budget_order,
)
from cases.reorders.uses import uses_order
from cases.reorders.views_actions import offered_for
from cases.usage.fates import fate_record
from tests.cases.usage.conftest import Table
from tests.cases.usage.conftest import table as table  # noqa: F401
from tests.trays.ledger.acts import left_out, verbs_of, writes_one_event
from tests.world import NOW, TODAY
from trays.ledger.models import Event
from trays.parties.models import Tenure

REFERENCE = "LK-REFERENCE-9"
NO_WHOLE_ACT = {"draft_each"}
Act = Callable[[Table, dict[str, Any]], Callable[[], Any]]


@pytest.fixture
def scene(table: Table) -> Table:
    """Three knees next week that ask for a size of which none is there; all else is."""
    cache.clear()
    world = table.world
    for key in world.components:
        if key[0] in ("femoral", "tibial", "insert", "patellar") and key[:3] != ("femoral", "2", "right"):
            world.unit(world.components[key], 3)
    for n in range(3):
        world.a_case(
            predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=TODAY + timedelta(days=7), hour=8 + 3 * n,
            reference=f"{REFERENCE}-{n}",
        )  # fmt: skip
    return table


def _row(table: Table) -> Any:
    item = table.component("femoral")
    return next(row for row in alerts(site=table.world.site, at=NOW).rows if row.component == item)


def _order(table: Table, key: dict[str, Any]) -> Callable[[], Any]:
    row = _row(table)
    wanted = [Wanted(row.component.pk, row.suggested)]
    return lambda: alerts_order(
        by=table.world.cast.stores, site=table.world.site, wanted=wanted, at=NOW, **key
    )


def _budget(table: Table, key: dict[str, Any]) -> Callable[[], Any]:
    assert site_facts(site=table.world.site, at=NOW).items
    buys = [Bought(table.component("femoral").pk, 2, 0)]
    return lambda: budget_order(by=table.world.cast.stores, site=table.world.site, buys=buys, at=NOW, **key)


def _aside(table: Table, key: dict[str, Any]) -> Callable[[], Any]:
    row = _row(table)
    return lambda: alert_set_aside(
        by=table.world.cast.stores, site=table.world.site, component=row.component, reason="other",
        note="A colleague brings two", digest=row.digest, at=NOW, **key,
    )  # fmt: skip


def _take_up(table: Table, key: dict[str, Any]) -> Callable[[], Any]:
    _aside(table, {})()
    row = SetAside.objects.get()
    return lambda: alert_take_up(by=table.world.cast.stores, set_aside=row, at=NOW, **key)


def _uses(table: Table, key: dict[str, Any]) -> Callable[[], Any]:
    brought = table.bring("tibial", tenure=Tenure.CONSIGNED)
    used = fate_record(by=table.by, brought=brought, fate="implanted", at=NOW)
    return lambda: uses_order(
        by=table.world.cast.stores, site=table.world.site, brought_ids=[used.pk], at=NOW, **key
    )


def _plan(table: Table, key: dict[str, Any]) -> Callable[[], Any]:
    table.world.sets_of_each(3)
    rows = Case.objects.select_related("site", "list__site", "list__theatre")
    case = rows.get(reference=f"{REFERENCE}-1")
    offered, coming = offered_for(case, NOW, may_reorder=True)
    accepted = Accepted(case, offered.plans[0], offered, coming)
    return lambda: plan_accept(by=table.world.cast.coordinator, accepted=accepted, at=NOW, **key)


def _exchange(table: Table, key: dict[str, Any]) -> Callable[[], Any]:
    units = table.stock("tibial", "4", tenure=Tenure.CONSIGNED)
    return lambda: units_exchange(
        by=table.world.cast.stores, site=table.world.site, units=units, at=NOW, **key
    )


ACTS: dict[str, Act] = {
    "alerts_order": _order,
    "budget_order": _budget,
    "alert_set_aside": _aside,
    "alert_take_up": _take_up,
    "uses_order": _uses,
    "plan_accept": _plan,
    "units_exchange": _exchange,
}


def test_every_act_of_the_room_is_tried_here() -> None:
    assert left_out(verbs_of("cases.reorders"), tried=ACTS, halves=NO_WHOLE_ACT) == ([], set())


@pytest.mark.parametrize("name", ACTS)
def test_an_act_writes_one_event_that_names_nobody_and_is_not_done_twice(name: str, scene: Table) -> None:
    act = ACTS[name](scene, {"client_key": uuid4()})
    people = [person.name for person in scene.world.cast.by_role().values()]
    writes_one_event(act, nameless=[REFERENCE, "A colleague", *people])
    count = Event.objects.count()
    act()
    assert Event.objects.count() == count
