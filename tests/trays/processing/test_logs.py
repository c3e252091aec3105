"""What a machine's temperature log comes to, and what is said of one that cannot be believed."""

import doctest
import io
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.processing import lethality
from trays.processing.lethality import Reading, a0, f0, hold
from trays.processing.logs import read_log
from trays.web.errors import Unreadable


def log(*rows: tuple[float, float]) -> list[Reading]:
    return [Reading(seconds, celsius, celsius) for seconds, celsius in rows]


def read(text: str):
    return read_log(io.BytesIO(text.encode()), zone="Europe/London")


def test_the_examples_in_the_words_of_the_functions_hold():
    assert doctest.testmod(lethality).failed == 0


@pytest.mark.parametrize(("celsius", "seconds", "wanted"), [(90, 60, 600), (90, 300, 3000), (80, 600, 600)])
def test_a_wash_at_one_temperature_has_the_textbook_a0(celsius, seconds, wanted):
    assert a0(log((0, celsius), (seconds, celsius))) == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("celsius", "minutes", "wanted"), [(121.0, 15, 14.7), (132.0, 4, 49.2), (134.0, 3, 58.5)]
)
def test_a_steam_cycle_at_its_set_point_has_the_textbook_f0(celsius, minutes, wanted):
    assert f0(log((0, celsius), (minutes * 60, celsius))) == pytest.approx(wanted, abs=0.05)


def test_what_is_colder_than_65_degrees_disinfects_nothing():
    assert a0(log((0, 64.9), (3600, 64.9))) == 0
    assert a0(log((0, 65.0), (3600, 65.0))) > 0


def test_an_interval_counts_at_the_colder_of_its_ends():
    assert a0(log((0, 60), (60, 90), (120, 90), (180, 60))) == pytest.approx(600)


rising = st.lists(st.tuples(st.floats(1, 50), st.floats(60, 140)), min_size=2, max_size=30)


@given(rising)
def test_cutting_a_log_in_two_loses_nothing_and_a_warmer_log_is_worth_more(steps):
    seconds, rows = 0.0, []
    for step, celsius in steps:
        seconds += step
        rows.append((seconds, celsius))
    whole = log(*rows)
    parts = sum(f0([before, after]) for before, after in pairwise(whole))
    assert f0(whole) == pytest.approx(parts)
    assert f0(log(*[(s, c + 1) for s, c in rows])) == pytest.approx(f0(whole) * 10**0.1)


def test_the_hold_is_the_longest_stretch_with_every_point_in_the_band():
    rows = [
        Reading(0, 120, 134), Reading(10, 134.1, 134.9), Reading(20, 134.0, 135.0),
        Reading(30, 133.9, 134.5), Reading(40, 134.2, 134.8),
        Reading(100, 134.4, 136.0), Reading(110, 134.4, 137.1),
    ]  # fmt: skip
    assert hold(rows, 134.0, 137.0) == lethality.Hold(60, 134.2, 136.0)
    assert hold(rows, 140.0, 141.0) == lethality.Hold(0.0, None, None)


def test_several_points_are_read_as_the_coldest_and_the_hottest():
    found = read("time,chamber (°C),drain (°C)\n0:00,134.2,133.8\n0:10,134.4,134.0\n")
    assert found.points == 2
    assert found.readings == (Reading(0, 133.8, 134.2), Reading(10, 134.0, 134.4))


@pytest.mark.parametrize(
    "times",
    [("0", "10"), ("00:00:00", "00:00:10"), ("2026-12-07 05:50:00", "2026-12-07 05:50:10"), ("0,0", "10,0")],
)
def test_times_come_in_several_ways(times):
    rows = "\n".join(f"{time};134.2" for time in times)
    found = read(f"Time;Temperature °C\n{rows}\n")
    assert [row.seconds for row in found.readings] == [0, 10]


START = "time,temperature\n0,20\n5,40\n"


@pytest.mark.parametrize(
    ("text", "code", "row"),
    [
        ("0,20\n5,40\n10,60\n", "log-no-head", None),
        ("time,pressure\n0,20\n", "log-no-head", None),
        ("time,temperature (°F)\n0,68\n5,104\n", "log-fahrenheit", None),
        (START + "10,273\n", "log-fahrenheit", 4),
        (START + "5,50\n", "log-time-repeated", 4),
        (START + "4,50\n", "log-out-of-order", 4),
        (START + "10,60\n15,80\n400,90\n", "log-gap", 6),
        (START + "ten,60\n", "log-row", 4),
        (START + "10,warm\n", "log-row", 4),
        (START + "10\n", "log-row", 4),
        (START + "2026-12-07 05:50:00,60\n", "log-row", 4),
        ("time,temperature\n0,20\n", "log-too-short", None),
        ("", "log-unreadable", None),
    ],
)
def test_a_log_that_cannot_be_believed_is_refused_whole_with_its_row(text, code, row):
    with pytest.raises(Unreadable) as refused:
        read(text)
    assert refused.value.code == code
    assert refused.value.next_step
    if row is not None:
        assert f"ow {row}" in refused.value.sentence


@given(st.binary(max_size=300))
def test_no_bytes_break_the_reader(raw):
    try:
        read_log(io.BytesIO(raw), zone="Europe/London")
    except Unreadable as refused:
        assert refused.code.startswith("log-")
