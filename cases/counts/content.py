"""What a signature of the count is bound to: every row of it, as plain values.

Free words stand as digests: the signature holds them fast and does not repeat them. Nothing in it names the
case by its reference or a patient.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from cases.counts.models_counts import (
    Added,
    CountLine,
    Entry,
    HandOver,
    LeftIn,
    PackIn,
    Recount,
    Stage,
    StageClass,
    TheatreCount,
)
from cases.counts.models_discrepancies import Discrepancy, DiscrepancyStep


def count_content(count: TheatreCount) -> dict[str, Any]:
    """The whole count as it was agreed: each stage that has ended (sixteen queries a stage at most)."""
    stages = Stage.objects.filter(count=count, state__in=["closed", "not_done"]).order_by("number", "turn")
    return {"count": count.pk, "stages": [stage_content(stage) for stage in stages]}


def stage_content(stage: Stage) -> dict[str, Any]:
    """One stage as it was agreed: its lines, what came on up to then, entries, discrepancies, people, times.

    Rows that came later are not part of it (`Stage.upto`); altering one that is shows.
    """
    upto = stage.upto
    lines = CountLine.objects.filter(count_id=stage.count_id, pk__lte=upto.get("line", 0))
    packs = PackIn.objects.filter(count_id=stage.count_id, pk__lte=upto.get("pack_in", 0))
    discrepancies = Discrepancy.objects.filter(stage=stage).order_by("pk")
    return {
        "stage": stage.pk,
        "count": stage.count_id,
        "kind": stage.kind,
        "place": [stage.number, stage.turn, stage.mark],
        "word": _digest(stage.word),
        "state": stage.state,
        "signers": list(stage.signers),
        "begun": [_moment(stage.begun_at), stage.begun_by_id],
        "ended": [_moment(stage.ended_at), stage.ended_by_id, _moment(stage.device_at)],
        "agreed": [
            stage.scrub_id, _digest(stage.scrub_name), stage.circulating_id, _digest(stage.circulating_name),
        ],
        "paper": [_moment(stage.paper_at), stage.paper_sheet],
        "not_done": [_digest(stage.reason), _digest(stage.decided_by), _digest(stage.follow_up)],
        "classes": sorted(StageClass.objects.filter(stage=stage).values_list("klass", flat=True)),
        "packs": [
            [one.pk, one.pack_id, one.round, one.indicator, one.marks, one.reason, _digest(one.note),
             _digest(one.decided_by), _moment(one.at), one.by_id]
            for one in packs.order_by("pk")
        ],
        "lines": [
            [one.pk, one.klass, one.number, _digest(one.name), one.pack_in_id, one.contents_line_id,
             one.broken_id, one.multiple, one.critical]
            for one in lines.order_by("pk")
        ],
        "added": _rows(
            Added.objects.filter(line__count=stage.count_id, pk__lte=upto.get("added", 0)),
            "pk", "line_id", "quantity", "kind", "reason", "odd", "by_id", "at", "paper_at",
        ),
        "left_in": [
            [one.pk, one.line_id, one.quantity, _digest(one.plan), _digest(one.decided_by), _moment(one.at),
             one.by_id]
            for one in LeftIn.objects.filter(line__count=stage.count_id, pk__lte=upto.get("left_in", 0))
            .order_by("pk")
        ],
        "entries": _rows(
            Entry.objects.filter(stage=stage, pk__lte=upto.get("entry", 0)),
            "pk", "line_id", "counted", "expected", "basis", "by_id", "at", "device_at", "paper_at",
            "conflict",
        ),
        "recounts": _rows(Recount.objects.filter(stage=stage), "pk", "klass", "after_entry", "by_id", "at"),
        "hand_overs": _rows(
            HandOver.objects.filter(stage=stage), "pk", "seat", "before_id", "after_id", "at", "by_id"
        ),
        "discrepancies": [discrepancy_content(one) for one in discrepancies],
    }  # fmt: skip


def discrepancy_content(one: Discrepancy) -> dict[str, Any]:
    """A settled discrepancy with the answers to its steps."""
    steps = DiscrepancyStep.objects.filter(discrepancy=one).order_by("pk")
    return {
        "discrepancy": one.pk,
        "stage": one.stage_id,
        "line": one.line_id,
        "figures": [one.expected, one.counted, one.settled_expected, one.settled_counted],
        "state": one.state,
        "outcome": one.outcome,
        "note": _digest(one.note),
        "report": one.report,
        "opened": [_moment(one.opened_at), one.opened_by_id],
        "settled": [_moment(one.settled_at), one.first_id, one.second_id],
        "carried": one.carried_id,
        "steps": [
            [step.pk, step.number, step.kind, _digest(step.words), step.done, _digest(step.note),
             _moment(step.at), step.by_id]
            for step in steps
        ],
    }  # fmt: skip


def _rows(rows: Any, *names: str) -> list[list[Any]]:
    return [_plain(row) for row in rows.order_by("pk").values_list(*names)]


def _plain(row: Iterable[Any]) -> list[Any]:
    return [_moment(value) if isinstance(value, datetime) else value for value in row]


def _moment(value: datetime | None) -> str | None:
    return value.astimezone(UTC).isoformat() if value is not None else None


def _digest(words: str) -> str:
    return hashlib.sha256(words.encode()).hexdigest()[:32] if words else ""
