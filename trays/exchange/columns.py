"""Columns of an import: each turns the text of one cell into a typed value, or says what is wrong with it.

A day may also be written relative to a base day ("day 3", "day -40", "workday 2", "workday 2 08:30"),
but only where the caller gives one: the demo's files do, a hospital's file never needs it.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _

Words = str | Promise

_ISO_DAY = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_SLASHED_DAY = re.compile(r"(\d{1,2})[/.](\d{1,2})[/.](\d{4})")
_NAMED_DAY = re.compile(r"(\d{1,2})[ -]([A-Za-z]{3})[a-z]*[ -](\d{4})")
_RELATIVE_DAY = re.compile(r"(day|workday) (-?\d{1,4})")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::[0-5]\d(?:\.\d+)?)?")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_CODE = re.compile(r"[^\s,;\"'<>]+")
# As people and spreadsheets write numbers; a spreadsheet gives very small ones with an exponent.
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d{1,2})?", re.IGNORECASE | re.ASCII)
# Years that a hospital's file can mean; 9999 is how some say "without an end".
FIRST_YEAR, LAST_YEAR, NO_END = 1900, 2200, 9999


class Unfit(Exception):
    """What one cell holds cannot be taken: a sentence, and what to do about it."""

    def __init__(self, sentence: str, next_step: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.next_step = next_step


@dataclass(frozen=True, slots=True)
class Setting:
    """What a cell's meaning depends on: the day that relative days count from, if any."""

    base_day: date | None = None


@dataclass(frozen=True)
class Column:
    """One column: its name in the file, whether it must be filled, what it holds, and an example."""

    name: str
    about: Words = ""
    example: str = ""
    required: bool = True
    default: Any = None

    def read(self, text: str, setting: Setting) -> Any:
        """The typed value of a cell; the default for an empty one that may be empty. Raises Unfit."""
        if not text:
            if self.required:
                raise Unfit(_("This cell is empty."), _("Fill it in, or take the row out."))
            return self.default
        return self.parse(text, setting)

    def parse(self, text: str, setting: Setting) -> Any:
        raise NotImplementedError

    @property
    def form(self) -> str:
        """What the template's guide says may stand in the column."""
        return ""


def shown(text: str) -> str:
    """A cell as it is quoted in a sentence: cut where it is long."""
    return text if len(text) <= 40 else f"{text[:39]}…"


@dataclass(frozen=True)
class Text(Column):
    """Words, at most `longest` letters."""

    longest: int = 120
    default: Any = ""

    def parse(self, text: str, setting: Setting) -> str:
        if len(text) > self.longest:
            raise Unfit(
                _("This is %(given)s letters long; at most %(most)s fit.")
                % {"given": len(text), "most": self.longest},
                _("Shorten it."),
            )
        return text

    @property
    def form(self) -> str:
        return _("text, at most %(most)s letters") % {"most": self.longest}


@dataclass(frozen=True)
class Code(Text):
    """A code without spaces; capital and small letters differ, leading zeros stay."""

    longest: int = 40

    def parse(self, text: str, setting: Setting) -> str:
        if not _CODE.fullmatch(text):
            raise Unfit(
                _("“%(text)s” is not a code: a code has no spaces, commas or quotation marks.")
                % {"text": shown(text)},
                _("Write the code as it stands in the list it comes from."),
            )
        return super().parse(text, setting)

    @property
    def form(self) -> str:
        return _("code, at most %(most)s signs, no spaces") % {"most": self.longest}


@dataclass(frozen=True)
class Whole(Column):
    """A whole number between two bounds."""

    low: int = 0
    high: int = 1_000_000

    def parse(self, text: str, setting: Setting) -> int:
        if not re.fullmatch(r"[+-]?\d{1,12}", text):
            raise Unfit(
                _("“%(text)s” is not a whole number.") % {"text": shown(text)},
                _("Write figures only, such as 3."),
            )
        number = int(text)
        if not self.low <= number <= self.high:
            raise Unfit(
                _("%(text)s is out of range.") % {"text": text},
                _("Write a whole number from %(low)s to %(high)s.") % {"low": self.low, "high": self.high},
            )
        return number

    @property
    def form(self) -> str:
        return _("whole number, %(low)s to %(high)s") % {"low": self.low, "high": self.high}


