"""From what a scanner or keyboard sent to the text of the code: bytes, symbology identifier, separators."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from trays.identifiers import keyboards
from trays.identifiers.checkdigits import CSET_82, is_digits
from trays.identifiers.gs1 import GS
from trays.identifiers.told import Note, gettext_noop, shortened, words

# Longer than any symbol holds: not a scan.
MOST_CHARACTERS = 4096

CLAIMS_GS1 = frozenset({"]C1", "]d2", "]Q3", "]J1", "]e0"})
CLAIMS_GTIN = frozenset({"]E0", "]E3", "]E4"})
# The same carriers without GS1 meaning.
CLAIMS_PLAIN = frozenset({"]C0", "]d1", "]Q1", "]J0"})
# How the separator looks once a keyboard wedge has typed it, without regard to case.
TYPED_SEPARATORS = (
    "<GS>", "{GS}", "[GS]", "(GS)", "\u241d", "^]", "\\x1d", "\\u001d", "\\035", "<0x1D>", "<1D>", "[1D]",
    "{1D}", "<029>", "{029}", "[029]", "<FNC1>", "{FNC1}", "[FNC1]", "Alt+0029", "Alt+029", "Alt029",
    "Alt+29", "\u00ba\u2122\u00aa", "]",
)  # fmt: skip
_STAND_INS = re.compile("|".join(re.escape(one) for one in TYPED_SEPARATORS), re.IGNORECASE)
_IDENTIFIER = re.compile(r"\][A-Za-z][0-9A-Za-z]")
_GTIN_LENGTHS = (8, 12, 13, 14, 15, 18)

BLANKS = Note("blanks", words(gettext_noop("Blanks before or after the code were left out.")))
CAPS = Note(keyboards.CAPS_LOCK.code, keyboards.CAPS_LOCK.said)


@dataclass(frozen=True, slots=True)
class Heard:
    """The code's own text. ``symbology`` is the identifier in front of it, such as ``]d2``, or empty.

    ``blank`` is True where a blank stood at the end: HIBC may have one as its check character.
    """

    text: str
    symbology: str
    notes: tuple[Note, ...]
    blank: bool = False


def as_bytes(raw: bytes | str) -> bytes:
    """What was sent, as bytes to keep. Never fails."""
    return raw.encode("utf-8", "surrogatepass") if isinstance(raw, str) else bytes(raw)


def decoded(raw: bytes | str) -> str:
    """What was sent, as text: UTF-8, else each byte the character of its number."""
    if isinstance(raw, str):
        return raw
    try:
        return bytes(raw).decode("utf-8")
    except UnicodeDecodeError:
        return bytes(raw).decode("latin-1")


def hear(raw: bytes | str, separators: str | Iterable[str] | None = ()) -> Heard:
    """Take off line ends, outer blanks and the symbology identifier, and turn stand-ins into ASCII 29.

    ``separators`` are the workstation's own stand-ins: one, or several. A stand-in is only looked for when
    no real separator came, in what may be an element string. Never fails.
    """
    text = _unframed(decoded(raw))
    notes: list[Note] = []
    bare = text.strip(" ")
    if bare != text:
        notes.append(BLANKS)
    if _inverted(bare):
        bare = keyboards.CAPS_LOCK.undone(bare)
        notes.append(CAPS)
    symbology = bare[:3] if _IDENTIFIER.match(bare) else ""
    bare = bare[len(symbology) :]
    if GS not in bare.strip(GS):
        own = [separators] if isinstance(separators, str) else list(separators or ())
        separated, note = _separated(bare, own)
        if symbology in CLAIMS_GS1 or is_digits(separated.lstrip(GS)[:2]):
            bare = separated
            notes += [note] if note else []
    return Heard(bare, symbology, tuple(notes), blank=text.endswith(" "))


def _unframed(text: str) -> str:
    """Without line ends and the STX and ETX that serial scanners put round a code."""
    inner = text.strip("\r\n\t")
    if inner[:1] == "\x02":
        inner = inner[1:]
    if inner[-1:] == "\x03":
        inner = inner[:-1]
    return inner.strip("\r\n\t")


def _inverted(text: str) -> bool:
    """True where the symbology identifier shows that CapsLock turned the letters round."""
    front, data = text[:3], text[3:]
    known = CLAIMS_GS1 | CLAIMS_GTIN | CLAIMS_PLAIN
    if front in ("]e0", "]E0"):
        # DataBar holds AIs, EAN and UPC hold a bare GTIN: the data tells them apart.
        bare_gtin = is_digits(data) and len(data) in _GTIN_LENGTHS
        return bare_gtin if front == "]e0" else not bare_gtin and is_digits(data[:16]) and len(data) >= 16
    return front not in known and front.swapcase() in known


def _separated(text: str, own: list[str]) -> tuple[str, Note | None]:
    for stand_in in own:
        if stand_in and stand_in != GS and stand_in in text:
            return text.replace(stand_in, GS), _doubt(stand_in)
    found = _STAND_INS.search(text)
    if found is None:
        return text, None
    return _STAND_INS.sub(GS, text), _doubt(found[0])


def _doubt(stand_in: str) -> Note | None:
    """A note where the stand-in could be data as well."""
    if any(c not in CSET_82 for c in stand_in):
        return None
    message = gettext_noop("“%(stand_in)s” was taken for the separator, not for data.")
    return Note("separator", words(message, stand_in=shortened(stand_in)))
