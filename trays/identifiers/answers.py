"""From what was parsed to the answer: kind, parts, dates, and the sentence."""

from dataclasses import dataclass, replace
from datetime import date

from trays.identifiers import foreign, lint, ours, table, values
from trays.identifiers.dates import CodedDate
from trays.identifiers.gs1 import Element, Parsed
from trays.identifiers.results import Form, Kind, Part, Reading
from trays.identifiers.told import Fault, Note, Words, gettext_noop, shortened, words

_PEOPLE = (Kind.PATIENT, Kind.STAFF)


@dataclass(frozen=True, slots=True)
class Setting:
    """How to read: the day, what is known of the scanner, and what is asked for."""

    today: date
    proven: bool = False
    own_prefixes: tuple[str, ...] = ()
    gtin_wanted: bool = False


def refused(base: Reading, code: str, said: Words) -> Reading:
    """The answer for what cannot be read at all."""
    return replace(base, kind=Kind.UNREADABLE, words=(said,), broken=(Fault(code, said),))


def as_text(base: Reading) -> Reading:
    """The answer for what is no code of ours: another standard's, or plain text."""
    other = foreign.recognise(base.text, base.symbology)
    if other is not None:
        return replace(base, kind=Kind.FOREIGN, words=(other,))
    message = gettext_noop("“%(text)s” is taken as text: it is no GS1 or HIBC code.")
    return replace(base, kind=Kind.TEXT, words=(words(message, text=shortened(base.text)),))


# What the elements say

_KINDS = (
    ("8018", Kind.PATIENT),
    ("8017", Kind.STAFF),
    ("8003", Kind.SET),
    ("8004", Kind.ASSET),
    ("253", Kind.SHEET),
    ("01", Kind.TRADE_ITEM),
    ("03", Kind.TRADE_ITEM),
    ("00", Kind.LOGISTIC_UNIT),
    ("414", Kind.PLACE),
)
_ATTRIBUTES = frozenset({"10", "11", "17", "21", "30", "240", "250", "7003"})
_INTERNAL: dict[type, Kind] = {
    ours.AssetKey: Kind.ASSET,
    ours.SheetKey: Kind.SHEET,
    ours.StaffKey: Kind.STAFF,
}


def _kind(sound: tuple[Element, ...], broken: set[str], key: ours.OurKey | None) -> Kind:
    present = {e.ai for e in sound}
    # A person's code stays one when its check digit is wrong: it is not to be kept or shown.
    for ai, kind in _KINDS:
        if ai in present or (kind in _PEOPLE and ai in broken):
            return kind
    if key is not None:
        return _INTERNAL[type(key)]
    if not sound:
        return Kind.UNREADABLE
    return Kind.ATTRIBUTES if present & _ATTRIBUTES else Kind.OTHER_GS1


def parts_of(elements: tuple[Element, ...], today: date) -> tuple[Part, ...]:
    """Elements with their titles and what their data means."""
    return tuple(Part(e.ai, e.title, e.value, values.parsed(e, today)) for e in elements)


def of_parsed(base: Reading, parsed: Parsed, setting: Setting, form: Form = Form.ELEMENTS) -> Reading:
    """The answer for elements. Those that broke a rule which stops are no part of it."""
    stops = tuple(f for f in parsed.faults if f.stops)
    bad = {f.ai for f in stops}
    sound = tuple(dict.fromkeys(e for e in parsed.elements if e.ai not in bad))
    parts = parts_of(sound, setting.today)
    key = ours.key_of(sound)
    expiry, differ = _expiry(parts)
    made = replace(
        base,
        kind=_kind(sound, bad, key),
        form=form,
        parts=parts,
        certain=parts,
        unread=parsed.unread,
        broken=parsed.faults + differ,
        assumed=base.assumed + _unchecked(sound),
        key=None if stops else key,
        expiry=expiry,
        made=_date_of(parts, "11"),
    )
    if stops:
        again = () if stops[0].code in _NO_USE_TO_SCAN_AGAIN else (SCAN_AGAIN,)
        return replace(made, words=(stops[0].words, *again))
    return made


# These stand on the label so; the next scan would bring the same.
_NO_USE_TO_SCAN_AGAIN = frozenset({"link", "retired-ai", "twice", "unknown-ai"})
SCAN_AGAIN = words(gettext_noop("Scan it again."))


def _date_of(parts: tuple[Part, ...], key: str) -> CodedDate | None:
    found = next((p.parsed for p in parts if p.key == key), None)
    return found if isinstance(found, CodedDate) else None


def _expiry(parts: tuple[Part, ...]) -> tuple[CodedDate | None, tuple[Fault, ...]]:
    """The use-by date, with its time if (7003) gives one; of two that differ the earlier, and told."""
    day, moment = _date_of(parts, "17"), _date_of(parts, "7003")
    if day is None or moment is None:
        return day or moment, ()
    if day.agrees(moment):
        return moment, ()
    said = words(gettext_noop("(17) and (7003) give different days; the earlier one counts."))
    return min(day, moment, key=lambda d: d.day), (Fault("two-dates", said, "7003", stops=False),)


def _unchecked(elements: tuple[Element, ...]) -> tuple[Note, ...]:
    known = table.definitions()
    message = gettext_noop("The inner make-up of (%(ai)s) is not checked here.")
    return tuple(
        Note("not-checked", words(message, ai=e.ai))
        for e in elements
        if not known[e.ai].checks.isdisjoint(lint.NOT_CHECKED)
    )


# What a person is asked


def asked(base: Reading, readings: tuple[tuple[Element, ...], ...], setting: Setting, said: Words) -> Reading:
    """The answer where several readings are legal: parts are only what all of them share."""
    shared = tuple(e for e in readings[0] if all(e in r for r in readings))
    if shared:
        made = of_parsed(base, Parsed(shared, ()), setting)
    else:
        made = replace(base, kind=Kind.OTHER_GS1, form=Form.ELEMENTS)
    choices = tuple(parts_of(r, setting.today) for r in readings)
    return replace(made, choices=choices, key=None, words=(said,))


def offered(
    base: Reading, readings: tuple[tuple[Element, ...], ...], setting: Setting, said: Words
) -> Reading:
    """The answer for text that may be taken for a code if a person says so."""
    choices = tuple(parts_of(r, setting.today) for r in readings)
    return replace(base, kind=Kind.TEXT, choices=choices, words=(said,))
