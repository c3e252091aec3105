"""What the data of an AI means beyond its characters: dates, counts, measures, amounts.

Sources: GS1 General Specifications, section 3 (implied decimal points, currencies, temperatures).
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from urllib.parse import unquote

from trays.identifiers import dates, table
from trays.identifiers.dates import CodedDate
from trays.identifiers.gs1 import Element


@dataclass(frozen=True, slots=True)
class Amount:
    """An amount of money; ``currency`` is the number of ISO 4217, empty for that of the place of sale."""

    value: Decimal
    currency: str = ""


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of a trade item that comes in several."""

    gtin: str
    piece: int
    total: int


@dataclass(frozen=True, slots=True)
class Spot:
    """Degrees north and east of a place."""

    north: Decimal
    east: Decimal


@dataclass(frozen=True, slots=True)
class Period:
    """From one day to another."""

    first: CodedDate
    last: CodedDate


Value = CodedDate | Period | Decimal | int | bool | str | Amount | Piece | Spot
_COUNTS = frozenset({"30", "37", "7004", "8111"})
_TEMPERATURES = frozenset({"4330", "4331", "4332", "4333"})


def parsed(element: Element, today: date) -> Value | None:
    """The meaning of an element that keeps its rules, or none where the characters are all there is.

    Measures come in the unit that the AI's title names; ``today`` settles the century of a date.
    """
    ai, value = element.ai, element.value
    definition = table.definitions().get(ai)
    if definition is None:
        return None
    checks = definition.checks
    if checks & {"yymmd0", "yymmdd", "yyyymmdd"}:
        return _date(value, checks, today)
    if ai in _COUNTS:
        return int(value)
    if len(ai) == 4 and ai[0] == "3":
        return _scaled(ai, value)
    if ai in _TEMPERATURES:
        return Decimal(value[:6]).scaleb(-2) * (-1 if value.endswith("-") else 1)
    if "pcenc" in checks:
        return unquote(value)
    if "yesno" in checks:
        return value == "1"
    if "pieceoftotal" in checks:
        return Piece(value[:14], int(value[14:16]), int(value[16:18]))
    if "latitude" in checks:
        north, east = Decimal(value[:10]).scaleb(-7), Decimal(value[10:]).scaleb(-7)
        return Spot(north - 90, east - 360 if east > 180 else east)
    return None


def _scaled(ai: str, value: str) -> Decimal | Amount:
    """AIs 31nn to 39nn: the last digit of the AI says how many decimals there are."""
    places = -int(ai[3])
    if not ai.startswith("39"):
        return Decimal(value).scaleb(places)
    if ai[2] in "13":
        return Amount(Decimal(value[3:]).scaleb(places), value[:3])
    if ai[2] == "4":
        return Decimal(value).scaleb(places)
    return Amount(Decimal(value).scaleb(places))


def _date(value: str, checks: frozenset[str], today: date) -> CodedDate | Period | None:
    day_zero = "yymmd0" in checks
    try:
        if "yyyymmdd" in checks:
            coded, rest = dates.read_yyyymmdd(value[:8]), value[8:]
        else:
            coded, rest = dates.read_yymmdd(value[:6], today, day_zero=day_zero), value[6:]
        if not rest:
            return coded
        if checks & {"hhmi", "hh"}:
            return dates.with_time(coded, rest)
        return Period(coded, dates.read_yymmdd(rest, today, day_zero=day_zero))
    except dates.BadDate:
        return None
