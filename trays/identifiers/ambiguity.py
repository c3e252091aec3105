"""All readings of an element string whose separators may have been lost on the way.

Without a separator ``(10)ABC(17)271130`` and ``(10)ABC17271130`` look alike. A reading counts when every
AI's length, characters, check digit and date hold, no AI stands twice, and the pairing rules hold.
"""

from collections.abc import Iterator

from trays.identifiers import gs1, table
from trays.identifiers.gs1 import GS, Element

# A scan with more readings or steps than these is asked about anyway.
MOST_READINGS = 12
MOST_STEPS = 20_000
MOST_SEGMENT = 160


class _Spent(Exception):
    """Too many steps: the search is given up."""


class _Search:
    def __init__(self, segments: list[str]) -> None:
        self.segments = segments
        self.steps = MOST_STEPS

    def readings(self, segment: int, at: int, taken: tuple[Element, ...]) -> Iterator[tuple[Element, ...]]:
        self.steps -= 1
        if self.steps < 0:
            raise _Spent
        text = self.segments[segment]
        if at == len(text):
            if segment + 1 == len(self.segments):
                yield taken
            else:
                yield from self.readings(segment + 1, 0, taken)
            return
        definition = table.find(text, at)
        if definition is None or any(e.ai == definition.ai for e in taken):
            return
        for end in _ends(definition, at + len(definition.ai), len(text)):
            element = Element(definition.ai, text[at + len(definition.ai) : end])
            if gs1.element_fault(element) is None:
                yield from self.readings(segment, end, (*taken, element))


def _ends(definition: table.Definition, start: int, length: int) -> range:
    """Where the data may end, longest first."""
    return range(min(start + definition.most, length), start + definition.least - 1, -1)


def legal_readings(text: str) -> tuple[tuple[Element, ...], ...]:
    """Every legal reading of an element string, the one with the longest data first; at most 12.

    A separator that is there always ends an element. Longer segments than 160 characters, which no label
    needs, are not searched.
    """
    segments = [s for s in text.split(GS) if s]
    if not segments or any(len(s) > MOST_SEGMENT for s in segments):
        return ()
    found: list[tuple[Element, ...]] = []
    try:
        for reading in _Search(segments).readings(0, 0, ()):
            if not gs1.pairing_faults(reading):
                found.append(reading)
            if len(found) == MOST_READINGS:
                break
    except _Spent:
        pass
    return tuple(found)
