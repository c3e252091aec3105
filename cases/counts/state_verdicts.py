"""What each line came to at each stage: the arithmetic behind the picture of a count."""

from __future__ import annotations

from collections.abc import Sequence

from cases.counts.kinds_count import Rival
from cases.counts.models_counts import CountLine, Stage
from cases.counts.models_counts import StageState as S
from cases.counts.models_discrepancies import DiscrepancyState
from cases.counts.rows import CountRows, EntryRow


class Verdicts:
    """Asked line by line; no query follows."""

    left: dict[int, list[tuple[int, int]]]

    def __init__(self, rows: CountRows) -> None:
        self.rows = rows
        self.open = next((stage for stage in rows.stages if stage.state == S.OPEN), None)
        ended = [stage for stage in rows.stages if stage.ended]
        self.ended = sorted(ended, key=lambda stage: (stage.ended_at, stage.pk))
        self.left = {}
        for one in rows.left_in:
            self.left.setdefault(one.line_id, []).append((one.pk, one.quantity))
        self.settled = {
            (one.stage_id, one.line_id, one.settled_expected, one.settled_counted)
            for one in rows.discrepancies
            if one.state == DiscrepancyState.SETTLED
        }

    def expected(self, line: int, stage: Stage | None = None) -> int:
        """How many of a line there should be: now, or when a stage that has ended was agreed."""
        upto = stage.upto if stage is not None and stage.ended else None
        most_added = upto.get("added", 0) if upto else None
        most_left = upto.get("left_in", 0) if upto else None
        came = sum(
            one.quantity
            for one in self.rows.added.get(line, ())
            if most_added is None or one.pk <= most_added
        )
        left = sum(n for pk, n in self.left.get(line, ()) if most_left is None or pk <= most_left)
        return came - left

    def valid(self, stage: Stage, line: CountLine) -> EntryRow | None:
        """The newest entry of a line that counts at a stage."""
        after = self.rows.again.get((stage.pk, line.klass), 0)
        rows = self.rows.entries.get((stage.pk, line.pk), ())
        found = [one for one in rows if one.pk > after and not one.after_close]
        return found[-1] if found else None

    def verdict(self, stage: Stage, line: CountLine, entry: EntryRow | None) -> tuple[str, int]:
        """equal, fewer, more, conflict, settled or open, and by how many it differs."""
        if entry is None:
            return "open", 0
        expected = self.expected(line.pk, stage)
        difference = entry.counted - expected
        if entry.conflict:
            return "conflict", difference
        if difference == 0:
            return "equal", 0
        if (stage.pk, line.pk, expected, entry.counted) in self.settled:
            return "settled", difference
        return ("more" if difference > 0 else "fewer"), difference

    def stage_for(self, line: CountLine) -> Stage | None:
        """The stage under way; between stages the last one that counted the line."""
        if self.open is not None:
            return self.open if line.klass in self.rows.counts_what.get(self.open.pk, ()) else None
        return next(
            (
                stage for stage in reversed(self.ended)
                if line.klass in self.rows.counts_what.get(stage.pk, ())
                and line.pk <= stage.upto.get("line", 0)
            ),
            None,
        )  # fmt: skip

    def rivals(self) -> tuple[Rival, ...]:
        """Lines with two numbers: at the stage under way, and from entries that came after a close."""
        found = []
        for line in self.rows.lines:
            for stage in self.rows.stages:
                own = self.rows.entries.get((stage.pk, line.pk))
                if own:
                    found += self._rivals_of(stage, line, own)
        return tuple(found)

    def _rivals_of(self, stage: Stage, line: CountLine, own: Sequence[EntryRow]) -> list[Rival]:
        last = self.valid(stage, line)
        made = []
        if stage.state == S.OPEN and last is not None and last.conflict:
            other = next(
                (one for one in reversed(own) if one.pk < last.pk and one.counted != last.counted), None
            )
            other = other or next((one for one in reversed(own) if one.pk < last.pk), last)
            made.append(
                Rival(line.pk, stage.pk, last.pk, last.counted, other.counted, last.by, other.by, False)
            )
        for late in (one for one in own if one.after_close):
            agreed = last.counted if last is not None else self.expected(line.pk, stage)
            if late.counted != agreed and not self._counted_since(line, late):
                by = last.by if last is not None else ""
                made.append(Rival(line.pk, stage.pk, late.pk, late.counted, agreed, late.by, by, True))
        return made

    def _counted_since(self, line: CountLine, late: EntryRow) -> bool:
        """Whether a stage that counts the line has closed after the late entry came."""
        return any(
            stage.state == S.CLOSED
            and stage.ended_at is not None
            and stage.ended_at > late.at
            and line.klass in self.rows.counts_what.get(stage.pk, ())
            for stage in self.ended
        )
