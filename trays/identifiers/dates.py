"""Dates in barcodes: two-digit years, day 00, days of the year."""

import calendar
from dataclasses import dataclass, replace
from datetime import date, time, timedelta


class BadDate(ValueError):
    """The digits are no date."""


@dataclass(frozen=True)
class CodedDate:
    """A date as it was coded. Without ``day_given`` only the month stood there, and its last day counts.

    ``at`` is the time of day where the code gives one, by the clock of whoever made it.
    """

    day: date
    day_given: bool = True
    at: time | None = None

    def agrees(self, other: "CodedDate") -> bool:
        """True for the same day, or the same month where one of the two gives no day."""
        if self.day_given and other.day_given:
            return self.day == other.day
        return (self.day.year, self.day.month) == (other.day.year, other.day.month)


def full_year(two_digits: int, today: date) -> int:
    """Year for two digits: from 49 years back to 50 years ahead of today (GS1 General Specifications)."""
    ahead = two_digits - today.year % 100
    century = today.year // 100 * 100
    if ahead >= 51:
        century -= 100
    elif ahead <= -50:
        century += 100
    return century + two_digits


def _made(year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError as error:
        raise BadDate(f"There is no day {day} in month {month} of {year}.") from error


def month_end(year: int, month: int) -> date:
    """Last day of a month, leap years included. Raises BadDate."""
    if not 1 <= month <= 12 or not 1 <= year <= 9999:
        raise BadDate(f"There is no month {month} in {year}.")
    return date(year, month, calendar.monthrange(year, month)[1])


def read_yymmdd(digits: str, today: date, *, day_zero: bool = True) -> CodedDate:
    """YYMMDD as a date; day 00 is the last day of the month where ``day_zero`` allows it.

    Labels made since 2025 must give the day, but stock lasts for years: accepted on reading, never printed.
    Raises BadDate.
    """
    if len(digits) != 6 or not (digits.isascii() and digits.isdigit()):
        raise BadDate("A date has six digits.")
    year, month, day = full_year(int(digits[:2]), today), int(digits[2:4]), int(digits[4:])
    if day == 0 and day_zero:
        return CodedDate(month_end(year, month), day_given=False)
    return CodedDate(_made(year, month, day))


def read_yyyymmdd(digits: str) -> CodedDate:
    """YYYYMMDD as a date. Raises BadDate."""
    if len(digits) != 8 or not (digits.isascii() and digits.isdigit()):
        raise BadDate("A date has eight digits.")
    return CodedDate(_made(int(digits[:4]), int(digits[4:6]), int(digits[6:])))


def read_yyjjj(digits: str, today: date) -> CodedDate:
    """Year and day of the year as a date. Raises BadDate."""
    if len(digits) != 5 or not (digits.isascii() and digits.isdigit()):
        raise BadDate("A year and its day have five digits.")
    year, number = full_year(int(digits[:2]), today), int(digits[2:])
    if not 1 <= number <= 365 + calendar.isleap(year):
        raise BadDate(f"There is no day {number} in {year}.")
    return CodedDate(date(year, 1, 1) + timedelta(days=number - 1))


def with_time(coded: CodedDate, digits: str) -> CodedDate:
    """The date with hours and perhaps minutes and seconds, two digits each. Raises BadDate."""
    if not (digits.isascii() and digits.isdigit()) or len(digits) not in (2, 4, 6):
        raise BadDate("A time of day has 2, 4 or 6 digits.")
    hour, minute, second = (int(digits.ljust(6, "0")[i : i + 2]) for i in (0, 2, 4))
    try:
        return replace(coded, at=time(hour, minute, second))
    except ValueError as error:
        raise BadDate(f"There is no time of day {digits}.") from error


def write_yymmdd(day: date) -> str:
    """A date as YYMMDD, always with a real day."""
    return f"{day.year % 100:02d}{day.month:02d}{day.day:02d}"
