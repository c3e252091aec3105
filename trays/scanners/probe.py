"""What a scanner did to the test symbol, and which setting puts it right. Pure: no rows, no requests.

The test symbol's text is known, so whatever arrives tells what was lost, added or changed on the way. The
browser tells what it alone can know: the keys by their place, CapsLock, the last key, the longest pause.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum

from django.utils.translation import gettext as _

from trays.identifiers import gs1, wedge
from trays.identifiers.gs1 import GS
from trays.scanners import keys

# A number that is on no shelf; letters and signs that move on other keyboards, in both cases.
TEST_GTIN = "09529999999993"
TEST_PAYLOAD = gs1.build([("01", TEST_GTIN), ("10", "yZ-aQ/mW_7"), ("21", "Kk+1:2")])
_FIRST, _SECOND = TEST_PAYLOAD.split(GS)
# A pause between two keys that the page takes for the same scan; longer ones need a setting.
USUAL_GAP_MS = 50
_IDENTIFIER = re.compile(r"\][A-Za-z][0-9A-Za-z]$")
_AS_GS1 = {"]d2": "GS1 DataMatrix", "]C1": "GS1-128"}
_AS_PLAIN = {"]d1": "GS1 DataMatrix", "]C0": "GS1-128"}
# What is no separator of any kind: two parts of the symbol so far apart hold something else.
_MOST_BETWEEN = 8


class Verdict(Enum):
    """How one thing that the scanner does stands."""

    FINE = "fine"
    NOTE = "note"
    CHANGE = "change"


@dataclass(frozen=True, slots=True)
class Told:
    """What the browser told beside the code. ``positions`` are the same keys as on a US keyboard."""

    end: str = ""
    longest_gap_ms: int | None = None
    caps: bool = False
    positions: str = ""
    by_keys: bool = True


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting of the workstation that would put it right, and what it does in words."""

    name: str
    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Line:
    """One thing looked at: what was seen, what to do, and the setting here that does it (or none)."""

    code: str
    verdict: Verdict
    what: str
    step: str = ""
    setting: Setting | None = None


@dataclass(frozen=True, slots=True)
class Heard:
    """The pieces of what came: before the code, between its two elements, after it."""

    before: str
    between: str
    after: str
    caps: bool = False
    layout: bool = False


@dataclass(frozen=True, slots=True)
class Known:
    """What is set here already."""

    separator: str = ""
    sends_separators: bool = False
    prefix: str = ""
    suffix: str = ""
    slower: int = 1
    by_position: bool = False


@dataclass(frozen=True, slots=True)
class Probe:
    """All that was found; ``changes`` is empty when the scanner may stay as it is."""

    lines: tuple[Line, ...] = field(default=())

    @property
    def changes(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.verdict is Verdict.CHANGE)

    @property
    def settings(self) -> tuple[Setting, ...]:
        """What could be set at the workstation."""
        return tuple(line.setting for line in self.lines if line.setting is not None)


def probe(scan: bytes, told: Told, known: Known) -> Probe | None:
    """Compare a scan with the test symbol; None if it is another code, or too little of it came."""
    heard = _heard(_text(scan), told.positions)
    if heard is None:
        return None
    lines = [_separator(heard.between, known), _letters(heard, told, known), _identifier(heard.before)]
    if told.by_keys:
        lines += [*_marks(heard, known), *_end(told, known), *_pace(told, known)]
    return Probe(tuple(lines))


def _text(scan: bytes) -> str:
    try:
        return scan.decode()
    except UnicodeDecodeError:
        return scan.decode("latin-1")


def _heard(text: str, positions: str) -> Heard | None:
    for as_sent, caps, layout in (
        (text, False, False),
        (text.swapcase(), True, False),
        (positions, False, True),
        (positions.swapcase(), True, True),
    ):
        pieces = _pieces(as_sent)
        if pieces is not None:
            before, between, after = (piece.swapcase() if caps else piece for piece in pieces)
            return Heard(before, between, after, caps, layout)
    return None


def _pieces(text: str) -> tuple[str, str, str] | None:
    before, first, rest = text.strip("\r\n\t").partition(_FIRST)
    between, second, after = rest.partition(_SECOND)
    if not first or not second or len(between) > _MOST_BETWEEN:
        return None
    return before, between, after


