"""How many there should be and how many were counted, line by line: the arithmetic of a stage.

The database keeps the same law by a trigger (`guards.py`); here it is told in words before that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import Max, Sum

from cases.counts.models_counts import Added, CountLine, Entry, LeftIn, Recount, Stage
from cases.counts.models_discrepancies import Discrepancy, DiscrepancyState


@dataclass(frozen=True, slots=True)
class Figure:
    """One line at one stage: `counted` is None where nobody has counted since the class was called again."""

    line: int
    klass: str
    should_be: int
    counted: int | None
    conflict: bool
    settled: bool
    newest: int | None

    @property
    def balanced(self) -> bool:
        return self.counted == self.should_be and not self.conflict

    @property
    def may_close(self) -> bool:
        return self.balanced or (self.settled and not self.conflict)


def should_be(lines: Iterable[int]) -> dict[int, int]:
    """How many of each line there should be: all that came on, less what was left in (two queries)."""
    keys = list(lines)
    found = dict.fromkeys(keys, 0)
    added = Added.objects.filter(line__in=keys).order_by().values_list("line").annotate(n=Sum("quantity"))
    left = LeftIn.objects.filter(line__in=keys).order_by().values_list("line").annotate(n=Sum("quantity"))
    for line, n in added:
        found[line] += n
    for line, n in left:
        found[line] -= n
    return found


def called_again(stage: Stage) -> dict[str, int]:
    """Up to which entry each class no longer counts at the stage (one query)."""
    rows = Recount.objects.filter(stage=stage).order_by().values_list("klass").annotate(n=Max("after_entry"))
    return dict(rows)


def figures_of(stage: Stage) -> list[Figure]:
    """Every line that the stage counts, in running order (seven queries)."""
    klasses = list(stage.classes.values_list("klass", flat=True))
    lines = list(
        CountLine.objects.filter(count_id=stage.count_id, klass__in=klasses).order_by("number")
        .values_list("pk", "klass")
    )  # fmt: skip
    keys = [pk for pk, _klass in lines]
    expected, newest, again = should_be(keys), newest_entries(stage, keys), called_again(stage)
    settled = _settled(stage)
    return [_figure(pk, klass, expected, newest, again, settled) for pk, klass in lines]


def newest_entries(stage: Stage, lines: Iterable[int]) -> dict[int, Entry]:
    """The newest entry of each line at a stage, whether its class was called again since or not."""
    newest = (
        Entry.objects.filter(stage=stage, line__in=list(lines))
        .order_by()
        .values("line")
        .annotate(n=Max("pk"))
    )
    rows = Entry.objects.filter(pk__in=[row["n"] for row in newest])
    return {row.line_id: row for row in rows}


def figure_of(stage: Stage, line: CountLine) -> Figure:
    """One line at a stage."""
    return _figure(
        line.pk, line.klass, should_be([line.pk]), newest_entries(stage, [line.pk]), called_again(stage),
        _settled(stage),
    )  # fmt: skip


def _settled(stage: Stage) -> set[tuple[int, int | None, int | None]]:
    rows = Discrepancy.objects.filter(stage=stage, state=DiscrepancyState.SETTLED)
    return set(rows.values_list("line_id", "settled_expected", "settled_counted"))


def _figure(
    pk: int,
    klass: str,
    expected: Mapping[int, int],
    newest: Mapping[int, Entry],
    again: Mapping[str, int],
    settled: set[tuple[int, int | None, int | None]],
) -> Figure:
    entry = newest.get(pk)
    valid = entry is not None and entry.pk > again.get(klass, 0)
    counted = entry.counted if entry is not None and valid else None
    return Figure(
        line=pk,
        klass=klass,
        should_be=expected[pk],
        counted=counted,
        conflict=bool(entry is not None and valid and entry.conflict),
        settled=(pk, expected[pk], counted) in settled,
        newest=entry.pk if entry is not None else None,
    )
