"""Checks of the data of one AI, component by component, by the names that the GS1 dictionary gives them.

``NOT_CHECKED`` are those whose lists are not kept here: such data is taken as it stands, and said so.
"""

import re
from collections.abc import Callable
from datetime import date

from trays.identifiers import dates
from trays.identifiers.checkdigits import CSET_82, check_pair, holds_mod10, is_digits
from trays.identifiers.codelists import COUNTRIES, COUNTRY_LETTERS, CURRENCIES
from trays.identifiers.table import Component, Definition
from trays.identifiers.told import Words, gettext_noop, words

CSET_39 = "#-/0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
CSET_64 = "-0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
NOT_CHECKED = frozenset({"couponcode", "couponposoffer", "packagetype"})

_SETS: dict[str, Callable[[str], object]] = {
    "N": is_digits,
    "X": re.compile(f"[{re.escape(CSET_82)}]*").fullmatch,
    "Y": re.compile(f"[{re.escape(CSET_39)}]*").fullmatch,
    "Z": re.compile(f"[{re.escape(CSET_64)}]+={{0,2}}").fullmatch,
}
_SET_FAULTS = {
    "N": words(gettext_noop("may hold digits only")),
    "X": words(gettext_noop("may hold letters, digits and marks of the GS1 set only")),
    "Y": words(gettext_noop("may hold capitals, digits and # - / only")),
    "Z": words(gettext_noop("may hold letters, digits, - and _ only")),
}

# (code, sentence without its subject) of what is wrong, or none.
Finding = tuple[str, Words] | None
Check = Callable[[str], Finding]


def _unless(fine: Callable[[str], object], code: str, message: str) -> Check:
    fault = (code, words(message))
    return lambda text: None if fine(text) else fault


def _pair_holds(text: str) -> bool:
    return len(text) > 2 and check_pair(text[:-2]) == text[-2:]


def _date(read: Callable[[str], object]) -> Check:
    def fine(text: str) -> bool:
        try:
            read(text)
        except dates.BadDate:
            return False
        return True

    return _unless(fine, "date", gettext_noop("is no date"))


# Only leap days depend on the century; the window is taken from the middle of this one.
_MIDDLE = date(2049, 1, 1)


def _below(*limits: int) -> Check:
    def fine(text: str) -> bool:
        pairs = [int(text[i : i + 2]) for i in range(0, len(text), 2)]
        return all(pair < limit for pair, limit in zip(pairs, limits, strict=True))

    return _unless(fine, "time", gettext_noop("is no time of day"))


def _at_most(limit: int, message: str) -> Check:
    return _unless(lambda text: int(text) <= limit, "content", message)


def _in(codes: frozenset[str], code: str, message: str) -> Check:
    return _unless(codes.__contains__, code, message)


def _pattern(expression: str, message: str, code: str = "content") -> Check:
    return _unless(re.compile(expression).fullmatch, code, message)


def _piece_of_total(text: str) -> bool:
    piece, total = text[:2], text[2:]
    return "00" < piece <= total


def _position_in_sequence(text: str) -> bool:
    position, slash, total = text.partition("/")
    return bool(slash) and is_digits(position) and is_digits(total) and 0 < int(position) <= int(total)


def _iban_holds(text: str) -> bool:
    """ISO 13616: country, two check digits, account; the number made of it leaves 1 modulo 97."""
    if re.fullmatch("[A-Z]{2}[0-9]{2}[0-9A-Z]{1,30}", text) is None or text[:2] not in COUNTRY_LETTERS:
        return False
    return int("".join(str(int(c, 36)) for c in text[4:] + text[:4])) % 97 == 1


_NO_COUNTRY = gettext_noop("names no country of ISO 3166")

