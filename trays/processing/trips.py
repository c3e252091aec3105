"""The timetable of a site's collections and deliveries: which run comes next, when it arrives."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from trays.parties.models import Site
from trays.processing.models_policy import Trip, TripKind

WEEKS = 2
"""A run that is asked for comes within so many weeks, or there is none."""


@dataclass(frozen=True, slots=True)
class Journey:
    """One run on one day."""

    leaves: datetime
    arrives: datetime


class Timetable:
    """The runs of one kind, by the site's clock, given as (weekday, leaves, minutes)."""

    def __init__(self, rows: Iterable[tuple[int, time, int]], zone: str) -> None:
        self.zone = ZoneInfo(zone)
        self.by_day: dict[int, list[tuple[time, int]]] = {}
        for weekday, leaves, minutes in rows:
            self.by_day.setdefault(weekday, []).append((leaves, minutes))
        self._days: dict[date, tuple[Journey, ...]] = {}

    def __bool__(self) -> bool:
        return bool(self.by_day)

    def on(self, day: date) -> tuple[Journey, ...]:
        """The runs of one day, in order."""
        if day not in self._days:
            midnight = datetime.combine(day, time(), self.zone)
            self._days[day] = tuple(
                Journey(leaves, leaves + timedelta(minutes=minutes))
                for at, minutes in sorted(self.by_day.get(day.weekday(), ()))
                for leaves in [midnight + timedelta(hours=at.hour, minutes=at.minute)]
            )
        return self._days[day]

    def arrival(self, moment: datetime) -> datetime:
        """When the next run from this moment on arrives; the moment itself where there is none."""
        day = moment.astimezone(self.zone).date()
        for number in range(WEEKS * 7):
            for one in self.on(day + timedelta(days=number)):
                if one.leaves >= moment:
                    return one.arrives
        return moment

    def last_before(self, moment: datetime) -> datetime:
        """When the last run leaves that arrives by this moment; the moment itself where there is none."""
        day = moment.astimezone(self.zone).date()
        for number in range(WEEKS * 7):
            for one in reversed(self.on(day - timedelta(days=number))):
                if one.arrives <= moment:
                    return one.leaves
        return moment

    def days(self, first: date, days: int) -> tuple[Journey, ...]:
        """Every run of so many days, by when it leaves; each arrives no earlier than the one before it."""
        found: list[Journey] = []
        for number in range(days):
            found += self.on(first + timedelta(days=number))
        return tuple(found)


def timetables(site: Site) -> dict[str, Timetable]:
    """Collections and deliveries of a site, by kind; empty ones where it has none on file (one query)."""
    rows: dict[str, list[tuple[int, time, int]]] = {kind: [] for kind in TripKind.values}
    for kind, weekday, leaves, minutes in Trip.objects.filter(site=site).values_list(
        "kind", "weekday", "leaves", "minutes"
    ):
        rows[kind].append((weekday, leaves, minutes))
    return {kind: Timetable(own, site.zone) for kind, own in rows.items()}
