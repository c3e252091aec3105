"""A count that differs: opened, gone through step by step, settled by two different people."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.acting import Act, Done, count_once, discrepancy_of, line_of, must_be_open, stage_of
from cases.counts.content import discrepancy_content
from cases.counts.ending import same_person
from cases.counts.figures import figure_of
from cases.counts.kinds_count import Key
from cases.counts.models_counts import CountLine, Stage, TheatreCount
from cases.counts.models_discrepancies import (
    RIGHT_NOW,
    Discrepancy,
    DiscrepancySigning,
    DiscrepancyState,
    DiscrepancyStep,
    Outcome,
)
from cases.counts.models_templates import StepWhen, TemplateStep
from trays.ledger.append import Line
from trays.staff.access import may
from trays.staff.models import Meaning, Person
from trays.staff.signing import Signer, sign
from trays.web.errors import NotThere, Refusal


def discrepancy_open(
    *,
    by: Person,
    case: Case,
    stage: Key,
    line: Key,
    at: datetime,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Discrepancy:
    """A line differs and stays so after a look: its steps begin. More than expected differs as fewer does.

    The same difference settled at an earlier stage is carried over: its steps need not be done again. Raises
    Refusal "stage-not-open", "not-counted-yet", "conflict-first", "does-not-differ", "opened-already".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Discrepancy]:
        own_stage, own_line = stage_of(count, stage), line_of(count, line)
        must_be_open(own_stage)
        expected, counted = _differing(own_stage, own_line)
        made = Discrepancy.objects.create(
            stage=own_stage, line=own_line, expected=expected, counted=counted, opened_at=act.at,
            opened_by=act.by, device_at=act.device_at,
            carried=_carried(own_stage, own_line, counted - expected),
        )  # fmt: skip
        return Done(made, [Line("discrepancy", made.pk, "", "open")], {"discrepancy": made.pk})

    return count_once(act, case, "discrepancy.open", work, _again)


def _differing(stage: Stage, line: CountLine) -> tuple[int, int]:
    figure = figure_of(stage, line)
    if stage.discrepancies.filter(line=line, state=DiscrepancyState.OPEN).exists():
        raise Refusal(
            "opened-already", _("The discrepancy of this line is open already."), _("Go on with its steps.")
        )
    if figure.counted is None:
        raise Refusal(
            "not-counted-yet", _("%(what)s has not been counted.") % {"what": line.name}, _("Count it first.")
        )
    if figure.conflict:
        raise Refusal(
            "conflict-first",
            _("Two devices gave two numbers for %(what)s.") % {"what": line.name},
            _("Count it again first."),
        )
    if figure.balanced:
        raise Refusal(
            "does-not-differ", _("%(what)s does not differ.") % {"what": line.name}, _("Nothing to settle.")
        )
    return figure.should_be, figure.counted


def _carried(stage: Stage, line: CountLine, difference: int) -> Discrepancy | None:
    """The last one settled for this line at another stage, where it came to the same difference."""
    last = (
        Discrepancy.objects.filter(line=line, state=DiscrepancyState.SETTLED)
        .exclude(stage=stage).order_by("-pk").first()
    )  # fmt: skip
    if last is None or last.settled_counted is None or last.settled_expected is None:
        return None
    return last if last.settled_counted - last.settled_expected == difference else None


def step_done(
    *,
    by: Person,
    case: Case,
    discrepancy: Key,
    number: int,
    at: datetime,
    done: bool = True,
    note: str = "",
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> DiscrepancyStep:
    """Answer a step: done, or not done and why. One that was not done may be done later.

    Raises Refusal "settled-already", "step-done-already", "reason-missing"; NotThere "no-such-step".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[DiscrepancyStep]:
        own = discrepancy_of(count, discrepancy)
        _refuse_settled(own)
        step = TemplateStep.objects.filter(template=count.template, number=number).first()
        if step is None:
            raise NotThere("no-such-step", _("There is no such step."), _("Load the page again."))
        if own.steps.filter(number=number, done=True).exists():
            raise Refusal("step-done-already", _("This step was done already."), _("Go on with the next."))
        if not done and not note.strip():
            raise Refusal("reason-missing", _("Why the step is left out is not said."), _("Write it down."))
        made = DiscrepancyStep.objects.create(
            discrepancy=own, number=number, kind=step.kind, words=step.words, when=step.when, done=done,
            note=note.strip()[:200], at=act.at, device_at=act.device_at, by=act.by,
        )  # fmt: skip
        line = Line("discrepancy", own.pk, "open", f"step_{step.kind}" if done else "step_left_out")
        return Done(made, [line], {"step": made.pk})

    return count_once(
        act, case, "discrepancy.step", work, lambda answer: DiscrepancyStep.objects.get(pk=answer["step"])
    )


def discrepancy_settle(
    *,
    by: Person,
    case: Case,
    discrepancy: Key,
    outcome: str,
    second: Person,
    at: datetime,
    note: str = "",
    report: str = "",
    signed: Sequence[Signer] = (),
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Discrepancy:
    """Settle a discrepancy: two different people say aloud how it ended. It holds for these figures only.

    `by` enters it, `second` agreed; `signed` are those of the two whose PIN was just found right, the others
    sign after unscrubbing. An outcome that says the count is right is taken only when it is. Raises Refusal
    "same-person", "second-may-not", "steps-open" (`facts["steps"]`), "not-right-yet", "right-now" (the line
    does not differ, so the outcome that says so is wrong), "conflict-first", "note-missing", "no-outcome",
    "settled-already", "signed-by-another"; NotThere.
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Discrepancy]:
        own = discrepancy_of(count, discrepancy)
        _refuse_settled(own)
        _check_two(case, by, second, signed)
        _check_outcome(count, own, outcome, note)
        figure = figure_of(own.stage, own.line)
        own.state, own.outcome, own.note = DiscrepancyState.SETTLED, outcome, note.strip()[:300]
        own.report, own.settled_at = report.strip()[:40], act.at
        own.settled_expected, own.settled_counted = figure.should_be, figure.counted
        own.first, own.second = by, second
        own.save()
        lines = [Line("discrepancy", own.pk, "open", outcome)]
        lines += [discrepancy_sign(own, one, at) for one in signed]
        return Done(own, lines, {"discrepancy": own.pk})

    return count_once(act, case, "discrepancy.settle", work, _again)


