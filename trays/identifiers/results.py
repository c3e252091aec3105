"""The answer to a scan, as types."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from functools import reduce

from trays.identifiers.dates import CodedDate
from trays.identifiers.hibc import Label as HibcLabel
from trays.identifiers.ours import OurKey
from trays.identifiers.told import Fault, Note, Words, gettext_noop, shortened, words
from trays.identifiers.values import Value


class Kind(Enum):
    """What the code is about."""

    TRADE_ITEM = gettext_noop("trade item")
    LOGISTIC_UNIT = gettext_noop("logistic unit")
    SET = gettext_noop("set")
    ASSET = gettext_noop("pack or instrument")
    PLACE = gettext_noop("place")
    SHEET = gettext_noop("sheet")
    STAFF = gettext_noop("member of staff")
    PATIENT = gettext_noop("patient")
    ATTRIBUTES = gettext_noop("lot, date or serial without its item")
    OTHER_GS1 = gettext_noop("other GS1 code")
    HIBC = gettext_noop("HIBC label")
    TISSUE = gettext_noop("tissue label")
    FOREIGN = gettext_noop("another standard's code")
    TEXT = gettext_noop("text")
    EMPTY = gettext_noop("nothing")
    UNREADABLE = gettext_noop("unreadable")


class Form(Enum):
    """How the code was written."""

    ELEMENTS = "GS1 element string"
    BRACKETS = "bracketed text"
    LINK = "GS1 Digital Link"
    DIGITS = "bare GTIN"
    HIBC = "HIBC"
    ISBT = "ISBT 128"
    OTHER = "other"


_PEOPLE = (Kind.PATIENT, Kind.STAFF)
# More parts than these are not told in a sentence.
_MOST_TOLD = 10
_DATES = frozenset({"11", "17", "7003", "expiry", "made"})
_AGENCIES = {
    Form.ELEMENTS: "GS1",
    Form.BRACKETS: "GS1",
    Form.LINK: "GS1",
    Form.DIGITS: "GS1",
    Form.HIBC: "HIBCC",
    Form.ISBT: "ICCBBA",
}


def folded(text: str) -> str:
    """A form to search by that ignores case. Lots and serials themselves compare exactly."""
    return text.casefold()


@dataclass(frozen=True, slots=True)
class Part:
    """One piece of the code.

    ``key`` is the AI, or a word for HIBC and ISBT 128; ``value`` is exactly as coded; ``parsed`` what it
    means where that is more than its characters: a date, a count, a measure.
    """

    key: str
    title: str
    value: str
    parsed: Value | None = None

    @property
    def folded(self) -> str:
        """The value in the form to search by."""
        return folded(self.value)


@dataclass(frozen=True, slots=True)
class Reading:
    """The answer to one scan.

    ``raw`` is what came, byte for byte; ``text`` the code's own text; ``symbology`` the identifier in front
    of it. ``parts`` is what may be relied on and used; ``certain`` leaves out what was worked out by
    assumption. ``unread`` is what followed an unknown AI. ``words`` is the answer where it is more than a
    description of the parts. ``choices`` is not empty when a person must pick a reading (see
    ``meaning.choose``): then ``parts`` holds only what all of them share. ``broken`` with ``stops`` means:
    scan again.
    """

    kind: Kind
    raw: bytes
    text: str
    symbology: str
    words: tuple[Words, ...] = ()
    form: Form = Form.OTHER
    parts: tuple[Part, ...] = ()
    certain: tuple[Part, ...] = ()
    unread: str = ""
    assumed: tuple[Note, ...] = ()
    broken: tuple[Fault, ...] = ()
    choices: tuple[tuple[Part, ...], ...] = ()
    key: OurKey | None = None
    expiry: CodedDate | None = None
    made: CodedDate | None = None
    hibc: HibcLabel | None = None

    def say(self, translate: Callable[[str], str] = gettext_noop) -> str:
        """The answer in a plain sentence or two, in the language of ``translate``."""
        return " ".join(words.say(translate) for words in self.words or (described(self),))

    @property
    def sentence(self) -> str:
        """The answer in English."""
        return self.say()

    @property
    def stopped(self) -> bool:
        """True when a broken rule makes the code unreliable."""
        return any(f.stops for f in self.broken)

    @property
    def usable(self) -> bool:
        """True when nothing that stops was broken and nothing needs to be asked."""
        unusable = (Kind.EMPTY, Kind.UNREADABLE, Kind.TISSUE, Kind.FOREIGN)
        return not self.choices and not self.stopped and self.kind not in unusable

    def value(self, key: str) -> str | None:
        """The data of an AI (or of an HIBC word such as "lot"), or none."""
        return next((p.value for p in self.parts if p.key == key), None)

    @property
    def gtin(self) -> str | None:
        """GTIN as 14 digits."""
        return self.value("01")

    @property
    def lot(self) -> str | None:
        """Lot exactly as coded."""
        return self.value("10") or self.value("lot")

    @property
    def serial(self) -> str | None:
        """Serial exactly as coded."""
        return self.value("21") or self.value("serial")

    @property
    def device(self) -> str | None:
        """Device identifier of a UDI: GTIN, or labeler, product and unit of HIBC, or that of ISBT 128."""
        return self.gtin or self.value("device")

    @property
    def agency(self) -> str:
        """Whose standard the code follows: GS1, HIBCC, ICCBBA, or none."""
        return _AGENCIES.get(self.form, "")


# The sentence


def described(reading: Reading) -> Words:
    """What was read, in one sentence. Codes of people are not spelled out."""
    kind = words(reading.kind.value)
    named: list[Words] = []
    if reading.kind not in _PEOPLE:
        told = [p for p in reading.parts if p.key not in _DATES]
        named = [
            words("%(title)s %(value)s", title=words(p.title or p.key), value=shortened(p.value, 90))
            for p in told[:_MOST_TOLD]
        ]
        if len(told) > _MOST_TOLD:
            named.append(words(gettext_noop("and %(count)s more"), count=len(told) - _MOST_TOLD))
        named += _dated(reading)
    if not named:
        return words(gettext_noop("Read as %(kind)s."), kind=kind)
    listed = reduce(lambda before, one: words("%(before)s, %(one)s", before=before, one=one), named)
    return words(gettext_noop("Read as %(kind)s: %(parts)s."), kind=kind, parts=listed)


def _dated(reading: Reading) -> list[Words]:
    said = []
    for message, coded in (
        (gettext_noop("use by %(day)s"), reading.expiry),
        (gettext_noop("made %(day)s"), reading.made),
    ):
        if coded is not None:
            said.append(words(message, day=_day(coded)))
    return said


def _day(coded: CodedDate) -> str | Words:
    day = coded.day.isoformat()
    if not coded.day_given:
        return words(gettext_noop("%(day)s (month's end)"), day=day)
    return day if coded.at is None else f"{day} {coded.at:%H:%M}"
