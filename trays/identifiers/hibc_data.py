"""What an HIBC label says beside the product: lot or serial, dates in all forms, quantity, supplements.

Source: ANSI/HIBC 2, the HIBCC Supplier Labeling Standard: secondary data and supplementary identifiers.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import TypeVar

from trays.identifiers import dates
from trays.identifiers.checkdigits import is_digits
from trays.identifiers.dates import BadDate, CodedDate
from trays.identifiers.told import Fault, Words, gettext_noop, shortened, words

MOST_LOT = 18
_SUPPLEMENT = re.compile(r"[0-9]{0,3}[A-Z].*")


class BadLabel(ValueError):
    """No HIBC label, or one that breaks its rules: scan again. ``code`` names the rule."""

    def __init__(self, code: str, said: Words) -> None:
        super().__init__(said.say())
        self.code = code
        self.words = said


@dataclass(frozen=True, slots=True)
class Data:
    """The data of a secondary label, or of the second part of a combined one."""

    lot: str | None = None
    serial: str | None = None
    expiry: CodedDate | None = None
    made: CodedDate | None = None
    quantity: int | None = None
    others: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()


def read(pieces: list[str], today: date) -> Data:
    """Read the pieces that stand between slashes. Raises BadLabel."""
    first = pieces[0]
    starts_plainly = first.startswith("$") or not _SUPPLEMENT.fullmatch(first)
    found = _first(first, today) if starts_plainly else _supplemented(Data(), first)
    for piece in pieces[1:]:
        found = _supplemented(found, piece)
    return _judged(found)


def _judged(found: Data) -> Data:
    """Lots and serials of letters and digits, at most 18; other signs are kept and told."""
    for value in (found.lot, found.serial):
        if value is not None and len(value) > MOST_LOT:
            message = gettext_noop("Lot or serial of the HIBC label has more than 18 characters.")
            raise BadLabel("length", words(message))
        if value is not None and not value.isalnum():
            message = gettext_noop("“%(value)s” should have letters and digits only.")
            fault = Fault("characters", words(message, value=value), stops=False)
            found = replace(found, faults=(*found.faults, fault))
    return found


# The first piece: $ and + say what follows


def _first(piece: str, today: date) -> Data:
    dated, serial = piece.startswith("$$"), piece.startswith(("$$+", "$+"))
    rest = re.sub(r"^\$\$?\+?", "", piece) if piece.startswith("$") else piece
    quantity: int | None = None
    expiry: CodedDate | None = None
    try:
        if dated:
            quantity, rest = _quantity(rest)
            expiry, rest = _dated(rest, today, optional=quantity is not None)
        elif not piece.startswith("$"):
            expiry, rest = dates.read_yyjjj(rest[:5], today), rest[5:]
    except BadDate as error:
        raise _bad_date() from error
    value = rest or None
    return Data(None if serial else value, value if serial else None, expiry, None, quantity)


def _bad_date() -> BadLabel:
    return BadLabel("date", words(gettext_noop("A date of the HIBC label is wrong.")))


def _quantity(rest: str) -> tuple[int | None, str]:
    digits = {"8": 2, "9": 5}.get(rest[:1])
    if digits is None:
        return None, rest
    if not is_digits(rest[1 : 1 + digits]) or len(rest) < 1 + digits:
        message = gettext_noop("The quantity of the HIBC label has too few digits.")
        raise BadLabel("length", words(message))
    return int(rest[1 : 1 + digits]), rest[1 + digits :]


def _dated(rest: str, today: date, *, optional: bool) -> tuple[CodedDate | None, str]:
    """Date in front of a lot, by the digit that names its form; returns date and what follows."""
    form = rest[:1]
    if form in ("0", "1"):
        return _month(rest[:4], today), rest[4:]
    if form == "7":
        return None, rest[1:]
    found = _DATED.get(form)
    if found is not None:
        length, hours, read = found
        coded = read(rest[1 : 1 + length], today)
        rest = rest[1 + length :]
        return (dates.with_time(coded, rest[:2]), rest[2:]) if hours else (coded, rest)
    if optional:
        return None, rest
    raise BadDate("the form of the date is not known.")


def _month(digits: str, today: date) -> CodedDate:
    if not is_digits(digits) or len(digits) < 4:
        raise BadDate("a month and a year have four digits.")
    day = dates.month_end(dates.full_year(int(digits[2:]), today), int(digits[:2]))
    return CodedDate(day, day_given=False)


def _yymmdd(digits: str, today: date) -> CodedDate:
    return dates.read_yymmdd(digits, today, day_zero=False)


def _mmddyy(digits: str, today: date) -> CodedDate:
    return _yymmdd(digits[4:] + digits[:4], today)


# By the digit that names the form: digits of the date, whether an hour follows, how to read it.
_DATED: dict[str, tuple[int, bool, Callable[[str, date], CodedDate]]] = {
    "2": (6, False, _mmddyy),
    "3": (6, False, _yymmdd),
    "4": (6, True, _yymmdd),
    "5": (5, False, dates.read_yyjjj),
    "6": (5, True, dates.read_yyjjj),
}


# Supplements: each names itself


def _supplemented(found: Data, piece: str) -> Data:
    try:
        if piece.startswith("14D"):
            return replace(found, expiry=_once(found.expiry, dates.read_yyyymmdd(piece[3:])))
        if piece.startswith("16D"):
            return replace(found, made=_once(found.made, dates.read_yyyymmdd(piece[3:])))
    except BadDate as error:
        raise _bad_date() from error
    if piece.startswith("S") and len(piece) > 1:
        return replace(found, serial=_once(found.serial, piece[1:]))
    if piece.startswith("Q") and is_digits(piece[1:]) and len(piece) <= 6:
        return replace(found, quantity=_once(found.quantity, int(piece[1:])))
    if _SUPPLEMENT.fullmatch(piece) and piece[0] not in "SQ":
        message = gettext_noop("The part “%(piece)s” of the HIBC label is of a kind that is not read here.")
        fault = Fault("content", words(message, piece=shortened(piece)), stops=False)
        return replace(found, others=(*found.others, piece), faults=(*found.faults, fault))
    raise BadLabel("content", words(gettext_noop("A part of the HIBC label is of no known kind.")))


T = TypeVar("T")


def _once(before: T | None, now: T) -> T:
    """The value, if it does not contradict one that stood before it. A month agrees with a day in it."""
    if before is None or before == now:
        return now
    if isinstance(before, CodedDate) and isinstance(now, CodedDate) and before.agrees(now):
        return now
    message = gettext_noop("The HIBC label says two different things about the same.")
    raise BadLabel("twice", words(message))
