"""GS1-128 bars for an element string."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

from barcode.codex import Gs1_128

from trays.identifiers.gs1 import GS
from trays.symbols.payload import PayloadRefused, checked

# Data characters in one symbol, identifiers and separators counted, the leading FNC1 not.
MOST_CHARACTERS = 48
_FNC1 = "\xf1"


@dataclass(frozen=True)
class Bars:
    """A linear symbol without its quiet zones: True is dark, one entry per module."""

    dark: tuple[bool, ...]

    @property
    def size(self) -> int:
        """Length in modules."""
        return len(self.dark)

    def runs(self) -> tuple[tuple[int, int], ...]:
        """Every bar: first module, width in modules."""
        return self._all

    @cached_property
    def _all(self) -> tuple[tuple[int, int], ...]:
        return tuple(self._found())

    def _found(self) -> Iterator[tuple[int, int]]:
        start = None
        for position, dark in enumerate((*self.dark, False)):
            if dark and start is None:
                start = position
            elif not dark and start is not None:
                yield start, position - start
                start = None


@lru_cache(maxsize=64)
def bars(payload: str) -> Bars:
    """The bars of a GS1-128.

    ``payload`` is an element string as ``gs1.build`` makes it. Raises PayloadRefused, also when it
    is longer than 48 characters: then only a DataMatrix can hold it.
    """
    text = checked(payload)
    if len(text) > MOST_CHARACTERS:
        raise PayloadRefused(
            f"The identifier has {len(text)} characters, GS1-128 takes {MOST_CHARACTERS}. Print a DataMatrix."
        )
    pattern = str(Gs1_128(text.replace(GS, _FNC1)).build()[0])
    return Bars(tuple(module == "1" for module in pattern))
