"""Every row of one count, read once: a fixed number of queries whatever its length."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from cases.counts.models_counts import (
    Added,
    CountLine,
    Entry,
    HandOver,
    LeftIn,
    PackIn,
    Pause,
    Recount,
    Stage,
    StageClass,
    StageSigning,
    TheatreCount,
    WrongPacket,
)
from cases.counts.models_discrepancies import Discrepancy, DiscrepancySigning, DiscrepancyStep
from cases.counts.models_templates import TemplateClass, TemplateStep


class EntryRow(NamedTuple):
    """One entry, as the picture needs it."""

    pk: int
    line: int
    stage: int
    counted: int
    basis: str
    by: str
    at: datetime
    device_at: datetime | None
    paper_at: datetime | None
    device: UUID | None
    conflict: bool
    after_close: bool


class AddedRow(NamedTuple):
    """One addition; `kind` packed, added, correction, fragment."""

    pk: int
    line: int
    quantity: int
    kind: str


@dataclass(frozen=True, slots=True)
class CountRows:
    """All of a count."""

    count: TheatreCount
    stages: list[Stage]
    counts_what: dict[int, set[str]]
    classes: list[TemplateClass]
    steps: list[TemplateStep]
    lines: list[CountLine]
    added: dict[int, list[AddedRow]]
    left_in: list[LeftIn]
    entries: dict[tuple[int, int], list[EntryRow]]
    again: dict[tuple[int, str], int]
    packs: list[PackIn]
    discrepancies: list[Discrepancy]
    answers: dict[int, list[DiscrepancyStep]]
    settled_signed: dict[int, list[int]]
    signings: dict[int, list[StageSigning]]
    hand_overs: list[HandOver]
    wrong_packets: list[WrongPacket]
    pause: Pause | None


COUNTS = TheatreCount.objects.select_related(
    "case__site", "case__list__theatre", "case__procedure", "template", "opened_by", "scrub", "circulating"
)


def count_rows(case_id: int) -> CountRows | None:
    """Everything on file of a case's count; None where it has not been opened (eighteen queries)."""
    count = COUNTS.filter(case_id=case_id).first()
    if count is None:
        return None
    template = count.template_id
    of_stages = {"stage__count": count}
    return CountRows(
        count=count,
        stages=list(
            Stage.objects.filter(count=count)
            .select_related("scrub", "circulating", "begun_by", "ended_by", "followed_by")
            .order_by("number", "turn")
        ),
        counts_what=_sets(StageClass.objects.filter(**of_stages).values_list("stage_id", "klass")),
        classes=list(TemplateClass.objects.filter(template=template).order_by("number")),
        steps=list(TemplateStep.objects.filter(template=template).order_by("number")),
        lines=list(CountLine.objects.filter(count=count).order_by("number")),
        added=_added(count),
        left_in=list(LeftIn.objects.filter(line__count=count).select_related("line", "by").order_by("pk")),
        entries=_entries(count),
        again=_again(count),
        packs=list(
            PackIn.objects.filter(count=count)
            .select_related("pack__set__version__design", "by")
            .order_by("number")
        ),
        discrepancies=list(
            Discrepancy.objects.filter(**of_stages)
            .select_related("line", "opened_by", "first", "second")
            .order_by("pk")
        ),
        answers=_answers(count),
        settled_signed=_settled_signed(count),
        signings=_signings(count),
        hand_overs=list(
            HandOver.objects.filter(count=count).select_related("before", "after").order_by("pk")
        ),
        wrong_packets=list(
            WrongPacket.objects.filter(line__count=count).select_related("line", "by").order_by("pk")
        ),
        pause=Pause.objects.filter(count=count, resumed_at__isnull=True).select_related("by").first(),
    )


def _sets(pairs: object) -> dict[int, set[str]]:
    found: dict[int, set[str]] = defaultdict(set)
    for key, value in pairs:  # type: ignore[attr-defined]
        found[key].add(value)
    return dict(found)


def _added(count: TheatreCount) -> dict[int, list[AddedRow]]:
    found: dict[int, list[AddedRow]] = defaultdict(list)
    rows = Added.objects.filter(line__count=count).order_by("pk")
    for row in rows.values_list("pk", "line_id", "quantity", "kind"):
        found[row[1]].append(AddedRow(*row))
    return dict(found)


def _entries(count: TheatreCount) -> dict[tuple[int, int], list[EntryRow]]:
    """By stage and line, the oldest first."""
    found: dict[tuple[int, int], list[EntryRow]] = defaultdict(list)
    rows = Entry.objects.filter(stage__count=count).order_by("pk")
    for row in rows.values_list(
        "pk", "line_id", "stage_id", "counted", "basis", "by__name", "at", "device_at", "paper_at", "device",
        "conflict", "after_close",
    ):  # fmt: skip
        one = EntryRow(*row)
        found[one.stage, one.line].append(one)
    return dict(found)


def _again(count: TheatreCount) -> dict[tuple[int, str], int]:
    found: dict[tuple[int, str], int] = {}
    rows = Recount.objects.filter(stage__count=count).order_by("pk")
    for stage, klass, after in rows.values_list("stage_id", "klass", "after_entry"):
        found[stage, klass] = max(after, found.get((stage, klass), 0))
    return found


def _answers(count: TheatreCount) -> dict[int, list[DiscrepancyStep]]:
    found: dict[int, list[DiscrepancyStep]] = defaultdict(list)
    rows = DiscrepancyStep.objects.filter(discrepancy__stage__count=count).select_related("by").order_by("pk")
    for row in rows:
        found[row.discrepancy_id].append(row)
    return dict(found)


def _settled_signed(count: TheatreCount) -> dict[int, list[int]]:
    found: dict[int, list[int]] = defaultdict(list)
    rows = DiscrepancySigning.objects.filter(discrepancy__stage__count=count).order_by("pk")
    for discrepancy, person in rows.values_list("discrepancy_id", "person_id"):
        found[discrepancy].append(person)
    return dict(found)


def _signings(count: TheatreCount) -> dict[int, list[StageSigning]]:
    found: dict[int, list[StageSigning]] = defaultdict(list)
    rows = StageSigning.objects.filter(stage__count=count).select_related("signature").order_by("pk")
    for row in rows:
        found[row.stage_id].append(row)
    return dict(found)