def discrepancy_sign(discrepancy: Discrepancy, signer: Signer, at: datetime) -> Line:
    """One of the two signs a settled discrepancy, within a larger act."""
    signature = sign(
        by=signer, meaning=Meaning.SETTLED, subject="discrepancy", subject_id=discrepancy.pk,
        content=discrepancy_content(discrepancy), at=at,
    )  # fmt: skip
    DiscrepancySigning.objects.create(discrepancy=discrepancy, person=signer.person, signature=signature)
    return Line("discrepancy", discrepancy.pk, "settled", "signed")


def steps_open(discrepancy: Discrepancy, steps: Sequence[TemplateStep], *, found: bool) -> list[int]:
    """Numbers of steps that have no answer yet and are wanted before it is settled."""
    if discrepancy.carried_id is not None:
        return []
    answered = {one.number for one in discrepancy.steps.all()}
    wanted = {StepWhen.ALWAYS} if found else {StepWhen.ALWAYS, StepWhen.NOT_FOUND}
    return [step.number for step in steps if step.when in wanted and step.number not in answered]


def _check_two(case: Case, by: Person, second: Person, signed: Sequence[Signer]) -> None:
    if by.pk == second.pk:
        raise same_person()
    if not may(by=second, act="sign_record", site_id=case.site_id):
        raise Refusal(
            "second-may-not",
            _("The role of %(name)s does not include this here.") % {"name": second.name},
            _("Let another person settle it with you."),
        )
    if any(one.person.pk not in (by.pk, second.pk) for one in signed):
        raise Refusal(
            "signed-by-another",
            _("The one who signs is neither of the two who settle it."),
            _("Name the two who do."),
        )


def _check_outcome(count: TheatreCount, own: Discrepancy, outcome: str, note: str) -> None:
    if outcome not in Outcome.values:
        raise Refusal("no-outcome", _("How it ended is not said."), _("Choose one of the outcomes."))
    figure = figure_of(own.stage, own.line)
    if figure.conflict or figure.counted is None:
        raise Refusal(
            "conflict-first", _("The line has no number that both agree on."), _("Count it again first.")
        )
    found = outcome in RIGHT_NOW
    if found and not figure.balanced:
        raise Refusal(
            "not-right-yet",
            _("The count still differs: there should be %(expected)s, %(counted)s were counted.")
            % {"expected": figure.should_be, "counted": figure.counted},
            _("Enter the count again, or write down what came on; then settle it."),
        )
    if not found and figure.balanced:
        raise Refusal(
            "right-now", _("The count is right now."), _("Choose the outcome that says how it came right.")
        )
    left = steps_open(own, list(count.template.steps.all()), found=found)
    if left:
        raise Refusal(
            "steps-open",
            _("Not all steps have an answer: %(steps)s.") % {"steps": ", ".join(map(str, left))},
            _("Do them, or say why one is left out."),
            steps=left,
        )
    if not found and not note.strip():
        raise Refusal(
            "note-missing",
            _("What was done and what follows is not written down."),
            _("Write it in a sentence."),
        )


def _refuse_settled(own: Discrepancy) -> None:
    if own.state == DiscrepancyState.SETTLED:
        raise Refusal("settled-already", _("This discrepancy has been settled."), _("Load the page again."))


def _again(answer: dict[str, int]) -> Discrepancy:
    return Discrepancy.objects.get(pk=answer["discrepancy"])
