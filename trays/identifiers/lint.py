"""Checks of the data of one AI, component by component, by the names that the GS1 dictionary gives them.

Not checked, for want of the lists: company prefixes, countries, currencies, packaging and media types,
coupons. Such data is taken as it stands.
"""

import re
from collections.abc import Callable
from datetime import date

from trays.identifiers import dates
from trays.identifiers.checkdigits import CSET_82, check_pair, holds_mod10, is_digits
from trays.identifiers.table import Component, Definition

_CSET_82 = frozenset(CSET_82)
CSET_39 = frozenset("#-/0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ")
_SETS: dict[str, Callable[[str], bool]] = {
    "N": is_digits,
    "X": lambda text: all(c in _CSET_82 for c in text),
    "Y": lambda text: all(c in CSET_39 for c in text),
    "Z": lambda text: re.fullmatch(r"[A-Za-z0-9_-]+={0,2}", text) is not None,
}
_SET_NAMES = {
    "N": "digits",
    "X": "letters, digits and marks of the GS1 set",
    "Y": "capitals, digits and # - /",
    "Z": "letters, digits, - and _",
}

# (code, sentence without its subject) of what is wrong, or none.
Finding = tuple[str, str] | None


def _csum(text: str) -> Finding:
    return None if holds_mod10(text) else ("check-digit", "has a wrong check digit")


def _csumalpha(text: str) -> Finding:
    right = len(text) > 2 and check_pair(text[:-2]) == text[-2:]
    return None if right else ("check-digit", "has wrong check characters")


def _is_date(text: str, *, day_zero: bool) -> Finding:
    # Only leap days depend on the century; the window is taken from the middle of this one.
    try:
        dates.read_yymmdd(text, date(2049, 1, 1), day_zero=day_zero)
    except dates.BadDate:
        return ("date", "is no date")
    return None


def _yyyymmdd(text: str) -> Finding:
    try:
        dates.read_yyyymmdd(text)
    except dates.BadDate:
        return ("date", "is no date")
    return None


def _below(*limits: int) -> Callable[[str], Finding]:
    def check(text: str) -> Finding:
        pairs = [int(text[i : i + 2]) for i in range(0, len(text), 2)]
        fine = all(pair < limit for pair, limit in zip(pairs, limits, strict=True))
        return None if fine else ("time", "is no time of day")

    return check


def _piece(text: str) -> Finding:
    piece, total = text[:2], text[2:]
    return None if "00" < piece <= total else ("piece", "is no piece of a total")


def _pattern(expression: str, sentence: str) -> Callable[[str], Finding]:
    found = re.compile(expression)
    return lambda text: None if found.fullmatch(text) else ("content", sentence)


_CHECKS: dict[str, Callable[[str], Finding]] = {
    "csum": _csum,
    "csumalpha": _csumalpha,
    "yymmd0": lambda text: _is_date(text, day_zero=True),
    "yymmdd": lambda text: _is_date(text, day_zero=False),
    "yyyymmdd": _yyyymmdd,
    "hhmi": _below(24, 60),
    "hh": _below(24),
    "mi": _below(60),
    "ss": _below(60),
    "pieceoftotal": _piece,
    "zero": _pattern("0", "does not start with the filler 0"),
    "nonzero": _pattern("0*[1-9][0-9]*", "is nought"),
    "yesno": _pattern("[01]", "is neither 0 nor 1"),
    "winding": _pattern("[019]", "is no direction of winding"),
    "hyphen": _pattern("-+", "may end in a hyphen only"),
    "hasnondigit": _pattern(".*[^0-9].*", "has digits only"),
    "nozeroprefix": _pattern("0|[1-9][0-9]*", "starts with a nought"),
    "pcenc": _pattern("([^%]|%[0-9A-Fa-f]{2})*", "has a broken percent code"),
    "iso5218": _pattern("[0129]", "is none of the codes 0, 1, 2, 9"),
}


def _component(component: Component, text: str) -> Finding:
    if not _SETS[component.charset](text):
        return ("characters", f"may hold {_SET_NAMES[component.charset]} only")
    for name in component.checks:
        check = _CHECKS.get(name)
        found = check(text) if check else None
        if found is not None:
            return found
    return None


def _one_length(least: int, most: int) -> str:
    return f"has {most} characters" if least == most else f"has {least} to {most} characters"


def examine(definition: Definition, value: str) -> Finding:
    """The first thing wrong with the data of an AI, as (code, "has a wrong check digit"), or none."""
    if not definition.least <= len(value) <= definition.most:
        wanted = _one_length(definition.least, definition.most)
        return ("length", f"{wanted}, not {len(value)}")
    rest = value
    for component in definition.components:
        if not rest and component.optional:
            break
        piece, rest = rest[: component.most], rest[component.most :]
        if len(piece) < component.least:
            return ("length", "is too short for its parts")
        found = _component(component, piece)
        if found is not None:
            return found
    return None
