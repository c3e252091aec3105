"""GS1 DataMatrix (ECC 200, square) modules for an element string."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

from pystrich.datamatrix import FNC1, DataMatrixCodeword, DataMatrixData, DataMatrixEncoder
from pystrich.exceptions import PyStrichError

from trays.identifiers.gs1 import GS
from trays.symbols.payload import PayloadRefused, checked


@dataclass(frozen=True)
class Modules:
    """A symbol without its quiet zone: rows from the top, True is dark."""

    rows: tuple[tuple[bool, ...], ...]

    @property
    def size(self) -> int:
        """Modules along one side."""
        return len(self.rows)

    def runs(self) -> tuple[tuple[int, int, int], ...]:
        """Every horizontal run of dark modules: row, first column, length."""
        return self._all

    @cached_property
    def _all(self) -> tuple[tuple[int, int, int], ...]:
        return tuple(self._found())

    def _found(self) -> Iterator[tuple[int, int, int]]:
        for number, row in enumerate(self.rows):
            start = None
            for column, dark in enumerate((*row, False)):
                if dark and start is None:
                    start = column
                elif not dark and start is not None:
                    yield number, start, column - start
                    start = None


@lru_cache(maxsize=64)
def modules(payload: str) -> Modules:
    """The modules of a GS1 DataMatrix.

    ``payload`` is an element string as ``gs1.build`` makes it: no brackets, separators as ASCII 29
    where they are needed, no leading separator. Raises PayloadRefused.
    """
    segments: list[str | DataMatrixCodeword] = []
    for part in checked(payload).split(GS):
        segments += [FNC1, part]
    try:
        data = DataMatrixData(*segments, encoding="ascii")
        # The encoder's own matrix lacks the finder pattern; the renderer's has it.
        matrix = DataMatrixEncoder(data, quiet_zone=0, symbol_shape="square").init_renderer().matrix
    except PyStrichError as error:
        raise PayloadRefused("The identifier is too long for a DataMatrix.") from error
    return Modules(tuple(tuple(bool(cell) for cell in row) for row in matrix))
