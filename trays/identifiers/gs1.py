"""GS1 element strings: parse AI by AI, build, and the bracketed text that people read.

An element string on the wire is AI + data, one after the other, with the separator (ASCII 29) after
every element that has no pre-defined length unless it is the last. Source: GS1 General Specifications
and the GS1 Barcode Syntax Dictionary (``ai_table.json``).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from trays.identifiers import lint, table

GS = "\x1d"


@dataclass(frozen=True)
class Element:
    """One AI with its data, exactly as coded: case and leading zeros count."""

    ai: str
    value: str

    @property
    def title(self) -> str:
        """GS1's data title, empty for an AI that is not in the table."""
        found = table.definitions().get(self.ai)
        return found.title if found else ""


@dataclass(frozen=True)
class Fault:
    """A broken rule. ``stops``: the element cannot be relied on; otherwise it is a warning."""

    code: str
    sentence: str
    ai: str = ""
    stops: bool = True


@dataclass(frozen=True)
class Parsed:
    """What an element string holds. ``unread`` is the text that no known AI could take."""

    elements: tuple[Element, ...]
    faults: tuple[Fault, ...]
    unread: str = ""

    def value(self, ai: str) -> str | None:
        """Data of an AI, or none."""
        return next((e.value for e in self.elements if e.ai == ai), None)


