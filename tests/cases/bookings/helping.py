"""Short ways to book in these tests."""

from datetime import timedelta
from typing import Any

from cases.bookings.kinds import Booked, PredictedSize
from cases.bookings.models import Case
from cases.bookings.services import case_book
from tests.world import NOW, TODAY, World
from trays.ledger.models import Event

TOMORROW = TODAY + timedelta(days=1)


def sized(low: int, high: int | None = None, **more: Any) -> PredictedSize:
    """An X-ray template from one rank to another; one size when the second is left out."""
    return PredictedSize(low, low if high is None else high, more.pop("method", "xray_template"), **more)


def book(world: World, **changes: Any) -> Booked:
    """A right knee for tomorrow in Theatre 1, all day, unless something else is said."""
    facts: dict[str, Any] = {
        "by": world.cast.coordinator,
        "theatre": world.theatre,
        "day": TOMORROW,
        "procedure": world.procedure,
        "surgeon": world.cast.surgeon,
        "reference": f"B{world.next():04d}",
        "sides": ["right"],
        "at": NOW,
    }
    if "theatre_list" in changes:
        del facts["theatre"], facts["day"]
    return case_book(**(facts | changes))


def order_of(theatre_list: Any) -> list[str]:
    """References of the standing cases in order, each with its position."""
    rows = Case.objects.filter(list=theatre_list).exclude(status="cancelled").order_by("position")
    return [f"{case.position} {case.reference}" for case in rows]


def verbs() -> list[str]:
    """The verbs of all events so far, oldest first."""
    return list(Event.objects.order_by("pk").values_list("verb", flat=True))
