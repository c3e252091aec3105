"""By when each step of a loan must be done, counted back from the case and on from its end: pure arithmetic.

Before the case all is counted in working time of the department that checks and sterilizes; the supplier's
lead time in working days, to the day before the one on which the loan must be here, because a delivery
during the day comes too late for its morning. After the case the same department cleans and counts; going
home and settling the charges are counted in working days.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import Protocol
from zoneinfo import ZoneInfo

from trays.loans.ways import LoanStatus
from trays.parties.workdays import DAY, earlier, later

S = LoanStatus


class Clock(Protocol):
    """Working time of a department (`trays.processing.times.Hours`)."""

    zone: ZoneInfo

    def between(self, start: datetime, end: datetime) -> int: ...
    def after(self, start: datetime, minutes: int) -> datetime: ...
    def before(self, end: datetime, minutes: int) -> datetime: ...


@dataclass(frozen=True, slots=True)
class Allowed:
    """What a site allows for each part of the way: working minutes, and days where it says so."""

    confirm: int = 8 * 60
    check: int = 4 * 60
    process: int = 12 * 60
    ready: int = 4 * 60
    unfamiliar: int = 8 * 60
    clean: int = 8 * 60
    count: int = 4 * 60
    return_days: int = 2
    close_days: int = 20
    soon: int = 4 * 60


@dataclass(frozen=True, slots=True)
class Need:
    """What is wanted when. `sets`: something has to be made sterile; else sealed units alone come."""

    start: datetime
    end: datetime
    lead_days: int
    sets: bool = True
    unfamiliar: bool = False


@dataclass(frozen=True, slots=True)
class Deadlines:
    """The latest moment for each step, in order; `ready` is when it must be sterile and at hand."""

    ask: datetime
    confirm: datetime
    arrive: datetime
    check: datetime
    ready: datetime
    use: datetime
    clean: datetime
    count: datetime
    back: datetime
    close: datetime


def deadlines(need: Need, allowed: Allowed, clock: Clock) -> Deadlines:
    """Every deadline of one loan, in universal time: hours by a wall clock jump twice a year."""
    start, end = _minute(need.start), _minute(need.end)
    ready = clock.before(start, allowed.ready)
    check = clock.before(ready, allowed.process) if need.sets else ready
    extra = allowed.unfamiliar if need.unfamiliar and need.sets else 0
    arrive = clock.before(check, allowed.check + extra)
    arrive_day = _day(arrive, clock)
    clean = clock.after(end, allowed.clean) if need.sets else end
    count = clock.after(clean, allowed.count)
    back_day = later(_day(end, clock), allowed.return_days)
    # Counting out may take longer than the site wants it to stand here.
    back = max(count, _close_of(back_day, clock))
    return Deadlines(
        ask=_close_of(earlier(arrive_day - DAY, need.lead_days), clock),
        confirm=clock.before(arrive, allowed.confirm),
        arrive=arrive,
        check=check,
        ready=ready,
        use=start,
        clean=clean,
        count=count,
        back=back,
        close=_close_of(later(_day(back, clock), allowed.close_days), clock),
    )


@dataclass(frozen=True, slots=True)
class Next:
    """The one step that follows, and by when."""

    status: str
    by: datetime


def next_step(status: str, due: Deadlines, need: Need, at: datetime) -> Next | None:
    """What follows on a status; None where nothing does.

    What stands ready after the case is over goes home: it was not needed.
    """
    unused = status in (S.CHECKED, S.PROCESSED) and at > need.end
    if unused:
        return Next(S.COUNTED_OUT, due.count)
    follows = {
        S.ASKED: Next(S.CONFIRMED, due.confirm),
        S.CONFIRMED: Next(S.ARRIVED, due.arrive),
        S.ARRIVED: Next(S.CHECKED, due.check),
        S.CHECKED: Next(S.PROCESSED, due.ready) if need.sets else Next(S.IN_USE, due.use),
        S.PROCESSED: Next(S.IN_USE, due.use),
        S.IN_USE: Next(S.DECONTAMINATED, due.clean) if need.sets else Next(S.COUNTED_OUT, due.count),
        S.DECONTAMINATED: Next(S.COUNTED_OUT, due.count),
        S.COUNTED_OUT: Next(S.RETURNED, due.back),
        S.RETURNED: Next(S.CLOSED, due.close),
        S.REFUSED: Next(S.RETURNED, due.back),
    }
    return follows.get(S(status))


class Lateness(StrEnum):
    """How a loan stands against its next deadline."""

    LATE = "late"
    SOON = "soon"
    IN_TIME = "in_time"


def lateness(
    step: Next, at: datetime, allowed: Allowed, clock: Clock, *, promised: datetime | None = None
) -> Lateness:
    """Late once its moment has passed, or as soon as it is promised for after that; soon shortly before."""
    if at > step.by or (promised is not None and promised > step.by):
        return Lateness.LATE
    return Lateness.SOON if at >= clock.before(step.by, allowed.soon) else Lateness.IN_TIME


def minutes_left(step: Next, at: datetime, clock: Clock, *, promised: datetime | None = None) -> int:
    """Working minutes until the deadline from now, or from what is promised; below nought once it is late."""
    seen = max(at, promised) if promised is not None else at
    return clock.between(seen, step.by) if seen <= step.by else -clock.between(step.by, seen)


def _day(moment: datetime, clock: Clock) -> date:
    return moment.astimezone(clock.zone).date()


def _minute(moment: datetime) -> datetime:
    """Working time is counted in whole minutes."""
    return moment.astimezone(UTC).replace(second=0, microsecond=0)


def _close_of(day: date, clock: Clock) -> datetime:
    """The end of the last working time on or before the day; its midnight where work never stops."""
    midnight = datetime.combine(day + timedelta(days=1), time(), clock.zone)
    return clock.before(midnight.astimezone(UTC), 0)
