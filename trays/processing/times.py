"""How long the stages of the round take here: learnt from the steps on record, with what the site reckons at
first.

A stage is named by the state it begins in. Lengths are minutes of the department's working time, waiting
included: a tray that waits over night has not been worked on for ten hours.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from trays.instruments.models import PackState
from trays.parties.models import Site
from trays.processing.models import Move
from trays.processing.models_policy import StageAllowance, WorkingHours
from trays.processing.trips import Timetable

S = PackState
STAGES: Final = (S.USED, S.RECEIVED, S.CLEANED, S.ASSEMBLED, S.PACKED, S.IN_LOAD, S.RELEASED)
"""Each stage from a used pack to one on its shelf, in order."""
NEXT: Final[Mapping[str, str]] = dict(zip(STAGES, (*STAGES[1:], S.STORED), strict=True))

NEWEST = 200
"""So many of the latest steps of a stage speak for it."""
RECKONED = 10
"""The site's own reckoning counts as so many steps."""
RECKONED_MINUTES: Final[Mapping[str, tuple[int, int]]] = {
    S.USED: (30, 90),
    S.RECEIVED: (80, 150),
    S.CLEANED: (40, 120),
    S.ASSEMBLED: (10, 30),
    S.PACKED: (20, 90),
    S.IN_LOAD: (70, 100),
    S.RELEASED: (20, 60),
}
"""(half, nine in ten) where the site has said nothing: a place to start from, shown as such, soon
outweighed.
"""

DAY_MINUTES = 24 * 60


@dataclass(frozen=True, slots=True)
class StageLaw:
    """How long one stage takes: `minutes` in rising order with `weights` that sum to 1; `seen` steps taught
    it.
    """

    state: str
    minutes: tuple[int, ...]
    weights: tuple[float, ...]
    seen: int
    reckoned: bool

    @property
    def steps(self) -> int:
        """How many steps speak for it, the site's reckoning among them."""
        return self.seen + RECKONED

    def quantile(self, chance: float) -> int:
        """The least number of minutes within which the stage is over with at least this chance."""
        total = 0.0
        for minutes, weight in zip(self.minutes, self.weights, strict=True):
            total += weight
            if total >= chance - 1e-12:
                return minutes
        return self.minutes[-1]


