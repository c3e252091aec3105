"""GS1 Digital Link addresses: a key, its qualifiers and other AIs in an ordinary web address.

Nothing is fetched: what the address says is all there is. Any domain may stand in front, and any path
before the key. Source: GS1 Digital Link standard, URI syntax.
"""

import re
from itertools import pairwise
from urllib.parse import SplitResult, unquote, urlsplit

from trays.identifiers import gs1, table
from trays.identifiers.checkdigits import is_digits
from trays.identifiers.gs1 import Element, Parsed
from trays.identifiers.told import Fault, Note, gettext_noop, shortened, words

_ADDRESS = re.compile(r"https?://", re.IGNORECASE)
_WITHOUT_SCHEME = re.compile(r"(?:[a-z0-9-]+\.)+[a-z]{2,}/", re.IGNORECASE)
_BROKEN_PERCENT = re.compile(r"%(?![0-9A-Fa-f]{2})")

# Words that the first editions of the standard allowed in place of AIs.
_WORDS = {
    "sscc": "00", "gtin": "01", "lot": "10", "exp": "17", "ser": "21", "cpv": "22", "gdti": "253",
    "glnx": "254", "gcn": "255", "ginc": "401", "gsin": "402", "gln": "414", "payto": "415",
    "partygln": "417", "grai": "8003", "giai": "8004", "itip": "8006", "cpid": "8010", "cpsn": "8011",
    "gmn": "8013", "gsrnp": "8017", "gsrn": "8018", "srin": "8019", "refno": "8020",
}  # fmt: skip

SHORT_GTIN = Note("short-gtin", words(gettext_noop("The GTIN was filled with zeros to 14 digits.")))


def parse(address: str) -> tuple[Parsed, tuple[Note, ...]] | None:
    """What a Digital Link address says and what was taken for granted, or none for any other text."""
    split = _split(address)
    if split is None:
        return None
    path = split.path.split("/")[1:]
    if path and path[-1] == "":
        path.pop()
    begin = _key_place(path)
    if begin is None:
        return None
    reader = _Reader()
    for word, data in zip(path[begin::2], path[begin + 1 :: 2], strict=True):
        reader.take(_ai(word), data)
    reader.judge_order()
    for word, data in _query(split.query):
        reader.take_attribute(word, data)
    return reader.parsed(), tuple(reader.notes)


def is_address(text: str) -> bool:
    """True for a web address, with its scheme or as people type it."""
    return bool(_ADDRESS.match(text) or _WITHOUT_SCHEME.match(text))


def _split(address: str) -> SplitResult | None:
    if not is_address(address):
        return None
    try:
        split = urlsplit(address if _ADDRESS.match(address) else "https://" + address)
    except ValueError:
        return None
    return split if split.netloc else None


def _ai(word: str) -> str:
    return word if is_digits(word) else _WORDS.get(word.lower(), word)


def _key_place(path: list[str]) -> int | None:
    """Where the key stands: the last AI of the path that may be one, with nothing but AIs after it."""
    for place in range(len(path) - 2, -1, -2):
        definition = table.definitions().get(_ai(path[place]))
        if definition is None:
            return None
        if definition.link_key is not None and _may_be(definition, path[place + 1]):
            return place
    return None


def _may_be(definition: table.Definition, data: str) -> bool:
    """True where the data has the look of the key: an address may hold such digits by accident."""
    value = _padded(definition.ai, unquote(data))
    fault = gs1.element_fault(Element(definition.ai, value))
    return fault is None or fault.code not in ("length", "key-prefix") and "csum" in definition.checks


def _padded(ai: str, value: str) -> str:
    return value.rjust(14, "0") if ai == "01" and len(value) in (8, 12, 13) else value


def _query(query: str) -> list[tuple[str, str]]:
    pairs = (part.partition("=") for part in re.split("[&;]", query) if part)
    return [(unquote(name), data.replace("+", "%20")) for name, _, data in pairs]


class _Reader:
    """Gathers the elements of an address, in its order, with what is wrong with them."""

    def __init__(self) -> None:
        self.elements: list[Element] = []
        self.faults: list[Fault] = []
        self.notes: list[Note] = []

    def take(self, ai: str, data: str) -> None:
        """One AI with its percent-coded data."""
        if _BROKEN_PERCENT.search(data):
            message = gettext_noop("The address has a broken percent code in “%(data)s”.")
            self.faults.append(Fault("percent", words(message, data=shortened(data)), ai))
        value = unquote(data)
        padded = _padded(ai, value)
        if padded != value:
            self.notes.append(SHORT_GTIN)
        element = Element(ai, padded)
        self.elements.append(element)
        fault = gs1.element_fault(element)
        if fault is not None:
            self.faults.append(fault)

    def take_attribute(self, word: str, data: str) -> None:
        """One entry of the query; words that are no AI belong to the web site and are passed over."""
        ai = _ai(word)
        if not is_digits(ai):
            return
        definition = table.definitions().get(ai)
        if definition is None:
            said = words(gettext_noop("(%(ai)s) is not a GS1 identifier known here."), ai=shortened(ai))
            self.faults.append(Fault("unknown-ai", said, ai))
            return
        if not definition.attribute:
            message = gettext_noop("(%(ai)s) may not stand in the query of the address.")
            self.faults.append(Fault("link", words(message, ai=ai), ai))
        self.take(ai, data)

    def judge_order(self) -> None:
        """Qualifiers must be among those of the key, in its order, and of one set of them."""
        key, *others = self.elements
        orders = table.definitions()[key.ai].link_key or ()
        given = [e.ai for e in others]
        if given and not any(_in_order(given, order) for order in orders):
            named = ", ".join(f"({ai})" for ai in given)
            message = gettext_noop("%(given)s may not follow (%(key)s) in an address, or not in this order.")
            self.faults.append(Fault("link", words(message, given=named, key=key.ai), given[0]))

    def parsed(self) -> Parsed:
        return Parsed(tuple(self.elements), (*self.faults, *gs1.pairing_faults(self.elements)))


def _in_order(given: list[str], order: tuple[str, ...]) -> bool:
    if not set(given) <= set(order):
        return False
    return all(order.index(a) < order.index(b) for a, b in pairwise(given))
