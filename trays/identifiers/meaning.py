"""What a scan claims to be. No input raises: whatever cannot be read ends in a plain sentence.

Each answer says what was certain, what was assumed and which rules were broken. Where two readings are
legal nothing is chosen: the ways to read it are handed over for a person to pick.
"""

from dataclasses import dataclass, replace
from datetime import date
from enum import Enum

from trays.identifiers import ambiguity, dates, gs1, hibc, ours, wedge
from trays.identifiers.checkdigits import gtin14, holds_mod10, is_digits
from trays.identifiers.dates import CodedDate
from trays.identifiers.gs1 import GS, Element, Fault, Parsed
from trays.identifiers.hibc import Label as HibcLabel
from trays.identifiers.ours import OurKey
from trays.identifiers.wedge import Note


class Kind(Enum):
    """What the code is about."""

    TRADE_ITEM = "trade item"
    LOGISTIC_UNIT = "logistic unit"
    SET = "set"
    ASSET = "pack or instrument"
    PLACE = "place"
    SHEET = "sheet"
    STAFF = "member of staff"
    PATIENT = "patient"
    ATTRIBUTES = "lot, date or serial without its item"
    OTHER_GS1 = "other GS1 code"
    HIBC = "HIBC label"
    TISSUE = "tissue label"
    TEXT = "text"
    EMPTY = "nothing"
    UNREADABLE = "unreadable"


@dataclass(frozen=True)
class Part:
    """One piece of the code. ``key`` is the AI, or a word for HIBC; ``value`` is exactly as coded."""

    key: str
    title: str
    value: str


@dataclass(frozen=True)
class Reading:
    """The answer to one scan.

    ``parts`` is what may be relied on and used; ``certain`` leaves out what was worked out by assumption.
    ``choices`` is not empty when a person must pick a reading (see ``choose``): then ``parts`` holds only
    what all of them share. ``broken`` with ``stops`` means: scan again.
    """

    kind: Kind
    raw: bytes
    text: str
    symbology: str
    sentence: str
    parts: tuple[Part, ...] = ()
    certain: tuple[Part, ...] = ()
    assumed: tuple[Note, ...] = ()
    broken: tuple[Fault, ...] = ()
    choices: tuple[tuple[Part, ...], ...] = ()
    key: OurKey | None = None
    expiry: CodedDate | None = None
    made: CodedDate | None = None
    hibc: HibcLabel | None = None

    @property
    def usable(self) -> bool:
        """True when nothing that stops was broken and nothing needs to be asked."""
        return (
            not self.choices
            and not any(f.stops for f in self.broken)
            and self.kind not in (Kind.EMPTY, Kind.UNREADABLE, Kind.TISSUE)
        )

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


def read(
    raw: bytes | str,
    *,
    today: date,
    separators: tuple[str, ...] = (),
    proven: bool = False,
    own_prefixes: tuple[str, ...] = (),
) -> Reading:
    """Say what a scan claims to be.

    ``separators`` are stand-ins that this workstation's scanner sends for ASCII 29. ``proven``: its
    scanner was seen to send separators, so none was lost on the way. ``own_prefixes``: company prefixes
    under which only this program makes labels; readings that it never makes of them are left out.
    """
    blank = Reading(Kind.UNREADABLE, wedge.as_bytes(raw), "", "", "")
    if len(raw) > wedge.MOST_CHARACTERS:
        return _refused(blank, "length", "This is too long to be a code. Scan one code at a time.")
    heard = wedge.hear(raw, separators)
    base = replace(blank, text=heard.text, symbology=heard.symbology, assumed=heard.notes)
    text = heard.text
    if not text.strip(GS):
        return replace(base, kind=Kind.EMPTY, sentence="Nothing was scanned or typed.")
    if any(not c.isprintable() and c != GS for c in text):
        return _refused(
            base, "characters", "The code holds control characters that no label has. Scan it again."
        )
    if text[0] == "+" or text[:2] == "*+":
        return _read_hibc(base, today)
    if text[0] in "=&" and not heard.symbology:
        return replace(
            base,
            kind=Kind.TISSUE,
            sentence="This looks like a tissue label (ICCBBA). It is kept as scanned but not read here.",
        )
    if text[0] == "(":
        return _of_parsed(base, gs1.parse_brackets(text), today)
    return _read_digits(base, today, proven, own_prefixes)


def _refused(base: Reading, code: str, sentence: str) -> Reading:
    return replace(base, kind=Kind.UNREADABLE, sentence=sentence, broken=(Fault(code, sentence),))


