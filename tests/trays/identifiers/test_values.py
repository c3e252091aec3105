"""What the data of an AI means beyond its characters."""

from datetime import date, time
from decimal import Decimal

import pytest

from trays.identifiers.dates import CodedDate
from trays.identifiers.gs1 import Element
from trays.identifiers.values import Amount, Period, Piece, Spot, Value, parsed

TODAY = date(2026, 11, 24)
NOVEMBER = date(2027, 11, 30)


@pytest.mark.parametrize(
    ("ai", "value", "meaning"),
    [
        ("01", "09521234000013", None),
        ("10", "007", None),
        ("17", "271130", CodedDate(NOVEMBER)),
        ("17", "271100", CodedDate(NOVEMBER, day_given=False)),
        ("7003", "2711301405", CodedDate(NOVEMBER, at=time(14, 5))),
        ("8008", "27113014", CodedDate(NOVEMBER, at=time(14))),
        ("8008", "271130140506", CodedDate(NOVEMBER, at=time(14, 5, 6))),
        ("4324", "2711000930", CodedDate(NOVEMBER, day_given=False, at=time(9, 30))),
        ("7007", "271130", CodedDate(NOVEMBER)),
        ("7007", "271101271130", Period(CodedDate(date(2027, 11, 1)), CodedDate(NOVEMBER))),
        ("7251", "197602291405", CodedDate(date(1976, 2, 29), at=time(14, 5))),
        ("30", "0012", 12),
        ("3103", "001500", Decimal("1.500")),
        ("3100", "001500", Decimal(1500)),
        ("3922", "1299", Amount(Decimal("12.99"))),
        ("3932", "9781299", Amount(Decimal("12.99"), "978")),
        ("3941", "0125", Decimal("12.5")),
        ("4331", "002150-", Decimal("-21.50")),
        ("4330", "002150", Decimal("21.50")),
        ("4321", "1", True),
        ("4300", "A%20B%C3%84", "A BÄ"),
        ("8006", "095212340000130203", Piece("09521234000013", 2, 3)),
        ("4309", "09000000003600000000", Spot(Decimal(0), Decimal(0))),
        ("999", "x", None),
    ],
)
def test_the_meaning_of_data(ai: str, value: str, meaning: Value | None) -> None:
    assert parsed(Element(ai, value), TODAY) == meaning


def test_the_century_of_a_date_is_that_of_the_day_of_reading() -> None:
    found = parsed(Element("17", "780101"), TODAY)
    later = parsed(Element("17", "780101"), date(2040, 1, 1))
    assert isinstance(found, CodedDate) and isinstance(later, CodedDate)
    assert (found.day.year, later.day.year) == (1978, 2078)