class Malformed(ValueError):
    """An element string that may not be built, with the fault."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(fault.sentence)
        self.fault = fault


def element_fault(element: Element) -> Fault | None:
    """What is wrong with one element by itself, or none."""
    definition = table.definitions().get(element.ai)
    if definition is None:
        return Fault("unknown-ai", f"({element.ai}) is not a GS1 identifier known here.", element.ai)
    found = lint.examine(definition, element.value)
    if found is None:
        return None
    code, says = found
    name = f"({element.ai}) {definition.title}".strip()
    return Fault(code, f"{name} {says}.", element.ai)


def pairing_faults(elements: Iterable[Element]) -> tuple[Fault, ...]:
    """Rules about AIs that must or must not stand together: warnings, as other codes on the item count too.

    Two different values of one AI stop: nobody can say which one holds.
    """
    present = tuple(dict.fromkeys(elements))
    known = [d for d in (table.definitions().get(e.ai) for e in present) if d is not None]
    ais = {d.ai for d in known}
    faults: list[Fault] = []
    for ai in sorted({e.ai for e in present}):
        if sum(e.ai == ai for e in present) > 1:
            faults.append(Fault("twice", f"({ai}) stands there twice with different data.", ai))
    for definition in known:
        faults += _missing_partner(definition, ais)
        for other in sorted(ais - {definition.ai}):
            if any(table.matches(pattern, other) for pattern in definition.excludes):
                faults.append(
                    Fault(
                        "pairing",
                        f"({definition.ai}) may not stand beside ({other}).",
                        definition.ai,
                        stops=False,
                    )
                )
    return tuple(dict.fromkeys(faults))


def _missing_partner(definition: table.Definition, ais: set[str]) -> list[Fault]:
    faults = []
    for groups in definition.needs:
        if not any(all(any(table.matches(p, ai) for ai in ais) for p in group) for group in groups):
            wanted = " or ".join("+".join(f"({p})" for p in group) for group in groups)
            faults.append(
                Fault("pairing", f"({definition.ai}) needs {wanted} beside it.", definition.ai, stops=False)
            )
    return faults


def parse(text: str) -> Parsed:
    """Take an element string apart, strictly: no guess is made about separators that are not there.

    A separator after a pre-defined length, doubled, in front or at the end is tolerated. An AI that is not
    known is skipped where its length is pre-defined or a separator follows; what was read before it stays.
    """
    elements: list[Element] = []
    faults: list[Fault] = []
    unread: list[str] = []
    at = 0
    while at < len(text):
        if text[at] == GS:
            at += 1
            continue
        definition = table.find(text, at)
        end = _end(text, at, definition)
        if definition is None:
            unread.append(text[at:end])
            faults.append(
                Fault("unknown-ai", f"No GS1 identifier known here starts with “{_start(text[at:end])}”.")
            )
        else:
            element = Element(definition.ai, text[at + len(definition.ai) : end])
            elements.append(element)
            fault = element_fault(element)
            if fault is not None:
                faults.append(fault)
        at = end
    faults += pairing_faults(elements)
    if not elements and not unread:
        faults.append(Fault("empty", "There is nothing in the code."))
    return Parsed(tuple(elements), tuple(faults), "".join(unread))


def _start(text: str) -> str:
    return "".join(c if c.isprintable() else "□" for c in text[:4])


def _end(text: str, at: int, definition: table.Definition | None) -> int:
    """Where the element that begins at ``at`` ends (never before one character)."""
    stop = text.find(GS, at)
    stop = len(text) if stop < 0 else stop
    fixed = table.PREDEFINED_LENGTH.get(text[at : at + 2])
    if fixed is not None and (definition is None or definition.predefined):
        return min(at + fixed, stop)
    return stop


def build(elements: Iterable[tuple[str, str]]) -> str:
    """The element string for (AI, data) pairs in their order, separators only where they are needed.

    Raises Malformed for any broken rule, pairing included, and for a date without a day: those are read,
    but never made here.
    """
    made = tuple(Element(ai, value) for ai, value in elements)
    if not made:
        raise Malformed(Fault("empty", "There is nothing to build."))
    for element in made:
        fault = element_fault(element) or _no_day(element)
        if fault is not None:
            raise Malformed(fault)
    for fault in pairing_faults(made):
        raise Malformed(fault)
    return "".join(
        element.ai
        + element.value
        + ("" if table.definitions()[element.ai].predefined or following is None else GS)
        for element, following in pairwise((*made, None))
        if element is not None
    )


def _no_day(element: Element) -> Fault | None:
    checks = table.definitions()[element.ai].components[0].checks
    if "yymmd0" in checks and element.value[4:6] == "00":
        return Fault("date", f"({element.ai}) must give a real day.", element.ai)
    return None


def to_brackets(elements: Iterable[Element]) -> str:
    """Bracketed text that can be read back: a bracket inside the data is written ``\\(``."""
    return "".join(f"({e.ai})" + e.value.replace("(", "\\(") for e in elements)


def hri(payload: str) -> str:
    """The text to print beside a symbol: AIs in brackets, elements parted by a blank. Nothing is escaped."""
    return " ".join(f"({e.ai}){e.value}" for e in parse(payload).elements)


def parse_brackets(text: str) -> Parsed:
    """Read bracketed text. Blanks around an element are dropped: they are not in the GS1 set.

    A ``(`` that belongs to the data must be written ``\\(``.
    """
    elements: list[Element] = []
    faults: list[Fault] = []
    for piece in _split_brackets(text):
        ai, closed, value = piece.partition(")")
        if not closed or not 2 <= len(ai) <= 4 or not (ai.isascii() and ai.isdigit()):
            return Parsed(
                tuple(elements), (Fault("brackets", "The brackets hold no GS1 identifier."),), "(" + piece
            )
        element = Element(ai, value.strip(" ").replace("\\(", "("))
        elements.append(element)
        fault = element_fault(element)
        if fault is not None:
            faults.append(fault)
    if not elements:
        return Parsed((), (Fault("brackets", "There are no brackets to read."),), text)
    return Parsed(tuple(elements), (*faults, *pairing_faults(elements)))


def _split_brackets(text: str) -> list[str]:
    """What follows each ``(`` that is not escaped; empty when the text does not start with one."""
    pieces: list[str] = []
    begun = None
    for place, letter in enumerate(text):
        if letter == "(" and (place == 0 or text[place - 1] != "\\"):
            if begun is not None:
                pieces.append(text[begun:place])
            elif text[:place].strip(" "):
                return []
            begun = place + 1
    if begun is not None:
        pieces.append(text[begun:])
    return pieces