def _as_text(base: Reading) -> Reading:
    shown = base.text if len(base.text) <= 40 else base.text[:39] + "…"
    return replace(
        base,
        kind=Kind.TEXT,
        sentence=f"“{shown.replace(GS, ' ')}” is taken as text: it is no GS1 or HIBC code.",
    )


# Codes that may hold element strings

# Shorter text without a symbology identifier is something that was typed.
_LEAST_ELEMENTS = 8


def _read_digits(base: Reading, today: date, proven: bool, own_prefixes: tuple[str, ...]) -> Reading:
    if base.symbology in wedge.CLAIMS_GTIN:
        return _read_gtin(base, today, certain=True)
    readings = tuple(r for r in ambiguity.legal_readings(base.text) if ours.possible(r, own_prefixes))
    if base.symbology not in wedge.CLAIMS_GS1:
        made = _without_claim(base, readings, today)
        if made is not None:
            return made
    return _element_string(base, readings, today, proven)


def _without_claim(base: Reading, readings: tuple[tuple[Element, ...], ...], today: date) -> Reading | None:
    """The answer where no symbology identifier says GS1; none for what is an element string all the same.

    A reading that begins with an internal AI (90 to 99) tells nothing: digits are then a GTIN or text.
    """
    text = base.text
    telling = tuple(r for r in readings if not r[0].ai.startswith("9"))
    if len(text) in (8, 12, 13, 14) and holds_mod10(text):
        if not telling:
            return _read_gtin(base, today, certain=False)
        return _ask(base, ((Element("01", gtin14(text)),), *telling), today)
    if base.symbology in wedge.CLAIMS_PLAIN:
        return _offer(base, readings)
    internal_only = GS not in text and bool(readings) and not telling
    if len(text) < _LEAST_ELEMENTS or internal_only or not _like_gs1(text):
        return _as_text(base)
    return None


def _element_string(
    base: Reading, readings: tuple[tuple[Element, ...], ...], today: date, proven: bool
) -> Reading:
    parsed = gs1.parse(base.text)
    strict = tuple(dict.fromkeys(parsed.elements))
    others = tuple(r for r in readings if r != strict)
    if any(f.stops for f in parsed.faults):
        if len(others) == 1:
            return _only_reading(base, strict, others[0], today)
        if others:
            return _ask(base, others, today)
    elif others and not proven and GS not in base.text.strip(GS):
        return _ask(base, (strict, *others), today)
    return _of_parsed(base, parsed, today)


def _like_gs1(text: str) -> bool:
    """An element string by its look, when no symbology identifier says so."""
    parsed = gs1.parse(text)
    if not any(f.stops for f in parsed.faults):
        return True
    if GS in text or text[:4] in ("8003", "8004", "8017", "8018"):
        return is_digits(text[:2])
    return len(text) >= 16 and is_digits(text[:16]) and text[:2] in ("00", "01", "02", "03", "25", "41")


def _read_gtin(base: Reading, today: date, *, certain: bool) -> Reading:
    try:
        element = Element("01", gtin14(base.text))
    except ValueError as error:
        return _refused(base, "check-digit", f"{error} Scan it again.")
    made = _of_parsed(base, Parsed((element,), ()), today)
    if certain:
        return made
    note = Note("bare-gtin", "Bare digits were taken for a GTIN because their check digit is right.")
    return replace(made, certain=(), assumed=(*made.assumed, note))


def _offer(base: Reading, readings: tuple[tuple[Element, ...], ...]) -> Reading:
    if not readings:
        return _as_text(base)
    return replace(
        base,
        kind=Kind.TEXT,
        choices=tuple(_parts(r) for r in readings),
        sentence="The symbol does not claim to be GS1, but its text reads so. Say whether to take it so.",
    )


def _ask(base: Reading, readings: tuple[tuple[Element, ...], ...], today: date) -> Reading:
    shared = tuple(e for e in readings[0] if all(e in r for r in readings))
    made = _of_parsed(base, Parsed(shared, ()), today) if shared else replace(base, kind=Kind.OTHER_GS1)
    return replace(
        made,
        choices=tuple(_parts(r) for r in readings),
        key=None,
        sentence=f"No separator came, and the code can be read in {len(readings)} ways. "
        "Compare with the label and choose.",
    )


def _only_reading(
    base: Reading, strict: tuple[Element, ...], found: tuple[Element, ...], today: date
) -> Reading:
    made = _of_parsed(base, Parsed(found, ()), today)
    note = Note("separator", "A separator is missing; this is the only reading that keeps every rule.")
    return replace(
        made, certain=_parts(tuple(e for e in found if e in strict)), assumed=(*made.assumed, note)
    )


