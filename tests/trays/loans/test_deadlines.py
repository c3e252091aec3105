"""By when each step must be done: over weekends, over night, over the change to summer time."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.loans.deadlines import (
    Allowed,
    Deadlines,
    Lateness,
    Need,
    Next,
    deadlines,
    lateness,
    minutes_left,
    next_step,
)
from trays.loans.ways import LoanStatus
from trays.processing.times import Hours

S = LoanStatus
LONDON = ZoneInfo("Europe/London")
# Monday to Friday, eight to six.
HOURS = Hours([(day, time(8), time(18)) for day in range(5)], "Europe/London")
ALWAYS = Hours([], "Europe/London")
ALLOWED = Allowed()
STEPS = ("ask", "confirm", "arrive", "check", "ready", "use", "clean", "count", "back", "close")


def at(day: int, hour: int, minute: int = 0, month: int = 12) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=LONDON)


def need(start: datetime, **more: object) -> Need:
    return Need(start, start + timedelta(hours=2), lead_days=2, **more)  # type: ignore[arg-type]


def test_a_case_on_monday_is_counted_back_over_the_weekend() -> None:
    due = deadlines(need(at(14, 9)), ALLOWED, HOURS)
    # Ready four working hours before nine on Monday: one of them on Monday, three on Friday.
    assert due.ready == at(11, 15)
    # Twelve hours to make it sterile: seven on Friday, five on Thursday; four to check it.
    assert due.check == at(10, 13)
    assert due.arrive == at(10, 9)
    assert due.confirm == at(9, 11)
    # Here on Thursday morning, so delivered by Wednesday: asked two working days before that.
    assert due.ask == at(7, 18)


def test_after_the_case_it_is_cleaned_counted_and_sent_home_in_working_time() -> None:
    due = deadlines(need(at(11, 15)), ALLOWED, HOURS)
    # The case ends at five on Friday; one hour of the eight falls on that day.
    assert due.clean == at(14, 15)
    assert due.count == at(15, 9)
    assert due.back == at(15, 18)
    assert due.close == at(12, 18, month=1).replace(year=2027)


def test_a_set_that_was_never_here_must_come_earlier_by_what_the_site_adds() -> None:
    known, new = (
        deadlines(need(at(16, 9), unfamiliar=unfamiliar), ALLOWED, HOURS) for unfamiliar in (False, True)
    )
    assert HOURS.between(new.arrive, known.arrive) == ALLOWED.unfamiliar
    assert (new.check, new.ready) == (known.check, known.ready)


def test_sealed_units_alone_need_no_time_in_sterile_services() -> None:
    due = deadlines(need(at(16, 9), sets=False, unfamiliar=True), ALLOWED, HOURS)
    assert due.check == due.ready
    assert HOURS.between(due.arrive, at(16, 9)) == ALLOWED.ready + ALLOWED.check
    assert due.clean == at(16, 11)


@pytest.mark.parametrize(("month", "day"), [(3, 30), (10, 26)])
def test_the_change_of_the_clock_at_the_weekend_takes_no_working_time(month: int, day: int) -> None:
    """The clocks change on the Sunday before; the case starts on Monday at nine."""
    due = deadlines(need(at(day, 9, month=month)), ALLOWED, HOURS)
    friday = at(day - 3, 15, month=month)
    assert due.ready == friday
    assert friday.utcoffset() != due.use.astimezone(LONDON).utcoffset()
    assert HOURS.between(due.ready, due.use) == ALLOWED.ready


def test_where_work_never_stops_hours_are_hours_through_the_change_to_summer_time() -> None:
    start = at(29, 3, month=3)
    due = deadlines(need(start), ALLOWED, ALWAYS)
    assert start.astimezone(UTC) - due.ready == timedelta(hours=4)
    assert due.ready.astimezone(LONDON).hour == 22


@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31)).map(lambda one: one.replace(tzinfo=LONDON)),
    st.integers(0, 30),
    st.booleans(),
    st.booleans(),
    st.builds(
        Allowed,
        **{name: st.integers(0, 3000) for name in ("confirm", "check", "process", "ready", "unfamiliar")},
        **{name: st.integers(0, 3000) for name in ("clean", "count")},
        return_days=st.integers(0, 10),
        close_days=st.integers(0, 30),
    ),
)
def test_deadlines_always_stand_in_the_order_of_the_steps(
    start: datetime, lead: int, sets: bool, unfamiliar: bool, allowed: Allowed
) -> None:
    wanted = Need(start, start + timedelta(hours=3), lead, sets, unfamiliar)
    due = deadlines(wanted, allowed, HOURS)
    stamps = [getattr(due, name).timestamp() for name in STEPS]
    # The word of the supplier may be wanted later than the last moment to ask: both precede the arrival.
    assert stamps[2:] == sorted(stamps[2:])
    assert max(stamps[:2]) <= stamps[2]


@pytest.mark.parametrize(
    ("status", "follows", "name"),
    [
        (S.ASKED, S.CONFIRMED, "confirm"),
        (S.CONFIRMED, S.ARRIVED, "arrive"),
        (S.ARRIVED, S.CHECKED, "check"),
        (S.CHECKED, S.PROCESSED, "ready"),
        (S.PROCESSED, S.IN_USE, "use"),
        (S.IN_USE, S.DECONTAMINATED, "clean"),
        (S.DECONTAMINATED, S.COUNTED_OUT, "count"),
        (S.COUNTED_OUT, S.RETURNED, "back"),
        (S.RETURNED, S.CLOSED, "close"),
        (S.REFUSED, S.RETURNED, "back"),
    ],
)
def test_each_status_has_one_next_step_with_its_deadline(status: str, follows: str, name: str) -> None:
    wanted = need(at(16, 9))
    due = deadlines(wanted, ALLOWED, HOURS)
    assert next_step(status, due, wanted, at(15, 9)) == Next(follows, getattr(due, name))


@pytest.mark.parametrize("status", [S.CLOSED, S.CANCELLED])
def test_nothing_follows_on_an_end(status: str) -> None:
    wanted = need(at(16, 9))
    assert next_step(status, deadlines(wanted, ALLOWED, HOURS), wanted, at(15, 9)) is None


@pytest.mark.parametrize("status", [S.CHECKED, S.PROCESSED])
def test_what_was_not_used_goes_home_once_the_case_is_over(status: str) -> None:
    wanted = need(at(16, 9))
    due = deadlines(wanted, ALLOWED, HOURS)
    assert next_step(status, due, wanted, at(16, 12)) == Next(S.COUNTED_OUT, due.count)


def test_late_is_said_once_its_moment_has_passed_and_before_that_when_it_is_promised_too_late() -> None:
    due: Deadlines = deadlines(need(at(16, 9)), ALLOWED, HOURS)
    step = Next(S.ARRIVED, due.arrive)
    assert due.arrive == at(14, 9)
    in_time = at(9, 9)
    assert lateness(step, in_time, ALLOWED, HOURS) is Lateness.IN_TIME
    assert lateness(step, in_time, ALLOWED, HOURS, promised=at(14, 9, 1)) is Lateness.LATE
    assert lateness(step, in_time, ALLOWED, HOURS, promised=at(14, 9)) is Lateness.IN_TIME
    assert lateness(step, at(11, 15), ALLOWED, HOURS) is Lateness.SOON
    assert lateness(step, at(14, 9, 1), ALLOWED, HOURS) is Lateness.LATE
    assert minutes_left(step, at(11, 15), HOURS) == 4 * 60
    assert minutes_left(step, at(14, 11), HOURS) == -2 * 60
    assert minutes_left(step, in_time, HOURS, promised=at(14, 10)) == -60
