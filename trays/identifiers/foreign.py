"""Codes of other standards, told from GS1 and HIBC by their look: not ours, and said so in one sentence."""

import re

from trays.identifiers.checkdigits import holds_mod10
from trays.identifiers.told import Words, gettext_noop, words

# The header names the scheme; 96 bits or more follow it as hexadecimal digits.
_EPC_TAG = re.compile(r"(?:2[C-F]|3[0-9A-F])(?:[0-9A-F]{2}){11,31}")
_ENVELOPE = re.compile(r"\[\)>(?:\x1e|\x1d|<RS>|\{RS\})?0[0-9]", re.IGNORECASE)
_PPN = re.compile(r"9N[0-9]{2}[0-9A-Z]{2,18}[0-9]{2}")
_PZN = re.compile(r"-[0-9]{8}")
_ISBN = re.compile(r"97[89][0-9]{10}(?:[0-9]{2}|[0-9]{5})?")
_ISSN = re.compile(r"977[0-9]{10}(?:[0-9]{2}|[0-9]{5})?")

_SCHEMES = (
    (re.compile(r"urn:epc:", re.I), gettext_noop("the address of an RFID tag (EPC)")),
    (re.compile(r"https?://|ftp://|www\.", re.I), gettext_noop("a web address without a GS1 key")),
    (re.compile(r"BEGIN:VCARD|MECARD:|BIZCARD:", re.I), gettext_noop("a visiting card")),
    (re.compile(r"BEGIN:VCALENDAR|BEGIN:VEVENT", re.I), gettext_noop("a calendar entry")),
    (re.compile(r"WIFI:", re.I), gettext_noop("the key to a wireless network")),
    (re.compile(r"(?:mailto|matmsg|tel|sms|smsto|mms|geo|facetime):", re.I),
     gettext_noop("a telephone number, message or place on a map")),
    (re.compile(r"urn:", re.I), gettext_noop("a name of another registry (URN)")),
    (re.compile(r"otpauth:", re.I), gettext_noop("a key for signing in")),
)  # fmt: skip
_NAMED = gettext_noop("This is %(what)s, not a code of an item, set or place here.")


def recognise(text: str, symbology: str = "") -> Words | None:
    """What a code of another standard is, in words, or none for one that is not known as such."""
    what = _what(text, symbology)
    return words(_NAMED, what=words(what)) if what else None


def _what(text: str, symbology: str) -> str:
    if _ENVELOPE.match(text):
        if "9N" in text[:12]:
            return gettext_noop("a pharmacy product number (PPN)")
        return gettext_noop("a message with data identifiers (ISO/IEC 15434)")
    for start, what in _SCHEMES:
        if start.match(text):
            return what
    if _PPN.fullmatch(text) and _ppn_holds(text[2:]):
        return gettext_noop("a pharmacy product number (PPN)")
    if _PZN.fullmatch(text) and _pzn_holds(text[1:]):
        return gettext_noop("a pharmacy central number (PZN)")
    if _EPC_TAG.fullmatch(text.upper()) and not text.isdigit():
        return gettext_noop("the contents of an RFID tag (EPC)")
    return _publication(text) if not symbology or symbology.startswith("]E") else ""


def _pzn_holds(digits: str) -> bool:
    """PZN of eight digits: weights 1 to 7, modulo 11."""
    return sum(int(d) * w for d, w in zip(digits[:7], range(1, 8), strict=True)) % 11 == int(digits[7])


def _ppn_holds(text: str) -> bool:
    """The last two digits: the others' ASCII numbers with weights 2, 3, 4 ... modulo 97."""
    total = sum(ord(c) * weight for weight, c in enumerate(text[:-2], start=2))
    return total % 97 == int(text[-2:])


def _publication(text: str) -> str:
    if not holds_mod10(text[:13]):
        return ""
    if _ISBN.fullmatch(text):
        return gettext_noop("the number of a book (ISBN)")
    return gettext_noop("the number of a periodical (ISSN)") if _ISSN.fullmatch(text) else ""
