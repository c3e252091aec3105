"""All readings of an element string whose separators may have been lost on the way.

Without a separator ``(10)ABC(17)271130`` and ``(10)ABC17271130`` look alike. A reading is legal when every
AI's length, characters, check digit and date hold and no AI stands twice. Readings that keep the pairing
rules come before those that lack a companion, which may be on another label of the same item; readings
with AIs that may never stand together are none.

From where the rest can still be read is worked out once for each place; the search then never enters a
blind alley of lengths or characters, and what it may cost is bounded.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from trays.identifiers import gs1, table
from trays.identifiers.gs1 import GS, Element

# More than these are not offered to anybody.
MOST_READINGS = 12
# Bounds of the search: readings looked at, steps, characters without a separator.
MOST_LOOKED_AT = 300
MOST_STEPS = 20_000
MOST_SEGMENT = 300
# Keystrokes Alt+0+2+9 without the Alt key: three digits where a separator belongs.
ALT_CODE = "029"
# What labels in health care hold; readings made of these are offered first.
_COMMON = frozenset("00 01 02 10 11 17 20 21 22 30 37 240 241 250 253 254 414 8003 8004 8017".split())

Reading = tuple[Element, ...]
# An element and where the next one may begin.
_Edge = tuple[Element, int]


@dataclass(frozen=True, slots=True)
class Readings:
    """Legal readings, the likeliest first; ``complete`` is False when there may be more than were found."""

    found: tuple[Reading, ...]
    complete: bool = True


def legal_readings(text: str, *, alt_codes: bool = False) -> Readings:
    """Every legal reading of an element string; at most 12 of them, and then said to be incomplete.

    A separator that is there always ends an element. With ``alt_codes`` the digits 029 after an element
    may be a separator as well as data. Segments longer than any label's are not searched.
    """
    segments = [s for s in text.split(GS) if s]
    if not segments or any(len(s) > MOST_SEGMENT for s in segments):
        return Readings((), complete=not segments)
    search = _Search([_Segment(text, alt_codes) for text in segments])
    clean: list[Reading] = []
    lacking: list[Reading] = []
    for reading in search.readings():
        faults = gs1.pairing_faults(reading)
        if not faults:
            clean.append(reading)
        elif not _contradict(reading):
            lacking.append(reading)
        if len(clean) + len(lacking) >= MOST_LOOKED_AT:
            search.complete = False
            break
    found = sorted(clean or lacking, key=_unlikely)
    return Readings(tuple(found[:MOST_READINGS]), search.complete and len(found) <= MOST_READINGS)


def _contradict(reading: Reading) -> bool:
    known = table.definitions()
    ais = {e.ai for e in reading}
    return any(not known[ai].excluded.isdisjoint(ais) for ai in ais)


def _unlikely(reading: Reading) -> tuple[int, int]:
    """Sorts readings of common AIs first, then those with few elements; the rest keep their order."""
    return sum(e.ai not in _COMMON for e in reading), len(reading)


class _Segment:
    """Text between two separators, and from where in it a reading can come to its end."""

    def __init__(self, text: str, alt_codes: bool) -> None:
        self.text = text
        self.alt_codes = alt_codes
        self._known: dict[int, tuple[_Edge, ...]] = {}

    def edges(self, at: int) -> tuple[_Edge, ...]:
        """The elements that may stand at a place, the longest first; none where no reading ends well."""
        if at not in self._known:
            self._known[at] = tuple(self._found(at))
        return self._known[at]

    def leads_on(self, at: int) -> bool:
        """True at the segment's end and where an element may begin."""
        return at == len(self.text) or bool(self.edges(at))

    def _found(self, at: int) -> Iterator[_Edge]:
        definition = table.find(self.text, at)
        if definition is None:
            return
        start, length = at + len(definition.ai), len(self.text)
        for end in range(min(start + definition.most, length), start + definition.least - 1, -1):
            follows = [f for f in self._follows(end, definition) if self.leads_on(f)]
            if follows:
                element = Element(definition.ai, self.text[start:end])
                if gs1.element_fault(element) is None:
                    yield from ((element, follow) for follow in follows)

    def _follows(self, end: int, definition: table.Definition) -> tuple[int, ...]:
        """Where the next element may begin once one has ended."""
        after = end + len(ALT_CODE)
        skips = self.alt_codes and not definition.predefined and after < len(self.text)
        if skips and self.text.startswith(ALT_CODE, end):
            return (end, after)
        return (end,)


class _Search:
    """Walks all ways through the segments, no AI twice; ``complete`` turns False when it gives up."""

    def __init__(self, segments: list[_Segment]) -> None:
        self.segments = segments
        self.steps = MOST_STEPS
        self.complete = True

    def readings(self, segment: int = 0, at: int = 0, taken: Reading = ()) -> Iterator[Reading]:
        here = self.segments[segment]
        if at == len(here.text):
            if segment + 1 == len(self.segments):
                yield taken
            else:
                yield from self.readings(segment + 1, 0, taken)
            return
        for element, follow in here.edges(at):
            self.steps -= 1
            if self.steps < 0:
                self.complete = False
                return
            if all(e.ai != element.ai for e in taken):
                yield from self.readings(segment, follow, (*taken, element))
