"""Bracketed text as people type it: ``(01) 09521234000013 (10) AB12``.

Brackets are legal data too, so a ``(`` that belongs to the data is written ``\\(``.
"""

from trays.identifiers import gs1, table
from trays.identifiers.gs1 import Element, Parsed
from trays.identifiers.told import Fault, Note, gettext_noop, shortened, words

BLANKS_DROPPED = Note("blanks", words(gettext_noop("Blanks between the digits were left out.")))


def parse(text: str) -> tuple[Parsed, tuple[Note, ...]]:
    """Read bracketed text; returns what it holds, and what was taken for granted.

    Blanks around an element and inside one of digits only are dropped: they are not in the GS1 set.
    """
    elements: list[Element] = []
    faults: list[Fault] = []
    dropped = False
    for piece in _split(text):
        ai, closed, data = piece.partition(")")
        ai = ai.strip(" ")
        if not closed or not 2 <= len(ai) <= 4 or not (ai.isascii() and ai.isdigit()):
            return Parsed(tuple(elements), (*faults, _no_identifier(piece)), "(" + piece), ()
        value = data.strip(" ").replace("\\(", "(").replace("\\)", ")")
        if " " in value and _digits_only(ai):
            value, dropped = value.replace(" ", ""), True
        element = Element(ai, value)
        elements.append(element)
        fault = gs1.element_fault(element)
        if fault is not None:
            faults.append(fault)
    if not elements:
        nothing = Fault("brackets", words(gettext_noop("There are no brackets to read.")))
        return Parsed((), (nothing,), text), ()
    parsed = Parsed(tuple(elements), (*faults, *gs1.pairing_faults(elements)))
    return parsed, (BLANKS_DROPPED,) if dropped else ()


def _no_identifier(piece: str) -> Fault:
    message = gettext_noop(
        "“(%(start)s” is no GS1 identifier in brackets. Write a bracket that belongs to the data as \\(."
    )
    return Fault("brackets", words(message, start=shortened(piece, 8)))


def _digits_only(ai: str) -> bool:
    definition = table.definitions().get(ai)
    return definition is not None and all(c.charset == "N" for c in definition.components)


def _split(text: str) -> list[str]:
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
