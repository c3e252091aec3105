"""Labels of blood, tissue and cells (ISBT 128 of ICCBBA): recognised, kept whole, and told as far as known.

A code is a row of data structures; each starts with ``=`` or ``&`` and one more sign that names it.
Source: ISBT 128 Standard Technical Specification, data structures 001 to 036.
"""

import calendar
import re
from dataclasses import dataclass
from datetime import date, timedelta

from trays.identifiers.checkdigits import is_digits
from trays.identifiers.dates import CodedDate
from trays.identifiers.told import gettext_noop


@dataclass(frozen=True, slots=True)
class Structure:
    """One data structure: a word for it, its title, its data without the two signs in front."""

    key: str
    title: str
    value: str


# Two signs in front: key, title, length of the data.
_KNOWN = {
    "=%": ("blood-group", gettext_noop("blood group"), 4),
    "=<": ("product", gettext_noop("product code"), 8),
    "=>": ("expiry", gettext_noop("expiration date"), 6),
    "&>": ("expiry", gettext_noop("expiration date and time"), 10),
    "=*": ("collected", gettext_noop("collection date"), 6),
    "&*": ("collected", gettext_noop("collection date and time"), 10),
    "=}": ("made", gettext_noop("production date"), 6),
    "&}": ("made", gettext_noop("production date and time"), 10),
    "=)": ("container", gettext_noop("container maker and catalogue number"), 10),
    "&)": ("container-lot", gettext_noop("container lot"), 10),
    "=/": ("device", gettext_noop("processor and product"), 16),
    "=,": ("serial", gettext_noop("division or serial number"), 6),
    "&,1": ("lot", gettext_noop("lot"), 18),
}
# A donation number starts with the facility: a letter or digit stands beside the sign itself.
_DONATION = re.compile(r"=[A-NP-Z1-9][0-9A-Z]{12}[0-9]{2}")
# All others have a sign second; less data than this is no label.
_OTHERS = re.compile(r"[=&][^=&0-9A-Za-z ].{4}")
_NEXT = re.compile(r"[=&](?=[^=&])")


def parse(text: str) -> tuple[Structure, ...]:
    """The data structures of a code, in its order; of one that is not known here the text alone."""
    found: list[Structure] = []
    at = 0
    while at < len(text):
        structure, at = _one(text, at)
        found.append(structure)
    return tuple(found)


def is_label(text: str) -> bool:
    """True for what begins with a data structure, known here or not."""
    return bool(_DONATION.match(text) or _OTHERS.match(text))


def _one(text: str, at: int) -> tuple[Structure, int]:
    donation = _DONATION.match(text, at)
    if donation is not None:
        return Structure("donation", gettext_noop("donation number"), donation[0][1:14]), donation.end()
    for length in (3, 2):
        known = _KNOWN.get(text[at : at + length])
        if known is not None and _fits(text, at + length, known[2]):
            end = at + length + known[2]
            return Structure(known[0], known[1], text[at + length : end]), end
    following = _NEXT.search(text, at + 2)
    end = following.start() if following else len(text)
    return Structure("other", gettext_noop("not read here"), text[at:end]), end


def _fits(text: str, start: int, length: int) -> bool:
    data = text[start : start + length]
    after = text[start + length : start + length + 1]
    return len(data) == length and after in ("", "=", "&") and data.isascii() and data.isalnum()


def read_date(digits: str) -> CodedDate | None:
    """The last three digits of the year and the day in it, or none where that is no date."""
    if len(digits) < 6 or not is_digits(digits):
        return None
    year, number = int(digits[:3]), int(digits[3:6])
    year += 1000 if year >= 900 else 2000
    if not 1 <= number <= 365 + calendar.isleap(year):
        return None
    return CodedDate(date(year, 1, 1) + timedelta(days=number - 1))
