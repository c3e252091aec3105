"""How a stage ends, who relieves whom, what interrupts it: closed, not done, handed over, paused."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Max
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.acting import Act, Done, count_once, must_be_open, open_stage, stage_of
from cases.counts.counting import recount_within
from cases.counts.ending import close_within, end_within, named, same_person
from cases.counts.kinds_count import Key
from cases.counts.models_counts import (
    Entry,
    HandOver,
    Pause,
    Stage,
    StageClass,
    StageState,
    TheatreCount,
)
from cases.counts.models_templates import StageKind, TemplateStage
from trays.ledger.append import Line
from trays.staff.models import Person, RoleKind
from trays.web.errors import Refusal


def stage_close(
    *,
    by: Person,
    case: Case,
    stage: Key,
    scrub: Person,
    circulating: Person,
    at: datetime,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Stage:
    """Close a stage: both have agreed aloud that it is right; they sign once they have unscrubbed.

    Raises Refusal "not-balanced" (`facts["lines"]` differ, `facts["open"]` were not counted,
    `facts["conflicts"]` have two numbers), "discrepancy-open", "same-person", "count-paused",
    "stage-not-open"; NotThere "no-such-stage".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Stage]:
        own = stage_of(count, stage)
        must_be_open(own)
        close_within(own, act, scrub=(scrub, scrub.name), circulating=(circulating, circulating.name))
        return Done(own, [Line("stage", own.pk, "open", "closed")], {"stage": own.pk})

    return count_once(act, case, "stage.close", work, _again)