def _decimal(text: str) -> Decimal:
    """A number with a point; a comma for it where it cannot be read as a thousand."""
    plain = text.replace(" ", "")
    if re.fullmatch(r"[+-]?\d{1,9},\d{1,2}", plain):
        plain = plain.replace(",", ".")
    number = Decimal(plain) if len(plain) <= 20 and _NUMBER.fullmatch(plain) else None
    if number is None or not math.isfinite(number):
        raise Unfit(
            _("“%(text)s” is not a number.") % {"text": shown(text)},
            _("Write it with a point and without separators, such as 1250.50."),
        )
    return number


@dataclass(frozen=True)
class Number(Column):
    """A number with decimals between two bounds, kept as a float (chances, weights)."""

    low: float = 0.0
    high: float = 1.0

    def parse(self, text: str, setting: Setting) -> float:
        number = float(_decimal(text))
        if not self.low <= number <= self.high:
            raise Unfit(
                _("%(text)s is out of range.") % {"text": shown(text)},
                _("Write a number from %(low)g to %(high)g.") % {"low": self.low, "high": self.high},
            )
        return number

    @property
    def form(self) -> str:
        return _("number, %(low)g to %(high)g") % {"low": self.low, "high": self.high}


@dataclass(frozen=True)
class Money(Column):
    """An amount with at most two decimals, not below zero; its currency is a column of its own."""

    def parse(self, text: str, setting: Setting) -> str:
        amount = _decimal(text)
        # Rounding a number of more digits than a Decimal keeps would fail: the bound is asked first.
        fits = 0 <= amount < Decimal(10) ** 8
        cents = amount.quantize(Decimal("0.01")) if fits else amount
        if not fits or amount != cents:
            raise Unfit(
                _("“%(text)s” is not an amount of money.") % {"text": shown(text)},
                _("Write it without a currency sign, at most two decimals, such as 412.50."),
            )
        return str(cents)

    @property
    def form(self) -> str:
        return _("amount, such as 412.50")


def workday(base: date, count: int) -> date:
    """The working day (Monday to Friday) `count` after the first one on or after the base day."""
    day = base
    while day.weekday() > 4:
        day += timedelta(days=1)
    step = timedelta(days=1 if count >= 0 else -1)
    left = abs(count)
    while left:
        day += step
        left -= day.weekday() < 5
    return day


def _day(year: str, month: int, number: str, text: str) -> date:
    try:
        day = date(int(year), month, int(number))
    except ValueError:
        raise Unfit(_("There is no day %(text)s.") % {"text": shown(text)}, _("Correct the date.")) from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR and day.year != NO_END:
        raise Unfit(
            _("The year of %(text)s is too far away to be meant.") % {"text": shown(text)},
            _("Correct the year."),
        )
    return day


def _relative_day(text: str, setting: Setting) -> date | None:
    found = _RELATIVE_DAY.fullmatch(text)
    if found is None or setting.base_day is None:
        return None
    count = int(found[2])
    if found[1] == "workday":
        return workday(setting.base_day, count)
    return setting.base_day + timedelta(days=count)


def read_day(text: str, setting: Setting) -> date:
    """A date as hospitals' files write it, or Unfit; one that could be read in two ways is refused."""
    relative = _relative_day(text, setting)
    if relative is not None:
        return relative
    if found := _ISO_DAY.fullmatch(text):
        return _day(found[1], int(found[2]), found[3], text)
    if found := _NAMED_DAY.fullmatch(text):
        if found[2].lower() in _MONTHS:
            return _day(found[3], _MONTHS.index(found[2].lower()) + 1, found[1], text)
    if found := _SLASHED_DAY.fullmatch(text):
        first, second = int(found[1]), int(found[2])
        if first > 12 or first == second:
            return _day(found[3], second, found[1], text)
        raise Unfit(
            _("%(text)s could be read as two different days.") % {"text": text},
            _("Write it with the year first, such as 2027-03-31."),
        )
    raise Unfit(_("“%(text)s” is not a date.") % {"text": shown(text)}, _("Write it as 2027-03-31."))


