"""GS1 element strings: parse AI by AI, build, and say what breaks a rule.

An element string on the wire is AI + data, one after the other, with the separator (ASCII 29) after
every element that has no pre-defined length unless it is the last. Source: GS1 General Specifications
and the GS1 Barcode Syntax Dictionary (``ai_table.json``). Text in brackets is in ``brackets.py``.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from trays.identifiers import lint, table
from trays.identifiers.told import Fault, gettext_noop, shortened, words

__all__ = [
    "GS",
    "Element",
    "Fault",
    "Malformed",
    "Parsed",
    "build",
    "element_fault",
    "hri",
    "pairing_faults",
    "parse",
    "to_brackets",
]

GS = "\x1d"


@dataclass(frozen=True, slots=True)
class Element:
    """One AI with its data, exactly as coded: case and leading zeros count."""

    ai: str
    value: str

    @property
    def title(self) -> str:
        """GS1's data title, empty for an AI that is not in the table."""
        found = table.definitions().get(self.ai)
        return found.title if found else ""


@dataclass(frozen=True, slots=True)
class Parsed:
    """What an element string holds. ``unread`` is the text that no known AI could take."""

    elements: tuple[Element, ...]
    faults: tuple[Fault, ...]
    unread: str = ""

    def value(self, ai: str) -> str | None:
        """Data of an AI, or none."""
        return next((e.value for e in self.elements if e.ai == ai), None)

    @property
    def stopped(self) -> bool:
        """True when a broken rule makes the code unreliable."""
        return any(f.stops for f in self.faults)


class Malformed(ValueError):
    """An element string that may not be built, with the fault."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(fault.sentence)
        self.fault = fault


# Faults of one element and of several together


def element_fault(element: Element) -> Fault | None:
    """What is wrong with one element by itself, or none."""
    definition = table.definitions().get(element.ai)
    if definition is None:
        said = words(gettext_noop("(%(ai)s) is not a GS1 identifier known here."), ai=shortened(element.ai))
        return Fault("unknown-ai", said, element.ai)
    found = lint.examine(definition, element.value)
    if found is None:
        return None
    code, says = found
    name = f"({element.ai}) {definition.title}".strip()
    return Fault(code, words("%(name)s %(says)s.", name=name, says=says), element.ai)


def pairing_faults(elements: Iterable[Element]) -> tuple[Fault, ...]:
    """Rules about AIs that must or must not stand together: warnings, as other codes on the item count too.

    Two different values of one AI stop: nobody can say which one holds.
    """
    known = table.definitions()
    values: dict[str, str] = {}
    twice: dict[str, Fault] = {}
    for element in elements:
        if values.setdefault(element.ai, element.value) != element.value:
            twice[element.ai] = _twice(element.ai)
    ais = frozenset(ai for ai in values if ai in known)
    faults = [twice[ai] for ai in sorted(twice)]
    for ai in values:
        if ai in ais:
            faults += _missing_partners(known[ai], ais)
            faults += [_forbidden(ai, other) for other in sorted(known[ai].excluded & ais)]
    return tuple(faults)


def _twice(ai: str) -> Fault:
    return Fault("twice", words(gettext_noop("(%(ai)s) stands there twice with different data."), ai=ai), ai)


def _forbidden(ai: str, other: str) -> Fault:
    said = words(gettext_noop("(%(ai)s) may not stand beside (%(other)s)."), ai=ai, other=other)
    return Fault("pairing", said, ai, stops=False)


def _missing_partners(definition: table.Definition, ais: frozenset[str]) -> list[Fault]:
    faults = []
    for groups in definition.needs:
        if not any(all(not ais.isdisjoint(table.expanded(p)) for p in group) for group in groups):
            wanted = ", ".join("+".join(f"({p})" for p in group) for group in groups)
            message = (
                gettext_noop("(%(ai)s) needs one of %(wanted)s beside it.")
                if len(groups) > 1
                else gettext_noop("(%(ai)s) needs %(wanted)s beside it.")
            )
            said = words(message, ai=definition.ai, wanted=wanted)
            faults.append(Fault("pairing", said, definition.ai, stops=False))
    return faults


# Taking apart


def parse(text: str) -> Parsed:
    """Take an element string apart, strictly: no guess is made about separators that are not there.

    A separator after a pre-defined length, doubled, in front or at the end is tolerated. An AI that is not
    known is skipped where its length is pre-defined or a separator follows; what was read stays.
    """
    elements: list[Element] = []
    faults: list[Fault] = []
    unread: list[str] = []
    at, length = 0, len(text)
    while at < length:
        if text[at] == GS:
            at += 1
            continue
        definition = table.find(text, at)
        end = _end(text, at)
        if definition is None:
            unread.append(text[at:end])
            faults.append(_unknown(text[at:end]))
        else:
            element = Element(definition.ai, text[at + len(definition.ai) : end])
            elements.append(element)
            fault = element_fault(element)
            if fault is not None:
                faults.append(fault)
        at = end
    faults += pairing_faults(elements)
    if not elements and not unread:
        faults.append(Fault("empty", words(gettext_noop("There is nothing in the code."))))
    return Parsed(tuple(elements), tuple(faults), GS.join(unread))


def _unknown(piece: str) -> Fault:
    if table.retired(piece):
        said = words(gettext_noop("(%(ai)s) was retired from GS1 and is not read any more."), ai=piece[:3])
        return Fault("retired-ai", said)
    message = gettext_noop("No GS1 identifier known here starts with “%(start)s”.")
    return Fault("unknown-ai", words(message, start=shortened(piece[:4])))


def _end(text: str, at: int) -> int:
    """Where the element that begins at ``at`` ends: by pre-defined length, separator, or the text's end."""
    stop = text.find(GS, at)
    stop = len(text) if stop < 0 else stop
    fixed = table.fixed_length(text, at)
    return stop if fixed is None else min(at + fixed, stop)


# Putting together


def build(elements: Iterable[tuple[str, str]]) -> str:
    """The element string for (AI, data) pairs in their order, separators only where they are needed.

    Raises Malformed for any broken rule, pairing included, and for a date without a day: those are read,
    but never made here.
    """
    made = tuple(Element(ai, value) for ai, value in elements)
    if not made:
        raise Malformed(Fault("empty", words(gettext_noop("There is nothing to build."))))
    for element in made:
        fault = element_fault(element) or _no_day(element)
        if fault is not None:
            raise Malformed(fault)
    for fault in pairing_faults(made):
        raise Malformed(fault)
    return joined(made)


def joined(elements: Iterable[Element]) -> str:
    """The wire form of elements, unjudged. A separator stands after each that has no pre-defined length."""
    known = table.definitions()
    return "".join(
        element.ai
        + element.value
        + (GS if following is not None and not known[element.ai].predefined else "")
        for element, following in pairwise((*elements, None))
        if element is not None
    )


def _no_day(element: Element) -> Fault | None:
    checks = table.definitions()[element.ai].components[0].checks
    if "yymmd0" in checks and element.value[4:6] == "00":
        said = words(gettext_noop("(%(ai)s) must give a real day."), ai=element.ai)
        return Fault("date", said, element.ai)
    return None


def to_brackets(elements: Iterable[Element]) -> str:
    """Bracketed text that can be read back: a bracket inside the data is written ``\\(``."""
    return "".join(f"({e.ai})" + e.value.replace("(", "\\(") for e in elements)


def hri(payload: str) -> str:
    """The text to print beside a symbol: AIs in brackets, elements parted by a blank. Nothing is escaped."""
    return " ".join(f"({e.ai}){e.value}" for e in parse(payload).elements)
