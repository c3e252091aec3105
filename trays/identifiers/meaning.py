"""What a scan claims to be. No input raises: whatever cannot be read ends in a plain sentence.

Each answer says what was certain, what was assumed and which rules were broken. Where two readings are
legal nothing is chosen: the ways to read it are handed over for a person to pick.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from trays.identifiers import answers, foreign, link, messages, twisted, wedge
from trays.identifiers.agencies import of_hibc, read_hibc, read_tissue
from trays.identifiers.answers import Setting
from trays.identifiers.gs1 import GS
from trays.identifiers.results import Form, Kind, Part, Reading, folded
from trays.identifiers.told import Note, gettext_noop, words

__all__ = ["Form", "Kind", "Note", "Part", "Reading", "choose", "folded", "of_hibc", "read"]

_TOO_LONG = words(gettext_noop("This is too long to be a code. Scan one code at a time."))
_NOTHING = words(gettext_noop("Nothing was scanned or typed."))
_CONTROLS = words(gettext_noop("The code holds control characters that no label has. Scan it again."))


def read(
    raw: bytes | str,
    *,
    today: date,
    separators: str | Iterable[str] | None = (),
    proven: bool = False,
    own_prefixes: tuple[str, ...] = (),
    gtin_wanted: bool = False,
) -> Reading:
    """Say what a scan claims to be.

    Parameters
    ----------
    raw
        What the scanner or keyboard sent. Bytes are read as UTF-8, else as Latin-1.
    today
        Settles the century of two-digit years (49 years back to 50 ahead).
    separators
        Stand-ins that this workstation's scanner sends for ASCII 29: one, several, or none.
    proven
        Its scanner was seen to send separators, so none was lost on the way.
    own_prefixes
        Company prefixes under which only this program makes labels; readings that it never makes of them
        are left out.
    gtin_wanted
        Where a GTIN is asked for, bare digits of EAN, UPC and ITF-14 are taken for one. Elsewhere that is
        only offered.

    Returns
    -------
    Reading
        Never raises: ``sentence`` says what was read or why not.
    """
    setting = Setting(today, proven, tuple(own_prefixes), gtin_wanted)
    base = Reading(Kind.UNREADABLE, wedge.as_bytes(raw), "", "")
    if len(raw) > wedge.MOST_CHARACTERS:
        return answers.refused(base, "length", _TOO_LONG)
    text = wedge.decoded(raw)
    own = (separators,) if isinstance(separators, str) else tuple(separators or ())
    reading = _read(base, text, own, setting)
    return twisted.untwisted(reading, text, lambda turned: _read(base, turned, own, setting))


def _read(base: Reading, sent: str, separators: tuple[str, ...], setting: Setting) -> Reading:
    heard = wedge.hear(sent, separators)
    base = replace(base, text=heard.text, symbology=heard.symbology, assumed=heard.notes)
    text = heard.text
    if not text.strip(GS + " "):
        return replace(base, kind=Kind.EMPTY, words=(_NOTHING,))
    if not text.replace(GS, "").isprintable():
        other = foreign.recognise(text, heard.symbology)
        if other is not None:
            return replace(base, kind=Kind.FOREIGN, words=(other,))
        return answers.refused(base, "characters", _CONTROLS)
    if heard.symbology in wedge.CLAIMS_GTIN:
        return messages.retail(base, setting)
    if heard.symbology in wedge.CLAIMS_GS1:
        return messages.claimed(base, setting)
    return _by_first_character(base, setting, blank=heard.blank)


def _by_first_character(base: Reading, setting: Setting, *, blank: bool) -> Reading:
    """Families of codes that do not claim GS1 by their symbol differ in how they begin."""
    text = base.text
    if text[0] == "+" or text[:2] == "*+":
        return read_hibc(base, setting.today, blank=blank)
    if text[0] in "=&":
        return read_tissue(base)
    if text[0] == "(":
        return messages.bracketed(base, setting)
    linked = link.parse(text)
    if linked is not None:
        parsed, notes = linked
        base = replace(base, assumed=base.assumed + notes)
        return answers.of_parsed(base, parsed, setting, Form.LINK)
    return messages.unclaimed(base, setting)


def choose(reading: Reading, choice: int, *, today: date) -> Reading:
    """The reading that a person picked from ``choices``. Raises IndexError for one that is not there."""
    return messages.chosen(reading, choice, Setting(today))
