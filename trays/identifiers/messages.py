"""Reading codes that may hold GS1 element strings or bare GTINs, with or without a claim to be GS1."""

from dataclasses import replace

from trays.identifiers import ambiguity, answers, brackets, foreign, gs1, ours
from trays.identifiers.answers import Setting
from trays.identifiers.checkdigits import CSET_82, gtin14, gtins14, is_digits
from trays.identifiers.gs1 import GS, Element, Parsed
from trays.identifiers.results import Form, Kind, Reading
from trays.identifiers.told import Fault, Note, gettext_noop, words

# Shorter text without a symbology identifier is something that was typed.
_LEAST_ELEMENTS = 8
# Of these AIs' first digits an element string is known by its look.
_TELLING_STARTS = ("00", "01", "02", "03", "25", "41")
_TELLING_KEYS = ("8003", "8004", "8017", "8018")
# Keys that digits as long as a GTIN may be as well.
_RIVALS = frozenset({"8004"})
# A retail symbol with its add-on: the GTIN comes first.
_WITH_ADD_ON = (15, 18)

Found = tuple[tuple[Element, ...], ...]

_LOST = Note(
    "separator",
    words(gettext_noop("A separator is missing; this is the only reading that keeps every rule.")),
)
_ALT_CODE = Note("separator", words(gettext_noop("The digits 029 were taken for the separator.")))
_CHOSEN = Note("chosen", words(gettext_noop("This reading was chosen by a person.")))
_BARE_GTIN = Note(
    "bare-gtin", words(gettext_noop("Bare digits were taken for a GTIN because their check digit is right."))
)
_BRACKETS = words(
    gettext_noop("The symbol holds brackets, which GS1 does not allow. Say whether to take it so.")
)
_PLAIN = words(
    gettext_noop("The symbol does not claim to be GS1, but its text reads so. Say whether to take it so.")
)
_ADD_ON = Note("add-on", words(gettext_noop("The add-on beside the retail symbol was left out.")))


def claimed(base: Reading, setting: Setting) -> Reading:
    """The answer for a symbol that claims to be GS1."""
    if base.text[0] == "(":
        parsed, _ = brackets.parse(base.text)
        if parsed.elements and not parsed.stopped:
            return answers.offered(base, (parsed.elements,), setting, _BRACKETS)
    return _element_string(base, setting)


def bracketed(base: Reading, setting: Setting) -> Reading:
    """The answer for text in brackets: taken where it was typed, offered where a plain symbol holds it."""
    parsed, notes = brackets.parse(base.text)
    base = replace(base, assumed=base.assumed + notes)
    if not base.symbology:
        return answers.of_parsed(base, parsed, setting, Form.BRACKETS)
    if parsed.stopped:
        return answers.as_text(base)
    return answers.offered(base, (parsed.elements,), setting, _PLAIN)


def unclaimed(base: Reading, setting: Setting) -> Reading:
    """The answer for digits and what follows them where no symbology identifier says GS1.

    A reading that begins with an internal AI (90 to 99) tells nothing: digits are then a GTIN or text.
    """
    text = base.text.strip(GS)
    if not is_digits(text[:2]):
        return answers.as_text(base)
    gtins = gtins14(text)
    if gtins:
        return _bare_digits(base, gtins, setting)
    if len(text) < _LEAST_ELEMENTS:
        return answers.as_text(base)
    if base.symbology:
        return _plain_symbol(base, setting)
    internal_only = GS not in base.text and text.startswith("9")
    if internal_only or not _like_gs1(base.text):
        return answers.as_text(base)
    return _element_string(base, setting)


def retail(base: Reading, setting: Setting) -> Reading:
    """The answer for an EAN or UPC symbol, known as such by its symbology identifier."""
    text = base.text
    notes: tuple[Note, ...] = ()
    if base.symbology == "]E3" and len(text) in _WITH_ADD_ON:
        text, notes = text[:13], (_ADD_ON,)
    other = foreign.recognise(text, base.symbology)
    if other is not None and not setting.gtin_wanted:
        return replace(base, kind=Kind.FOREIGN, words=(other,))
    try:
        element = Element("01", gtin14(text))
    except ValueError:
        said = words(gettext_noop("A GTIN has 8, 12, 13 or 14 digits, the last a right check digit."))
        made = answers.refused(base, "check-digit", said)
        return replace(made, words=(said, answers.SCAN_AGAIN))
    made = answers.of_parsed(base, Parsed((element,), ()), setting, Form.DIGITS)
    return replace(made, assumed=made.assumed + notes)


def chosen(reading: Reading, choice: int, setting: Setting) -> Reading:
    """The reading that a person picked from those offered. Raises IndexError for one that is not there."""
    elements = tuple(Element(p.key, p.value) for p in reading.choices[choice])
    parsed = Parsed(elements, gs1.pairing_faults(elements))
    made = answers.of_parsed(replace(reading, choices=()), parsed, setting)
    return replace(made, certain=reading.parts, assumed=(*made.assumed, _CHOSEN))


# Without a claim


