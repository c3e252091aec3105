"""What a scanner may put before, after and into a code, as settings: which of it is allowed.

Pure: no rows, no requests.
"""

import re

# F8 already stands for the separator on many scanners, F5 loads the page anew.
_KEY_NAMES = re.compile(r"F(?:[2-46-79]|1[0-2])")
NO_SUFFIX = "none"
MOST_SEPARATOR = 5
# How many times the usual time may pass between two keys; beyond that it might be a person.
SLOWEST = 10
# What a code is made of most of the time can be no sign between two of its parts.
_IN_CODES = re.compile(r"[A-Za-z0-9 +()\]]")


def is_sign(text: str) -> bool:
    """One printable sign that is no letter, digit, blank or bracket."""
    return len(text) == 1 and text.isascii() and text.isprintable() and not _IN_CODES.match(text)


def fits_prefix(text: str) -> bool:
    """Nothing, one sign, or a function key by its name."""
    return not text or is_sign(text) or _KEY_NAMES.fullmatch(text) is not None


def fits_suffix(text: str) -> bool:
    """Nothing (Enter or Tab), "none" (a pause), one sign, or a function key by its name."""
    return text == NO_SUFFIX or fits_prefix(text)


def fits_separator(text: str) -> bool:
    """Nothing, or up to five printable signs of which the first is no letter, digit or blank."""
    fine = text.isascii() and text.isprintable() and len(text) <= MOST_SEPARATOR
    return not text or (fine and not _IN_CODES.match(text))


def without_marks(scan: bytes, *, prefix: str, suffix: str) -> bytes:
    """The scan without the printable signs that this scanner puts round it."""
    if is_sign(prefix):
        scan = scan.removeprefix(prefix.encode())
    if is_sign(suffix):
        scan = scan.removesuffix(suffix.encode())
    return scan