@dataclass(frozen=True)
class Day(Column):
    """A date: 2027-03-31, 31 Mar 2027, or 31/03/2027 where it can only be read one way."""

    def parse(self, text: str, setting: Setting) -> date:
        # A spreadsheet gives each date a time: midnight says nothing.
        head, gap, tail = text.partition(" ")
        if gap and _ISO_DAY.fullmatch(head) and re.fullmatch(r"00:00(:00)?", tail):
            text = head
        return read_day(text, setting)

    @property
    def form(self) -> str:
        return _("date, such as 2027-03-31")


@dataclass(frozen=True)
class Moment(Column):
    """A day and a time of day, as the site's clock shows it: 2027-03-31 08:30."""

    def parse(self, text: str, setting: Setting) -> datetime:
        head, _gap, tail = text.replace("T", " ").rpartition(" ")
        found = _CLOCK.fullmatch(tail)
        if found is None or not head:
            raise Unfit(
                _("“%(text)s” is not a date with a time.") % {"text": shown(text)},
                _("Write it as 2027-03-31 08:30, by the site's clock."),
            )
        # The site's zone is laid on it by the kind, which knows the site.
        day = read_day(head, setting)
        if day.year == NO_END:
            raise Unfit(
                _("“%(text)s” is no moment at which something happens.") % {"text": shown(text)},
                _("Correct the year."),
            )
        return datetime.combine(day, time(int(found[1]), int(found[2])))

    @property
    def form(self) -> str:
        return _("date and time by the site's clock, such as 2027-03-31 08:30")


@dataclass(frozen=True)
class Clock(Column):
    """A time of day by the site's clock, kept as hh:mm:ss."""

    def parse(self, text: str, setting: Setting) -> str:
        found = _CLOCK.fullmatch(text)
        if found is None:
            raise Unfit(_("“%(text)s” is no time of day.") % {"text": shown(text)}, _("Write it as 07:30."))
        return time(int(found[1]), int(found[2])).isoformat()

    @property
    def form(self) -> str:
        return _("time of day, such as 07:30")


@dataclass(frozen=True)
class Choice(Column):
    """One of a few words."""

    words: Sequence[str] = field(default_factory=tuple)

    def parse(self, text: str, setting: Setting) -> str:
        given = re.sub(r"[ -]+", "_", text.casefold())
        if given not in self.words:
            raise Unfit(
                _("“%(text)s” is none of the words for this column.") % {"text": shown(text)},
                _("Write one of: %(words)s.") % {"words": ", ".join(self.words)},
            )
        return given

    @property
    def form(self) -> str:
        return _("one of: %(words)s") % {"words": ", ".join(self.words)}


@dataclass(frozen=True)
class YesNo(Column):
    """Yes or no."""

    YES = ("yes", "y", "true", "1")
    NO = ("no", "n", "false", "0")

    def parse(self, text: str, setting: Setting) -> bool:
        given = text.casefold()
        if given not in self.YES + self.NO:
            raise Unfit(_("“%(text)s” is neither yes nor no.") % {"text": shown(text)}, _("Write yes or no."))
        return given in self.YES

    @property
    def form(self) -> str:
        return _("yes or no")


@dataclass(frozen=True)
class SideOf(Column):
    """A side of the patient's body, in words; a single letter is taken too."""

    WORDS = {"left": "left", "l": "left", "right": "right", "r": "right", "none": "none"}

    def parse(self, text: str, setting: Setting) -> str:
        side = self.WORDS.get(text.casefold())
        if side is None:
            raise Unfit(
                _("“%(text)s” is not a side.") % {"text": shown(text)}, _("Write left, right or none.")
            )
        return side

    @property
    def form(self) -> str:
        return _("left, right or none")


@dataclass(frozen=True)
class Several(Column):
    """Several words in one cell, with a vertical bar between them."""

    words: Sequence[str] = field(default_factory=tuple)

    def parse(self, text: str, setting: Setting) -> list[str]:
        given = [part.strip() for part in text.split("|") if part.strip()]
        strange = [part for part in given if self.words and part not in self.words]
        if strange:
            raise Unfit(
                _("“%(text)s” is none of the words for this column.") % {"text": shown(strange[0])},
                _("Write one or more of: %(words)s, with | between them.") % {"words": ", ".join(self.words)},
            )
        return given

    @property
    def form(self) -> str:
        return _("one or more, with | between them")
