"""An alert and one that is set aside, a unit that will expire, a plan: what pages of reorders point at."""

from datetime import timedelta
from typing import Any

from django.core.cache import cache
from django.utils import timezone

from cases.reorders.alerts import alerts
from cases.reorders.models import SetAside
from cases.reorders.tables import wanted_text
from tests.boundaries.door import Door
from tests.world import World

FAR = frozenset({"far_coordinator"})
SEES = {"stores", "coordinator", "quality", "keeper"}
DRAFTS = {"stores", "coordinator", "keeper"}


def furnish_reorders(world: World) -> dict[str, Any]:
    """Three knees of one size ask for more than there is."""
    now = timezone.now()
    day = now.date() + timedelta(days=5)
    for hour in (8, 10, 12, 14, 16):
        world.a_case(
            predictions={"femoral": (3, 3), "tibial": (3, 3)}, day=day, hour=hour, sides=("left",),
            theatre=world.second_theatre, predicted_at=now - timedelta(days=1),
        )  # fmt: skip
    cache.clear()
    rows = alerts(site=world.site, at=now).rows
    one, other = rows[0], rows[1]
    aside = SetAside.objects.create(
        site=world.site, component=other.component, reason="lent", digest="0" * 32, wanted=1, usable=0,
        on_order=0, by=world.cast.stores, at=now,
    )  # fmt: skip
    (unit,) = world.unit(world.component("tibial", "1"), 1, expires=now.date() + timedelta(days=40))
    return {
        "alert_item": one.component.pk,
        "alert_wanted": wanted_text(one),
        "alert_aside": str(aside.pk),
        "expiring": f"first.{unit.pk}",
        "buy_nothing": f"{one.component.pk}:1:0",
    }


DOORS: dict[str, Door] = {
    "reorder-order": Door(DRAFTS | FAR, post={"wanted": "alert_wanted"}, once=True),
    "reorder-set-aside": Door(DRAFTS, {"pk": "alert_item"}, elsewhere=FAR),
    "reorder-take-up": Door(DRAFTS, post={"aside": "alert_aside"}, elsewhere=FAR, once=True),
    "reorder-used": Door(SEES | FAR),
    "reorder-paper": Door(SEES | FAR),
    "reorder-budget-order": Door(DRAFTS | FAR, post={"buy": "buy_nothing"}, once=True),
    "expiry": Door(SEES | FAR),
    "case-actions": Door(SEES, {"pk": "case"}, elsewhere=FAR),
}
