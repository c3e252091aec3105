"""From what a scanner or keyboard sent to the text of the code: bytes, symbology identifier, separators."""

from dataclasses import dataclass

from trays.identifiers.checkdigits import CSET_82
from trays.identifiers.gs1 import GS

# Longer than any symbol holds: not a scan.
MOST_CHARACTERS = 4096

CLAIMS_GS1 = frozenset({"]C1", "]d2", "]Q3", "]J1", "]e0"})
CLAIMS_GTIN = frozenset({"]E0", "]E4"})
# The same carriers without GS1 meaning.
CLAIMS_PLAIN = frozenset({"]C0", "]d1", "]Q1"})
# How the separator looks once a keyboard wedge has typed it; the first two are what it should be.
TYPED_SEPARATORS = ("<GS>", "{GS}", "␝", "^]", "Alt+029")


@dataclass(frozen=True)
class Note:
    """Something that was taken for granted while reading, with its code and one sentence."""

    code: str
    sentence: str


@dataclass(frozen=True)
class Heard:
    """The code's own text. ``symbology`` is the identifier in front of it, such as ``]d2``, or empty."""

    text: str
    symbology: str
    notes: tuple[Note, ...]


def as_bytes(raw: bytes | str) -> bytes:
    """What was sent, as bytes to keep. Never fails."""
    return raw if isinstance(raw, bytes) else raw.encode("utf-8", "surrogatepass")


def _decoded(raw: bytes | str) -> str:
    if isinstance(raw, str):
        return raw
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def hear(raw: bytes | str, separators: tuple[str, ...] = ()) -> Heard:
    """Take off line ends, outer blanks and the symbology identifier, and turn stand-ins into ASCII 29.

    ``separators`` are the workstation's own stand-ins. A stand-in is only looked for when no real
    separator came. Never fails.
    """
    text = _decoded(raw).strip("\r\n\t")
    notes: list[Note] = []
    bare = text.strip(" ")
    if bare != text:
        notes.append(Note("blanks", "Blanks before or after the code were left out."))
    symbology = bare[:3] if bare[:1] == "]" and len(bare) > 2 and bare[1:3].isalnum() else ""
    bare = bare[len(symbology) :]
    if GS not in bare:
        for stand_in in (*separators, *TYPED_SEPARATORS):
            if stand_in and stand_in in bare:
                if all(c in CSET_82 for c in stand_in):
                    notes.append(
                        Note("separator", f"“{stand_in}” was taken for the separator, not for data.")
                    )
                bare = bare.replace(stand_in, GS)
    return Heard(bare, symbology, tuple(notes))
