"""The lengths of the stages: the site's reckoning at first, its own record soon."""

from datetime import UTC, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.trays.processing.conftest import Department
from tests.world import NOW
from trays.instruments.models import Pack, PackState
from trays.processing.models import Move
from trays.processing.models_policy import StageAllowance, WorkingHours
from trays.processing.times import Hours, law_of, reckoned, stage_laws
from trays.processing.trips import Timetable

DAY = [(day, time(7), time(19)) for day in range(5)]
MONDAY = datetime(2026, 12, 7, tzinfo=UTC)


@pytest.mark.parametrize(("half", "ninety"), [(60, 120), (30, 30), (0, 240)])
def test_the_reckoning_has_the_half_and_the_nine_in_ten_it_was_given(half, ninety):
    law = law_of("cleaned", [], (half, ninety), (1, 1))
    assert (law.quantile(0.5), law.quantile(0.9)) == (half, ninety)
    assert sum(law.weights) == pytest.approx(1)
    assert len(reckoned(half, ninety)) == 10


def test_working_time_leaves_out_the_night_and_the_weekend():
    hours = Hours(DAY, "UTC")
    assert hours.between(MONDAY.replace(hour=18), MONDAY.replace(hour=20)) == 60
    friday = MONDAY + timedelta(days=4)
    assert hours.between(friday.replace(hour=18), friday + timedelta(days=3, hours=8)) == 120
    assert hours.after(friday.replace(hour=18), 90) == (friday + timedelta(days=3)).replace(hour=7, minute=30)
    assert hours.after(MONDAY.replace(hour=4), 10) == MONDAY.replace(hour=7, minute=10)


@given(
    st.integers(0, 20_000),
    st.integers(0, 5_000),
    st.sampled_from(["UTC", "Europe/London", "America/New_York"]),
)
def test_so_much_working_time_later_so_much_working_time_has_passed(start, minutes, zone):
    hours = Hours(DAY, zone)
    begin = datetime(2026, 3, 20, tzinfo=UTC) + timedelta(minutes=start)
    assert hours.between(begin, hours.after(begin, minutes)) == minutes


@given(
    st.integers(0, 20_000),
    st.integers(0, 5_000),
    st.sampled_from(["UTC", "Europe/London", "America/New_York"]),
)
def test_before_is_the_latest_moment_from_which_so_much_working_time_passes(end, minutes, zone):
    hours = Hours(DAY, zone)
    there = datetime(2026, 3, 20, tzinfo=UTC) + timedelta(minutes=end)
    begin = hours.before(there, minutes)
    assert hours.between(begin, there) == minutes
    assert minutes == 0 or hours.between(begin + timedelta(minutes=1), there) == minutes - 1


def test_a_run_is_awaited_over_the_weekend_and_the_last_in_time_is_found_before_it():
    runs = Timetable([(day, time(hour), 20) for day in range(5) for hour in (9, 15)], "UTC")
    friday = MONDAY + timedelta(days=4)
    assert runs.arrival(friday.replace(hour=15)) == friday.replace(hour=15, minute=20)
    assert runs.arrival(friday.replace(hour=16)) == (MONDAY + timedelta(days=7)).replace(hour=9, minute=20)
    assert runs.last_before(MONDAY.replace(hour=9, minute=20)) == MONDAY.replace(hour=9)
    assert runs.last_before(MONDAY.replace(hour=9)) == (MONDAY - timedelta(days=3)).replace(hour=15)
    assert not Timetable([], "UTC") and Timetable([], "UTC").arrival(MONDAY) == MONDAY


def test_with_a_timetable_what_is_used_counts_from_the_collections_arrival(department: Department) -> None:
    world = department.world
    pack = world.a_set("general", "G-01", state=PackState.USED).packs.get()
    # Used five past eight, fetched by the run at nine, taken in at half past nine.
    received = (NOW - timedelta(days=3)).replace(hour=9, minute=30)
    a_step(pack, 1, "used", "received", 85, received)
    runs = Timetable([(day, time(9), 20) for day in range(7)], "UTC")
    with_runs = stage_laws(site=world.site, at=NOW, collections=runs)["used"]
    without = stage_laws(site=world.site, at=NOW)["used"]
    assert 10 in with_runs.minutes and 85 not in with_runs.minutes
    assert 85 in without.minutes and with_runs.seen == without.seen == 1


def test_without_hours_the_department_works_round_the_clock():
    hours = Hours([], "UTC")
    assert hours.between(NOW, NOW + timedelta(hours=30)) == 1800
    assert hours.after(NOW, 90) == NOW + timedelta(minutes=90)


def a_step(pack: Pack, sequence: int, before: str, after: str, minutes: int, at: datetime) -> None:
    Move.objects.create(
        pack=pack, sequence=sequence, round=pack.round, before=before, after=after,
        since=at - timedelta(minutes=minutes), at=at, recorded_at=at, site=pack.set.site, place=pack.place,
    )  # fmt: skip
    Pack.objects.filter(pk=pack.pk).update(state=after)


def test_thirty_slow_rounds_move_what_a_stage_is_said_to_take(department: Department) -> None:
    world = department.world
    StageAllowance.objects.create(
        site=world.site, state=PackState.CLEANED, half_minutes=40, nine_in_ten_minutes=60
    )
    before = stage_laws(site=world.site, at=NOW)["cleaned"]
    assert (before.quantile(0.5), before.seen, before.reckoned) == (40, 0, False)
    for number in range(30):
        pack = world.a_set("general", f"S-{number:02d}", state=PackState.CLEANED).packs.get()
        a_step(pack, 1, "cleaned", "assembled", 200, NOW - timedelta(days=1))
    after = stage_laws(site=world.site, at=NOW)["cleaned"]
    assert after.seen == 30
    assert after.quantile(0.5) == 200
    # What happens later is not known now.
    assert stage_laws(site=world.site, at=NOW - timedelta(days=2))["cleaned"] == before


def test_the_lengths_of_all_stages_take_a_fixed_number_of_queries(
    department: Department, django_assert_num_queries
) -> None:
    pack = department.world.a_set("general", "G-01", state=PackState.USED).packs.get()
    WorkingHours.objects.create(site=department.world.site, weekday=0, opens=time(6), closes=time(22))
    department.around(pack)
    with django_assert_num_queries(9):
        laws = stage_laws(site=department.world.site, at=NOW + timedelta(days=1))
    assert laws["received"].seen == 1