def _readings(text: str, setting: Setting) -> ambiguity.Readings:
    alt_codes = ambiguity.ALT_CODE in text and not setting.proven and GS not in text
    found = ambiguity.legal_readings(text, alt_codes=alt_codes)
    return replace(found, found=tuple(r for r in found.found if ours.possible(r, setting.own_prefixes)))


def _telling(text: str, setting: Setting) -> Found:
    return tuple(r for r in _readings(text, setting).found if not r[0].ai.startswith("9"))


def _bare_digits(base: Reading, gtins: tuple[str, ...], setting: Setting) -> Reading:
    """Digits that are a GTIN by their check digit: taken where one is wanted and nothing else fits."""
    telling = _telling(base.text, setting)
    as_gtins: Found = tuple((Element("01", gtin),) for gtin in gtins)
    rivals = tuple(r for r in telling if r[0].ai in _RIVALS)
    if rivals or (setting.gtin_wanted and len(gtins) > 1):
        said = gettext_noop("These digits can be read in several ways. Compare with the label and choose.")
        return answers.asked(base, (*as_gtins, *rivals), setting, words(said))
    if setting.gtin_wanted:
        made = answers.of_parsed(base, Parsed(as_gtins[0], ()), setting, Form.DIGITS)
        return replace(made, certain=(), assumed=(*made.assumed, _BARE_GTIN))
    other = foreign.recognise(base.text, base.symbology)
    if other is not None:
        return replace(base, kind=Kind.FOREIGN, words=(other,))
    said = gettext_noop(
        "These digits may be a GTIN: their check digit is right. Say whether to take them so."
    )
    return answers.offered(base, (*as_gtins, *telling), setting, words(said))


def _plain_symbol(base: Reading, setting: Setting) -> Reading:
    telling = _telling(base.text, setting)
    if not telling:
        return answers.as_text(base)
    return answers.offered(base, telling, setting, _PLAIN)


def _like_gs1(text: str) -> bool:
    """An element string by its look, when no symbology identifier says so."""
    text = text.strip(GS)
    if not gs1.parse(text).stopped or GS in text or text[:4] in _TELLING_KEYS:
        return True
    return len(text) >= 16 and is_digits(text[:16]) and text[:2] in _TELLING_STARTS


# Element strings, and separators that were lost


def _element_string(base: Reading, setting: Setting) -> Reading:
    parsed = gs1.parse(base.text)
    if not parsed.stopped and (setting.proven or GS in base.text.strip(GS)):
        return answers.of_parsed(base, parsed, setting)
    readings = _readings(base.text, setting)
    strict = tuple(dict.fromkeys(parsed.elements))
    others = tuple(r for r in readings.found if r != strict)
    if parsed.stopped and len(others) == 1 and readings.complete:
        return _only_reading(base, strict, others[0], setting)
    if others:
        legal = others if parsed.stopped else (strict, *others)
        return _ask(base, replace(readings, found=legal), setting)
    if not parsed.stopped and not readings.complete:
        return _too_many(base, parsed, setting)
    return _with_hint(answers.of_parsed(base, parsed, setting))


def _ask(base: Reading, readings: ambiguity.Readings, setting: Setting) -> Reading:
    count = len(readings.found)
    message = (
        gettext_noop(
            "Without a separator the code can be read in %(count)s ways. Compare with the label and choose."
        )
        if readings.complete
        else gettext_noop(
            "Without a separator the code can be read in more than %(count)s ways. "
            "Compare with the label and choose, or type it in brackets."
        )
    )
    return answers.asked(base, readings.found, setting, words(message, count=count))


def _too_many(base: Reading, parsed: Parsed, setting: Setting) -> Reading:
    said = words(
        gettext_noop("Without separators the code is too long to tell its parts apart. Type it in brackets.")
    )
    fault = Fault("separator", said)
    made = answers.of_parsed(base, replace(parsed, elements=(), faults=(*parsed.faults, fault)), setting)
    return replace(made, words=(said,))


def _only_reading(
    base: Reading, strict: tuple[Element, ...], found: tuple[Element, ...], setting: Setting
) -> Reading:
    made = answers.of_parsed(base, Parsed(found, gs1.pairing_faults(found)), setting)
    shown = sum(len(e.ai) + len(e.value) for e in found)
    note = _LOST if shown == len(base.text.replace(GS, "")) else _ALT_CODE
    certain = answers.parts_of(tuple(e for e in found if e in strict), setting.today)
    return replace(made, certain=certain, assumed=(*made.assumed, note))


def _with_hint(reading: Reading) -> Reading:
    """The answer, and what to do where one foreign sign in the data looks like a separator's stand-in."""
    if not any(f.code == "characters" for f in reading.broken):
        return reading
    signs = {c for c in reading.text if c not in CSET_82 and c != GS}
    if len(signs) != 1 or gs1.parse(reading.text.replace(sign := signs.pop(), GS)).stopped:
        return reading
    message = gettext_noop(
        "If the scanner sends “%(sign)s” for the separator, enter it in the settings of this workstation."
    )
    return replace(reading, words=(*reading.words, words(message, sign=sign)))
