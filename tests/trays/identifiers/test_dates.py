"""Dates of barcodes: century, day 00, days of the year."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.identifiers.dates import (
    BadDate,
    full_year,
    month_end,
    read_yyjjj,
    read_yymmdd,
    read_yyyymmdd,
    write_yymmdd,
)

TODAY = date(2026, 11, 24)


@given(st.dates(date(1950, 1, 1), date(2150, 1, 1)), st.integers(0, 99))
def test_the_year_lies_from_49_back_to_50_ahead(today: date, two: int) -> None:
    year = full_year(two, today)
    assert year % 100 == two
    assert today.year - 49 <= year <= today.year + 50


@pytest.mark.parametrize(
    ("two", "year"), [(49, 2049), (50, 2050), (76, 2076), (77, 1977), (78, 1978), (26, 2026)]
)
def test_centuries_seen_from_2026(two: int, year: int) -> None:
    assert full_year(two, TODAY) == year


@pytest.mark.parametrize(
    ("digits", "day"),
    [("270200", date(2027, 2, 28)), ("280200", date(2028, 2, 29)), ("271100", date(2027, 11, 30))],
)
def test_day_00_is_the_last_day_of_the_month_and_says_so(digits: str, day: date) -> None:
    read = read_yymmdd(digits, TODAY)
    assert (read.day, read.day_given) == (day, False)
    with pytest.raises(BadDate):
        read_yymmdd(digits, TODAY, day_zero=False)


@pytest.mark.parametrize(
    "digits", ["270230", "271301", "270001", "270000", "2711", "27113a", "２７１１３０", ""]
)
def test_what_is_no_date_is_refused(digits: str) -> None:
    with pytest.raises(BadDate):
        read_yymmdd(digits, TODAY)


@given(st.dates(date(1978, 1, 1), date(2076, 12, 31)))
def test_a_written_date_is_read_back_with_its_day(day: date) -> None:
    digits = write_yymmdd(day)
    assert digits[4:] != "00"
    assert read_yymmdd(digits, TODAY).day == day
    assert read_yyyymmdd(day.strftime("%Y%m%d")).day == day


@given(st.dates(date(1978, 1, 1), date(2076, 12, 31)))
def test_days_of_the_year(day: date) -> None:
    assert read_yyjjj(day.strftime("%y%j"), TODAY).day == day


def test_day_366_exists_in_leap_years_only() -> None:
    assert read_yyjjj("28366", TODAY).day == date(2028, 12, 31)
    for digits in ("27366", "27000", "2736", "27x01"):
        with pytest.raises(BadDate):
            read_yyjjj(digits, TODAY)


@given(st.integers(1900, 2200), st.integers(1, 12))
def test_the_day_after_a_months_end_is_in_another_month(year: int, month: int) -> None:
    end = month_end(year, month)
    assert end.month == month
    assert (end + timedelta(days=1)).month != month
