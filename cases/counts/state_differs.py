"""A discrepancy with its steps, as the page shows it."""

from __future__ import annotations

from cases.counts.kinds_count import DiscrepancyPicture, PersonName, StepState
from cases.counts.models_discrepancies import Discrepancy, DiscrepancyState
from cases.counts.models_templates import StepWhen
from cases.counts.rows import CountRows
from trays.staff.models import Person


def discrepancy_picture(rows: CountRows, one: Discrepancy) -> DiscrepancyPicture:
    answers = rows.answers.get(one.pk, [])
    steps, current = [], one.state == DiscrepancyState.OPEN
    for step in rows.steps:
        own = [answer for answer in answers if answer.number == step.number]
        last = own[-1] if own else None
        if last is not None:
            state = "done" if last.done else "not_done"
        else:
            state, current = ("current" if current else "later"), False
        steps.append(
            StepState(
                step.number, step.kind, last.words if last else step.words, step.when, state,
                last.at if last else None, last.by.name if last else "", last.note if last else "",
            )
        )  # fmt: skip
    missing = () if one.carried_id else tuple(
        step.number for step in steps
        if step.when != StepWhen.IF_WANTED and step.state in ("current", "later")
    )  # fmt: skip
    return DiscrepancyPicture(
        pk=one.pk, stage=one.stage_id, line=one.line_id, name=one.line.name, expected=one.expected,
        counted=one.counted, state=one.state, outcome=one.outcome, note=one.note, report=one.report,
        opened_at=one.opened_at, opened_by=one.opened_by.name, settled_at=one.settled_at,
        first=person_name(one.first), second=person_name(one.second),
        signed=tuple(rows.settled_signed.get(one.pk, ())), carried=one.carried_id, steps=tuple(steps),
        missing_steps=missing,
    )  # fmt: skip


def person_name(person: Person | None) -> PersonName | None:
    """A person of the record, as the picture names them."""
    return PersonName(person.pk, person.name) if person is not None else None