_CHECKS: dict[str, Check] = {
    "csum": _unless(holds_mod10, "check-digit", gettext_noop("has a wrong check digit")),
    "csumalpha": _unless(_pair_holds, "check-digit", gettext_noop("has wrong check characters")),
    "gcppos1": _pattern(
        "[0-9]{4}.*", gettext_noop("does not start with the digits of a company prefix"), "key-prefix"
    ),
    "gcppos2": _pattern(
        ".[0-9]{4}.*", gettext_noop("does not hold the digits of a company prefix"), "key-prefix"
    ),
    "yymmd0": _date(lambda text: dates.read_yymmdd(text, _MIDDLE)),
    "yymmdd": _date(lambda text: dates.read_yymmdd(text, _MIDDLE, day_zero=False)),
    "yyyymmdd": _date(dates.read_yyyymmdd),
    "hhmi": _below(24, 60),
    "hh": _below(24),
    "mi": _below(60),
    "ss": _below(60),
    "pieceoftotal": _unless(_piece_of_total, "piece", gettext_noop("is no piece of a total")),
    "posinseqslash": _unless(
        _position_in_sequence, "content", gettext_noop("is no place in a row, such as 1/2")
    ),
    "zero": _pattern("0+", gettext_noop("does not start with the filler 0")),
    "nonzero": _pattern("0*[1-9][0-9]*", gettext_noop("is nought")),
    "nozeroprefix": _pattern("0|[1-9][0-9]*", gettext_noop("starts with a nought")),
    "yesno": _pattern("[01]", gettext_noop("is neither 0 nor 1")),
    "winding": _pattern("[019]", gettext_noop("is no direction of winding")),
    "hyphen": _pattern("-+", gettext_noop("may end in a hyphen only")),
    "hasnondigit": _pattern(".*[^0-9].*", gettext_noop("has digits only")),
    "importeridx": _pattern(f"[{re.escape(CSET_64)}]", gettext_noop("has no importer index")),
    "mediatype": _pattern("0[1-9]|10|[89][0-9]", gettext_noop("is no type of medium")),
    "pcenc": _pattern("([^%]|%[0-9A-Fa-f]{2})*", gettext_noop("has a broken percent code"), "percent"),
    "iso5218": _pattern("[0129]", gettext_noop("is none of the codes 0, 1, 2, 9")),
    "iso3166": _in(COUNTRIES, "country", _NO_COUNTRY),
    "iso3166999": _in(COUNTRIES | {"999"}, "country", _NO_COUNTRY),
    "iso3166alpha2": _in(COUNTRY_LETTERS, "country", _NO_COUNTRY),
    "iso4217": _in(CURRENCIES, "currency", gettext_noop("names no currency of ISO 4217")),
    "iban": _unless(_iban_holds, "check-digit", gettext_noop("is no account number with right check digits")),
    "latitude": _at_most(1_800_000_000, gettext_noop("is beyond the poles")),
    "longitude": _at_most(3_600_000_000, gettext_noop("goes more than once round the earth")),
}


def known_checks() -> frozenset[str]:
    """The names of all checks that are done here."""
    return frozenset(_CHECKS)


def _component(component: Component, text: str) -> Finding:
    if not _SETS[component.charset](text):
        return ("characters", _SET_FAULTS[component.charset])
    for name in component.checks:
        check = _CHECKS.get(name)
        found = check(text) if check else None
        if found is not None:
            return found
    return None


def _bad_length(least: int, most: int, length: int) -> Finding:
    if least == most:
        return (
            "length",
            words(gettext_noop("has %(most)s characters, not %(length)s"), most=most, length=length),
        )
    message = gettext_noop("has %(least)s to %(most)s characters, not %(length)s")
    return ("length", words(message, least=least, most=most, length=length))


def examine(definition: Definition, value: str) -> Finding:
    """The first thing wrong with the data of an AI, as (code, "has a wrong check digit"), or none."""
    if not definition.least <= len(value) <= definition.most:
        return _bad_length(definition.least, definition.most, len(value))
    rest = value
    for component in definition.components:
        if not rest and component.optional:
            break
        piece, rest = rest[: component.most], rest[component.most :]
        if len(piece) < component.least:
            return ("length", words(gettext_noop("is too short for its parts")))
        found = _component(component, piece)
        if found is not None:
            return found
    return None