def _separator(between: str, known: Known) -> Line:
    if between and between in (GS, known.separator, *wedge.TYPED_SEPARATORS):
        words = (
            _("The separator between the elements came as it should, as ASCII 29.")
            if between == GS
            else _("The separator came as %(text)s, which is read as one.") % {"text": between}
        )
        if known.sends_separators:
            return Line("separator-right", Verdict.FINE, words)
        return Line(
            "separator-right",
            Verdict.FINE,
            words,
            setting=Setting(
                "sends_separators",
                "on",
                _(
                    "No other scanner is used here: rely on it, and ask nobody how to read a code without "
                    "separators."
                ),
            ),
        )
    if not between:
        return Line(
            "separator-lost",
            Verdict.CHANGE,
            _("The separator between the elements was lost: lot and serial run into each other."),
            _(
                "In the scanner’s handbook look for “function codes” or “control characters” and let it send "
                "GS (ASCII 29), or a sign such as # in its place. Until then you are asked where a code can "
                "be read in several ways."
            ),
        )
    fits = keys.fits_separator(between)
    return Line(
        "separator-replaced",
        Verdict.CHANGE,
        _("The separator between the elements came as %(text)s.") % {"text": between},
        "" if fits else _("Let the scanner send GS (ASCII 29), or one sign such as #."),
        Setting("separator", between, _("Take it for the separator here.")) if fits else None,
    )


def _letters(heard: Heard, told: Told, known: Known) -> Line:
    if heard.layout and not known.by_position:
        return Line(
            "layout",
            Verdict.CHANGE,
            _("Letters and signs came changed: the scanner speaks another keyboard’s language."),
            _("Set the scanner to the language of this computer’s keyboard. If that cannot be done:"),
            Setting("by_position", "on", _("Take keys by their place here, as on a US keyboard.")),
        )
    if heard.caps:
        return Line(
            "caps-lock",
            Verdict.CHANGE,
            _("Capitals and small letters came the other way round: CapsLock is on."),
            _("Switch CapsLock off, or let the scanner allow for it."),
        )
    if told.caps:
        return Line(
            "caps-lock-allowed-for",
            Verdict.NOTE,
            _("CapsLock is on, and the scanner allows for it."),
            _("Another scanner may not: leave CapsLock off."),
        )
    return Line("letters-right", Verdict.FINE, _("Letters, digits and signs came as printed."))


def _identifier(before: str) -> Line:
    found = _IDENTIFIER.search(before)
    said = found.group() if found else ""
    if said in _AS_GS1:
        words = _("It says what it read: %(code)s, %(name)s.") % {"code": said, "name": _AS_GS1[said]}
        return Line("identifier-right", Verdict.FINE, words)
    if said in _AS_PLAIN:
        return Line(
            "identifier-plain",
            Verdict.CHANGE,
            _("It says %(code)s, as if the symbol were not GS1.") % {"code": said},
            _("Let the scanner tell GS1 symbols from others; its handbook calls it “GS1” or “FNC1”."),
        )
    if said:
        words = _("It says %(code)s, which this symbol is not.") % {"code": said}
        return Line("identifier-other", Verdict.NOTE, words)
    return Line(
        "identifier-none",
        Verdict.NOTE,
        _("It does not say what kind of symbol it read."),
        _(
            "Codes are read all the same. Better: switch on the symbology identifier, which handbooks also "
            "call “AIM identifier”, so that nothing else is taken for GS1."
        ),
    )


def _marks(heard: Heard, known: Known) -> Iterator[Line]:
    before = _IDENTIFIER.sub("", heard.before)
    for name, text, set_here, words in (
        ("prefix", before, known.prefix, _("%(text)s comes before the code.")),
        ("suffix", heard.after, known.suffix, _("%(text)s comes after the code.")),
    ):
        if not text:
            continue
        if text == set_here:
            yield Line(f"{name}-known", Verdict.FINE, words % {"text": text})
            continue
        fits = keys.is_sign(text)
        yield Line(
            f"{name}-kept",
            Verdict.CHANGE,
            words % {"text": text},
            "" if fits else _("Take it off in the scanner: it would be read as part of the code."),
            Setting(name, text, _("Know it here, and leave it out of the code.")) if fits else None,
        )


def _end(told: Told, known: Known) -> Iterator[Line]:
    if told.end in ("Enter", "Tab"):
        yield Line("end-right", Verdict.FINE, _("It ends with %(key)s.") % {"key": told.end})
    elif told.end == keys.NO_SUFFIX and known.suffix != keys.NO_SUFFIX:
        yield Line(
            "end-missing",
            Verdict.CHANGE,
            _("No Enter and no Tab came after the code."),
            _("Let the scanner send Enter at the end. If that cannot be done:"),
            Setting("suffix", keys.NO_SUFFIX, _("Take a pause for the end of a scan here.")),
        )


def _pace(told: Told, known: Known) -> Iterator[Line]:
    gap = told.longest_gap_ms
    if gap is None:
        return
    words = _("The longest pause between two keys was %(gap)s ms.") % {"gap": gap}
    if gap <= USUAL_GAP_MS * known.slower:
        yield Line("pace-right", Verdict.FINE, words)
        return
    needed = -(-gap // USUAL_GAP_MS) + 1
    fits = needed <= keys.SLOWEST
    yield Line(
        "pace-slow",
        Verdict.CHANGE,
        words,
        _("Set the scanner to send its keys faster. If that cannot be done:")
        if fits
        else _("Set the scanner to send its keys faster: so slow it cannot be told from a person."),
        Setting("slower", str(needed), _("Wait longer for each key here.")) if fits else None,
    )