class Hours:
    """The working time of a department, by its own clock; round the clock where it has named no hours."""

    def __init__(self, rows: Iterable[tuple[int, time, time]], zone: str) -> None:
        self.zone = ZoneInfo(zone)
        self.by_day: dict[int, list[tuple[int, int]]] = {}
        for weekday, opens, closes in rows:
            self.by_day.setdefault(weekday, []).append((_minute(opens), _minute(closes)))
        self.always = not self.by_day

    def between(self, start: datetime, end: datetime) -> int:
        """Whole minutes of working time from one moment to another, 0 if it does not come after."""
        if end <= start:
            return 0
        if self.always:
            return int((end - start).total_seconds() // 60)
        here, there = start.astimezone(self.zone), end.astimezone(self.zone)
        total, day = 0, here.date()
        while day <= there.date():
            low = _minute(here.time()) if day == here.date() else 0
            high = _minute(there.time()) if day == there.date() else DAY_MINUTES
            for opens, closes in self.by_day.get(day.weekday(), ()):
                total += max(0, min(high, closes) - max(low, opens))
            day += timedelta(days=1)
        return total

    def after(self, start: datetime, minutes: int) -> datetime:
        """The moment at which so much working time has passed."""
        if self.always:
            return start + timedelta(minutes=minutes)
        here = start.astimezone(self.zone)
        left, day, low = minutes, here.date(), _minute(here.time())
        for _day in range(366):
            for opens, closes in sorted(self.by_day.get(day.weekday(), ())):
                begin = max(low, opens)
                if begin < closes:
                    if left <= closes - begin:
                        at = datetime.combine(day, time(), self.zone) + timedelta(minutes=begin + left)
                        return at.astimezone(start.tzinfo)
                    left -= closes - begin
            day, low = day + timedelta(days=1), 0
        raise ValueError("the department has no working time within a year")

    def before(self, end: datetime, minutes: int) -> datetime:
        """The latest moment from which so much working time passes until the end."""
        if self.always:
            return end - timedelta(minutes=minutes)
        here = end.astimezone(self.zone)
        left, day, high = minutes, here.date(), _minute(here.time())
        for _day in range(366):
            for opens, closes in sorted(self.by_day.get(day.weekday(), ()), reverse=True):
                until = min(high, closes)
                if opens < until:
                    if left <= until - opens:
                        at = datetime.combine(day, time(), self.zone) + timedelta(minutes=until - left)
                        return at.astimezone(end.tzinfo)
                    left -= until - opens
            day, high = day - timedelta(days=1), DAY_MINUTES
        raise ValueError("the department has no working time within a year")

    def windows(self, first: date, days: int) -> tuple[tuple[datetime, datetime], ...]:
        """The working time of so many days as intervals, in order; none where it is round the clock."""
        found = []
        for number in range(days):
            day = first + timedelta(days=number)
            midnight = datetime.combine(day, time(), self.zone)
            for opens, closes in sorted(self.by_day.get(day.weekday(), ())):
                found.append((midnight + timedelta(minutes=opens), midnight + timedelta(minutes=closes)))
        return tuple(found)


def hours_of(site: Site) -> Hours:
    """The department's working time (one query)."""
    rows = WorkingHours.objects.filter(site=site).values_list("weekday", "opens", "closes")
    return Hours(rows, site.zone)


def stage_laws(
    *, site: Site, at: datetime, hours: Hours | None = None, collections: Timetable | None = None
) -> dict[str, StageLaw]:
    """How long each stage takes at a site, from the newest steps before a moment (eight queries, nine with
    hours).

    The site's reckoning stands for a few steps, so that thirty slow rounds outweigh it. With a timetable of
    collections the stage "used" counts from the arrival of the collection that comes next: what comes before
    is the timetable's.
    """
    hours = hours or hours_of(site)
    allowed = {
        row.state: (row.half_minutes, row.nine_in_ten_minutes)
        for row in StageAllowance.objects.filter(site=site)
    }
    laws = {}
    for state in STAGES:
        steps = Move.objects.filter(
            site=site, before=state, after=NEXT[state], since__isnull=False, at__lte=at
        ).order_by("-at")
        fetched = collections if state == S.USED else None
        seen = [
            hours.between(fetched.arrival(since) if fetched else since, end)
            for since, end in steps.values_list("since", "at")[:NEWEST]
            if since is not None
        ]
        laws[str(state)] = law_of(state, seen, allowed.get(state), RECKONED_MINUTES[state])
    return laws


def law_of(
    state: str, seen: Sequence[int], allowed: tuple[int, int] | None, otherwise: tuple[int, int]
) -> StageLaw:
    """One stage's law from the lengths seen and the reckoning (half, nine in ten)."""
    weights: dict[int, float] = {}
    for minutes in reckoned(*(allowed or otherwise)):
        weights[minutes] = weights.get(minutes, 0.0) + 1.0
    for minutes in seen:
        weights[minutes] = weights.get(minutes, 0.0) + 1.0
    total = sum(weights.values())
    order = sorted(weights)
    return StageLaw(state, tuple(order), tuple(weights[m] / total for m in order), len(seen), allowed is None)


def reckoned(half: int, nine_in_ten: int) -> list[int]:
    """RECKONED lengths whose half and nine in ten are those given, evenly between, and as much again
    beyond.
    """
    corners = [
        (0.0, half / 2),
        (0.5, half),
        (0.9, nine_in_ten),
        (1.0, nine_in_ten + (nine_in_ten - half) / 2),
    ]
    found = []
    for number in range(RECKONED):
        # The end of each tenth: a law of so few steps must not promise more than was reckoned.
        chance = (number + 1) / RECKONED
        for (low, a), (high, b) in zip(corners, corners[1:], strict=False):
            if low < chance <= high + 1e-12:
                found.append(round(a + (b - a) * (chance - low) / (high - low)))
                break
    return found


def _minute(moment: time) -> int:
    return moment.hour * 60 + moment.minute