def stage_not_done(
    *,
    by: Person,
    case: Case,
    stage: Key,
    reason: str,
    follow_up: str,
    decided_by: str,
    at: datetime,
    scrub: Person | None = None,
    circulating: Person | None = None,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Stage:
    """End a stage as not done in an emergency: why, who decided, and what follows (an x-ray, say).

    Raises Refusal "reason-missing", "follow-up-missing", "nobody-named", "same-person", "stage-has-ended".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Stage]:
        own = stage_of(count, stage)
        _refuse_ended(own)
        _said("reason-missing", reason, _("Why the stage was not done is not said."))
        _said("follow-up-missing", follow_up, _("What follows instead is not said."))
        _said("nobody-named", decided_by, _("Who decided it is not said."))
        before = own.state
        if own.begun_at is None:
            own.begun_at, own.begun_by = act.at, act.by
        own.reason, own.follow_up = reason.strip()[:200], follow_up.strip()[:200]
        own.decided_by = decided_by.strip()[:120]
        people = named(scrub or count.scrub), named(circulating or count.circulating)
        end_within(own, StageState.NOT_DONE, act, scrub=people[0], circulating=people[1])
        return Done(own, [Line("stage", own.pk, before, "not_done")], {"stage": own.pk}, "emergency")

    return count_once(act, case, "stage.not_done", work, _again)


def follow_up_done(
    *, by: Person, case: Case, stage: Key, note: str, at: datetime, client_key: UUID | None = None
) -> Stage:
    """Say that what was to follow a stage that was not done has been done, and what it showed.

    Raises Refusal "nothing-to-follow", "followed-already", "reason-missing".
    """
    act = Act(by, at, client_key)

    def work(count: TheatreCount) -> Done[Stage]:
        own = stage_of(count, stage)
        if own.state != StageState.NOT_DONE:
            raise Refusal(
                "nothing-to-follow", _("Nothing was to follow this stage."), _("Load the page again.")
            )
        if own.followed_at is not None:
            raise Refusal(
                "followed-already", _("This has been written down already."), _("Load the page again.")
            )
        _said("reason-missing", note, _("What it showed is not said."))
        own.followed_at, own.followed_by, own.followed_note = act.at, act.by, note.strip()[:200]
        own.save(update_fields=["followed_at", "followed_by", "followed_note"])
        return Done(own, [Line("stage", own.pk, "not_done", "followed_up")], {"stage": own.pk})

    return count_once(act, case, "stage.follow_up", work, _again)


def count_ask(
    *,
    by: Person,
    case: Case,
    at: datetime,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Stage:
    """Ask for one more count, as any member of the team may; it stands after what has been done so far."""
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Stage]:
        made = _more(count, StageKind.EXTRA, _("Extra count"))
        return Done(made, [Line("stage", made.pk, "", "waiting")], {"stage": made.pk})

    return count_once(act, case, "count.ask", work, _again)


def hand_over(
    *,
    by: Person,
    case: Case,
    seat: str,
    to: Person,
    at: datetime,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> HandOver:
    """A counter is relieved: from now on `to` counts, and a hand-over count is to be done.

    `seat` is "scrub_nurse" or "circulating_nurse". A class that was under way is counted again. Raises
    Refusal "no-such-seat", "same-person", "counts-already".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[HandOver]:
        before = _relieve(count, seat, to)
        under_way = open_stage(count)
        if under_way is not None:
            _last_class_again(under_way, act, "hand_over")
        stage = _more(count, StageKind.HAND_OVER, _("Hand-over"))
        made = HandOver.objects.create(
            count=count, stage=stage, seat=seat, before=before, after=to, at=act.at, by=act.by,
            device_at=act.device_at,
        )  # fmt: skip
        lines = [Line("hand_over", made.pk, "", seat), Line("stage", stage.pk, "", "waiting")]
        return Done(made, lines, {"hand_over": made.pk, "stage": stage.pk})

    return count_once(
        act, case, "count.hand_over", work, lambda answer: HandOver.objects.get(pk=answer["hand_over"])
    )


def _relieve(count: TheatreCount, seat: str, to: Person) -> Person | None:
    names = {RoleKind.SCRUB_NURSE: "scrub", RoleKind.CIRCULATING_NURSE: "circulating"}
    if seat not in names:
        raise Refusal("no-such-seat", _("Nobody counts in that place."), _("Choose scrub or circulating."))
    name = names[RoleKind(seat)]
    other = count.circulating if name == "scrub" else count.scrub
    before: Person | None = getattr(count, name)
    if other is not None and other.pk == to.pk:
        raise same_person()
    if before is not None and before.pk == to.pk:
        raise Refusal(
            "counts-already",
            _("%(name)s counts there already.") % {"name": to.name},
            _("Name the person who takes over."),
        )
    setattr(count, name, to)
    count.save(update_fields=[name])
    return before


def count_pause(
    *,
    by: Person,
    case: Case,
    at: datetime,
    klass: str = "",
    reason: str = "",
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Pause:
    """The count is interrupted, at a class or between two. Raises Refusal "paused-already"."""
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Pause]:
        if Pause.objects.filter(count=count, resumed_at__isnull=True).exists():
            raise Refusal(
                "paused-already", _("The count is interrupted already."), _("Go on when you are both ready.")
            )
        made = Pause.objects.create(
            count=count, stage=open_stage(count), klass=klass, reason=reason[:40], at=act.at, by=act.by
        )
        return Done(made, [Line("count_pause", made.pk, "", "paused")], {"pause": made.pk}, reason[:40])

    return count_once(act, case, "count.pause", work, lambda answer: Pause.objects.get(pk=answer["pause"]))


def count_resume(
    *,
    by: Person,
    case: Case,
    at: datetime,
    recount: bool = True,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Pause:
    """The count goes on; the class that was under way is counted again, unless there was none.

    Raises Refusal "not-paused".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Pause]:
        pause = Pause.objects.filter(count=count, resumed_at__isnull=True).select_related("stage").first()
        if pause is None:
            raise Refusal("not-paused", _("The count is not interrupted."), _("Load the page again."))
        pause.resumed_at, pause.resumed_by = act.at, act.by
        pause.save(update_fields=["resumed_at", "resumed_by"])
        lines = [Line("count_pause", pause.pk, "paused", "resumed")]
        stage = pause.stage
        if recount and pause.klass and stage is not None and stage.state == StageState.OPEN:
            recount_within(stage, pause.klass, act, reason="interrupted")
            lines.append(Line("stage", stage.pk, "open", "recount"))
        return Done(pause, lines, {"pause": pause.pk})

    return count_once(act, case, "count.resume", work, lambda answer: Pause.objects.get(pk=answer["pause"]))


def _more(count: TheatreCount, kind: str, word: str) -> Stage:
    """One stage more, after the last that has begun; worded by the template where it has such a stage."""
    pattern = TemplateStage.objects.filter(template=count.template, kind=kind).first()
    begun = Stage.objects.filter(count=count).exclude(state=StageState.WAITING)
    number = begun.aggregate(n=Max("number"))["n"] or 1
    turn = (Stage.objects.filter(count=count, number=number).aggregate(n=Max("turn"))["n"] or 0) + 1
    made = Stage.objects.create(
        count=count, number=number, turn=turn, kind=kind,
        mark=f"{pattern.mark if pattern else '+'}{_nth(count, kind)}",
        word=pattern.word if pattern else word, when=pattern.when if pattern else "",
        signers=pattern.signers if pattern else [RoleKind.SCRUB_NURSE, RoleKind.CIRCULATING_NURSE],
    )  # fmt: skip
    own = pattern.number if pattern else None
    classes = [
        one.klass for one in count.template.classes.all()
        if own is None or not one.stages or own in one.stages
    ]  # fmt: skip
    StageClass.objects.bulk_create(StageClass(stage=made, klass=klass) for klass in classes)
    return made


def _nth(count: TheatreCount, kind: str) -> str:
    earlier = Stage.objects.filter(count=count, kind=kind).count()
    return str(earlier + 1) if earlier else ""


def _last_class_again(stage: Stage, act: Act, reason: str) -> None:
    last = Entry.objects.filter(stage=stage).select_related("line").order_by("-pk").first()
    if last is not None and stage.classes.filter(klass=last.line.klass).exists():
        recount_within(stage, last.line.klass, act, reason=reason)


def _said(code: str, text: str, sentence: str) -> None:
    if not text.strip():
        raise Refusal(code, sentence, _("Write it down, then give it once more."))


def _refuse_ended(stage: Stage) -> None:
    if stage.ended:
        raise Refusal(
            "stage-has-ended",
            _("The stage %(stage)s has ended.") % {"stage": stage.word},
            _("Load the page again."),
        )


def _again(answer: dict[str, Any]) -> Stage:
    return Stage.objects.get(pk=answer["stage"])