def choose(reading: Reading, choice: int, *, today: date) -> Reading:
    """The reading that a person picked from ``choices``. Raises IndexError for one that is not there."""
    elements = tuple(Element(p.key, p.value) for p in reading.choices[choice])
    made = _of_parsed(replace(reading, choices=()), Parsed(elements, ()), today)
    note = Note("chosen", "This reading was chosen by a person.")
    return replace(made, certain=reading.parts, assumed=(*reading.assumed, note))


# From elements to the answer


def _parts(elements: tuple[Element, ...]) -> tuple[Part, ...]:
    return tuple(Part(e.ai, e.title, e.value) for e in elements)


_KINDS = (
    ("8003", Kind.SET),
    ("8004", Kind.ASSET),
    ("253", Kind.SHEET),
    ("01", Kind.TRADE_ITEM),
    ("03", Kind.TRADE_ITEM),
    ("00", Kind.LOGISTIC_UNIT),
    ("414", Kind.PLACE),
    ("8017", Kind.STAFF),
    ("8018", Kind.PATIENT),
)
_ATTRIBUTES = frozenset({"10", "11", "17", "21", "30", "240", "250", "7003"})


def _kind(elements: tuple[Element, ...]) -> Kind:
    present = {e.ai for e in elements}
    for ai, kind in _KINDS:
        if ai in present:
            return kind
    return Kind.ATTRIBUTES if present & _ATTRIBUTES else Kind.OTHER_GS1


def _of_parsed(base: Reading, parsed: Parsed, today: date) -> Reading:
    bad = {f.ai for f in parsed.faults if f.stops}
    sound = tuple(dict.fromkeys(e for e in parsed.elements if e.ai not in bad))
    stops = [f for f in parsed.faults if f.stops]
    kind = _kind(sound) if sound else Kind.UNREADABLE
    parts = _parts(sound)
    made = replace(
        base,
        kind=kind,
        parts=parts,
        certain=parts,
        broken=parsed.faults,
        key=None if stops else ours.key_of(sound),
        expiry=_date_of(sound, "17", today) or _date_of(sound, "7003", today),
        made=_date_of(sound, "11", today),
    )
    if stops:
        return replace(made, sentence=f"{stops[0].sentence} Scan it again.")
    return replace(made, sentence=_describe(made))


def _date_of(elements: tuple[Element, ...], ai: str, today: date) -> CodedDate | None:
    value = next((e.value for e in elements if e.ai == ai), None)
    if value is None:
        return None
    try:
        return dates.read_yymmdd(value[:6], today)
    except dates.BadDate:
        return None


def _describe(reading: Reading) -> str:
    named = [f"{p.title or p.key} {p.value}" for p in reading.parts if p.key not in ("17", "11")]
    named += _dated_words(reading)
    text = f"{reading.kind.value.capitalize()}: {', '.join(named)}."
    return text.replace(Kind.HIBC.value.capitalize(), Kind.HIBC.value)


def _dated_words(reading: Reading) -> list[str]:
    words = []
    for word, coded in (("use by", reading.expiry), ("made", reading.made)):
        if coded is not None:
            words.append(f"{word} {coded.day.isoformat()}" + ("" if coded.day_given else " (month's end)"))
    return words


# HIBC


def _read_hibc(base: Reading, today: date) -> Reading:
    try:
        label = hibc.parse(base.text, today)
    except hibc.BadLabel as error:
        sentence = str(error)
        return replace(base, kind=Kind.UNREADABLE, sentence=sentence, broken=(Fault(error.code, sentence),))
    return of_hibc(base, label)


def of_hibc(base: Reading, label: HibcLabel) -> Reading:
    """The answer for an HIBC label: the one scanned, or two joined by ``hibc.join``."""
    named = (
        ("device", "device identifier", label.device),
        ("lot", "lot", label.lot),
        ("serial", "serial", label.serial),
        ("quantity", "quantity", None if label.quantity is None else str(label.quantity)),
    )
    parts = tuple(Part(key, title, value) for key, title, value in named if value)
    assumed = base.assumed
    if label.expiry is not None and not label.expiry.day_given:
        assumed = (*assumed, Note("month-end", "Only the month was given: its last day was taken."))
    made = replace(
        base,
        kind=Kind.HIBC,
        parts=parts,
        certain=parts,
        hibc=label,
        expiry=label.expiry,
        made=label.made,
        assumed=assumed,
    )
    return replace(made, sentence=_describe(made))
