"""HIBC supplier labels: primary, secondary, and both in one symbol.

Source: HIBCC Supplier Labeling Standard.
"""

from dataclasses import dataclass
from datetime import date
from enum import Enum

from trays.identifiers import dates
from trays.identifiers.checkdigits import HIBC_SET, is_digits, mod43
from trays.identifiers.dates import BadDate, CodedDate

MOST_LOT = 18
MOST_PRODUCT = 18


class Form(Enum):
    """Which label was scanned."""

    PRIMARY = "primary"
    SECONDARY = "secondary"
    COMBINED = "combined"


class BadLabel(ValueError):
    """No HIBC label, or one that breaks its rules: scan again. ``code`` names the rule."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code


@dataclass(frozen=True)
class Label:
    """What an HIBC label says. ``link`` ties a secondary to the primary with that check character."""

    form: Form
    check: str
    labeler: str = ""
    product: str = ""
    unit: str = ""
    link: str = ""
    lot: str | None = None
    serial: str | None = None
    expiry: CodedDate | None = None
    made: CodedDate | None = None
    quantity: int | None = None

    @property
    def device(self) -> str:
        """The device identifier: labeler, product and unit of measure, as coded."""
        return self.labeler + self.product + self.unit


@dataclass(frozen=True)
class _Secondary:
    lot: str | None = None
    serial: str | None = None
    expiry: CodedDate | None = None
    made: CodedDate | None = None
    quantity: int | None = None


def parse(text: str, today: date) -> Label:
    """Read one label: ``+`` to check character. Asterisks round it are not data; ``_`` is a blank check.

    Raises BadLabel.
    """
    body, check = _checked(text)
    if not body[1:]:
        raise BadLabel("length", "The HIBC label is empty.")
    if not body[1].isalpha():
        link, inner = body[-1], body[1:-1]
        return _label(Form.SECONDARY, check, _secondary(inner.split("/"), today), link=link)
    primary, slash, rest = body[1:].partition("/")
    found = _secondary(rest.split("/"), today) if slash else _Secondary()
    labeler, product, unit = primary[:4], primary[4:-1], primary[-1:]
    fine = len(primary) >= 6 and len(product) <= MOST_PRODUCT and primary.isalnum() and unit.isdigit()
    if not fine:
        raise BadLabel("length", "The HIBC label has no labeler, product and unit of measure.")
    return _label(
        Form.COMBINED if slash else Form.PRIMARY, check, found, labeler=labeler, product=product, unit=unit
    )


def _label(
    form: Form,
    check: str,
    found: _Secondary,
    *,
    labeler: str = "",
    product: str = "",
    unit: str = "",
    link: str = "",
) -> Label:
    return Label(
        form,
        check,
        labeler,
        product,
        unit,
        link,
        found.lot,
        found.serial,
        found.expiry,
        found.made,
        found.quantity,
    )


def _checked(text: str) -> tuple[str, str]:
    bare = text[1:-1] if len(text) > 2 and text[0] == text[-1] == "*" else text
    if bare.endswith("_"):
        bare = bare[:-1] + " "
    if len(bare) < 3 or bare[0] != "+":
        raise BadLabel("length", "An HIBC label starts with + and ends with a check character.")
    if any(c not in HIBC_SET for c in bare):
        raise BadLabel("characters", "An HIBC label holds digits, capitals, - . $ / + % and blanks only.")
    if mod43(bare[:-1]) != bare[-1]:
        raise BadLabel("check-digit", "The check character of the HIBC label is wrong: scan it again.")
    return bare[:-1], bare[-1]


def _secondary(pieces: list[str], today: date) -> _Secondary:
    found = _first_piece(pieces[0], today)
    for piece in pieces[1:]:
        found = _supplement(found, piece)
    for value in (found.lot, found.serial):
        if value is not None and (len(value) > MOST_LOT or not value.isalnum()):
            raise BadLabel("length", "Lot or serial of the HIBC label has more than 18 letters and digits.")
    return found


def _first_piece(piece: str, today: date) -> _Secondary:
    dated, serial = piece.startswith("$$"), piece.startswith(("$$+", "$+"))
    rest = piece.lstrip("$").removeprefix("+") if piece.startswith("$") else piece
    quantity: int | None = None
    expiry: CodedDate | None = None
    try:
        if dated:
            quantity, rest = _quantity(rest)
            expiry, rest = _dated(rest, today, optional=quantity is not None)
        elif not piece.startswith("$"):
            expiry, rest = dates.read_yyjjj(rest[:5], today), rest[5:]
    except BadDate as error:
        raise BadLabel("date", f"The date of the HIBC label is wrong: {error}") from error
    value = rest or None
    return _Secondary(None if serial else value, value if serial else None, expiry, None, quantity)


def _quantity(rest: str) -> tuple[int | None, str]:
    digits = {"8": 2, "9": 5}.get(rest[:1])
    if digits is None:
        return None, rest
    if not is_digits(rest[1 : 1 + digits]) or len(rest) < 1 + digits:
        raise BadLabel("length", "The quantity of the HIBC label has too few digits.")
    return int(rest[1 : 1 + digits]), rest[1 + digits :]


def _dated(rest: str, today: date, *, optional: bool) -> tuple[CodedDate | None, str]:
    """Date in front of a lot, by the digit that names its form; returns date and what follows."""
    form = rest[:1]
    if form in ("0", "1"):
        month, year = rest[:2], rest[2:4]
        if not is_digits(month + year) or len(rest) < 4:
            raise BadDate("a month and a year have four digits.")
        day = dates.month_end(dates.full_year(int(year), today), int(month))
        return CodedDate(day, day_given=False), rest[4:]
    if form == "2":
        return dates.read_yymmdd(rest[5:7] + rest[1:5], today, day_zero=False), rest[7:]
    if form in ("3", "4"):
        end = 7 if form == "3" else 9
        return dates.read_yymmdd(rest[1:7], today, day_zero=False), _past_hour(rest, 7, end)
    if form in ("5", "6"):
        end = 6 if form == "5" else 8
        return dates.read_yyjjj(rest[1:6], today), _past_hour(rest, 6, end)
    if form == "7":
        return None, rest[1:]
    if optional:
        return None, rest
    raise BadDate("the form of the date is not known.")


def _past_hour(rest: str, start: int, end: int) -> str:
    hour = rest[start:end]
    if end > start and not (is_digits(hour) and len(hour) == 2 and int(hour) < 24):
        raise BadDate("the hour is no hour.")
    return rest[end:]


def _supplement(found: _Secondary, piece: str) -> _Secondary:
    lot, serial, expiry, made, quantity = found.lot, found.serial, found.expiry, found.made, found.quantity
    try:
        if piece.startswith("14D"):
            expiry = dates.read_yyyymmdd(piece[3:])
        elif piece.startswith("16D"):
            made = dates.read_yyyymmdd(piece[3:])
        elif piece.startswith("S") and len(piece) > 1:
            serial = piece[1:]
        elif piece.startswith("Q") and is_digits(piece[1:]) and len(piece) <= 6:
            quantity = int(piece[1:])
        else:
            raise BadLabel("content", "A part of the HIBC label is of no known kind.")
    except BadDate as error:
        raise BadLabel("date", f"A date of the HIBC label is wrong: {error}") from error
    return _Secondary(lot, serial, expiry, made, quantity)


def join(primary: Label, secondary: Label) -> Label:
    """One label from two symbols, scanned in either order. Raises BadLabel if they do not belong together."""
    if primary.form is Form.SECONDARY:
        primary, secondary = secondary, primary
    if primary.form is not Form.PRIMARY or secondary.form is not Form.SECONDARY:
        raise BadLabel("pairing", "One primary and one secondary HIBC label make a pair.")
    if secondary.link != primary.check:
        raise BadLabel("pairing", "The HIBC labels do not belong together: their link character differs.")
    return Label(
        Form.COMBINED,
        secondary.check,
        primary.labeler,
        primary.product,
        primary.unit,
        secondary.link,
        secondary.lot,
        secondary.serial,
        secondary.expiry,
        secondary.made,
        secondary.quantity,
    )
