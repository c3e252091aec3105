"""From rows to files of labels: read a thousand at a time, drawn one by one, never all in memory."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from trays.labels.cautions import cautions
from trays.labels.kinds import Label, Refused
from trays.labels.setup import Setup
from trays.labels.sources import Source
from trays.labels.writer import LABELS_PER_FILE, LabelWriter, SymbolFacts


@dataclass(frozen=True, slots=True)
class File:
    """One finished file: its PDF, and the keys of the rows whose labels are in it."""

    number: int
    pdf: bytes
    rows: tuple[int, ...]


@dataclass
class Drawing:
    """Labels of a run being drawn. `seen` rows were looked at, `refused` got none, `symbols` as drawn.

    `most` labels go into one file; 0 stands for a thousand.
    """

    source: Source
    site_id: int
    ids: Sequence[int]
    setup: Setup
    start: int = 1
    most: int = 0
    seen: int = 0
    refused: list[Refused] = field(default_factory=list)
    symbols: set[SymbolFacts] = field(default_factory=set)

    def files(self) -> Iterator[File]:
        """Every file as soon as it is full, the last with its test page; none when nothing can be drawn."""
        writer, rows = self._writer(self.start), list[int]()
        number = 1
        for label in self._labels():
            if not writer.has_room(label):
                yield self._finished(writer, number, rows, last=False)
                writer, rows, number = self._writer(1), [], number + 1
            refused = writer.add(label)
            if refused:
                self.refused.append(refused)
            else:
                rows.append(label.row_id)
        if rows:
            yield self._finished(writer, number, rows, last=True)

    def _writer(self, start: int) -> LabelWriter:
        return LabelWriter(self.setup, start=start, most=self.most or LABELS_PER_FILE)

    def _labels(self) -> Iterator[Label]:
        """Labels in the order of the keys; the rows that have none are noted."""
        for first in range(0, len(self.ids), LABELS_PER_FILE):
            some = self.ids[first : first + LABELS_PER_FILE]
            made = self.source.labels(self.source.at_sites([self.site_id], some))
            by_key = {one.row_id: one for one in made}
            for key in some:
                self.seen += 1
                found = by_key.pop(key, None)
                if isinstance(found, Refused):
                    self.refused.append(found)
                elif found is not None:
                    yield found

    def _finished(self, writer: LabelWriter, number: int, rows: list[int], *, last: bool) -> File:
        self.symbols |= writer.symbols
        pdf = writer.pdf(cautions=" ".join(cautions(self.source.kind)), test_page=last)
        return File(number, pdf, tuple(rows))
