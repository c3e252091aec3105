"""A set fails on the table: off the field and quarantined, sterile services told, their answer kept."""

from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.picks.models import PackFor
from cases.reservations import locking
from cases.usage.marking import in_theatre, right_marked
from cases.usage.models_closing import FailureAnswer, FailureCause, SetFailure
from cases.usage.within import moment
from trays.instruments.models import Pack, PackState
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.processing.moving import Step, lock_packs, move
from trays.processing.storing import open_within
from trays.processing.ways import way
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


def set_fail(
    *,
    by: Person,
    case: Case,
    pack: Pack,
    cause: str,
    at: datetime,
    words: str = "",
    opened: bool = True,
    wanted: Pack | None = None,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> SetFailure:
    """Take down that a pack failed on the table: it is off the field and in quarantine, and sterile services
    see it on their list of work. `wanted` is the ready pack that theatre asks for instead.

    Raises Refusal "no-such-cause", "say-why", "failed-already"; NotAllowed "not-your-act".
    """
    own_role = in_theatre(by=by, site_id=case.site_id)
    if cause not in FailureCause.values:
        raise Refusal("no-such-cause", _("No cause is chosen."), _("Choose what is wrong with it."))
    if cause == FailureCause.OTHER and not words.strip():
        raise Refusal(
            "say-why", _("No cause is given."), _("Say in a few words what is wrong."), field="words"
        )

    def work() -> SetFailure:
        locking.lock(cases=[case.pk])
        (row,) = lock_packs([pack.pk])
        if SetFailure.objects.filter(pack=row, round=row.round).exists():
            raise Refusal(
                "failed-already",
                _("Pack %(pack)s has been taken off the field already.") % {"pack": row.number},
                _("Look at what sterile services answered."),
            )
        when = moment(happened_at, at)
        made = SetFailure.objects.create(
            case=case, site=row.set.site, pack=row, round=row.round, cause=cause, words=words.strip()[:200],
            opened=opened, wanted=wanted, at=when, recorded_at=at, by=by,
        )  # fmt: skip
        lines = [
            Line("set_failure", made.pk, "", cause),
            *_off_the_field(case, row, cause, opened, by, at, when),
        ]
        lines += right_marked(own_role=own_role, case=case, by=by, at=at)
        record(
            chain=case.site.code, verb="pack.fail-on-table", by=by, at=at, happened_at=happened_at,
            place_id=case.list.theatre_id, reason=f"table-{cause}", client_key=client_key,
            answer={"set_failure": made.pk}, lines=lines,
        )  # fmt: skip
        return made

    return act_once(
        verb="pack.fail-on-table", by=by, client_key=client_key, work=work,
        replay=lambda answer: SetFailure.objects.get(pk=answer["set_failure"]),
    )  # fmt: skip


def _off_the_field(
    case: Case, pack: Pack, cause: str, opened: bool, by: Person, at: datetime, when: datetime
) -> list[Line]:
    """The pack's steps, and that it was with this case: opened for it, or handed back unopened."""
    lines: list[Line] = []
    own = PackFor.objects.filter(case=case, pack=pack, round=pack.round, returned_at__isnull=True)
    if opened:
        if pack.state not in Pack.IN_USE and way(pack.state, PackState.OPENED):
            lines += open_within(by=by, locked=[pack], place=case.list.theatre, at=at, happened_at=when)
        PackFor.objects.filter(
            pack=pack, round=pack.round, returned_at__isnull=True, opened_at__isnull=True
        ).exclude(case=case).update(returned_at=at, returned_by=by)
        row, _made = PackFor.objects.get_or_create(
            case=case, pack=pack, round=pack.round, returned_at=None,
            defaults={"issued_at": when, "issued_by": by},
        )  # fmt: skip
        if row.opened_at is None:
            row.opened_at, row.opened_by = when, by
            row.save(update_fields=["opened_at", "opened_by"])
    else:
        own.filter(opened_at__isnull=True).update(returned_at=at, returned_by=by)
    if way(pack.state, PackState.QUARANTINED):
        step = Step(by=by, at=at, happened_at=when, place=case.list.theatre, reason=f"table-{cause}")
        lines += move([pack], PackState.QUARANTINED, step)
    return lines


def set_fail_answer(
    *,
    by: Person,
    failure: SetFailure,
    answer: str,
    at: datetime,
    words: str = "",
    replacement: Pack | None = None,
    client_key: UUID | None = None,
) -> SetFailure:
    """Sterile services answer: what comes instead, and when; shown in the theatre.

    Raises Refusal "no-such-answer", "answered-already", "which-pack" (one is on its way, but not named),
    "another-site"; NotAllowed "not-your-act".
    """
    require(by=by, act="answer_theatre", site_id=failure.site_id)
    if answer not in FailureAnswer.values:
        raise Refusal("no-such-answer", _("No answer is chosen."), _("Choose what theatre is to know."))
    if answer == FailureAnswer.COMING and replacement is None:
        raise Refusal(
            "which-pack", _("It is not said which pack comes."), _("Scan or choose the pack that is sent.")
        )
    if replacement is not None and replacement.set.site_id != failure.site_id:
        raise Refusal(
            "another-site",
            _("This pack belongs to another site."),
            _("Say that it is fetched from elsewhere."),
        )

    def work() -> SetFailure:
        row = SetFailure.objects.select_for_update().get(pk=failure.pk)
        if row.answer:
            raise Refusal(
                "answered-already",
                _("Answered already: %(answer)s.") % {"answer": row.get_answer_display().lower()},
                _("Load the page again; ring the theatre if it is different now."),
            )
        row.answer, row.answer_words, row.replacement = answer, words.strip()[:200], replacement
        row.answered_at, row.answered_by = at, by
        row.save(update_fields=["answer", "answer_words", "replacement", "answered_at", "answered_by"])
        lines = [Line("set_failure", row.pk, row.cause, answer)]
        record(
            chain=row.site.code, verb="pack.fail-answer", by=by, at=at, client_key=client_key,
            answer={"set_failure": row.pk}, lines=lines,
        )  # fmt: skip
        return row

    return act_once(
        verb="pack.fail-answer", by=by, client_key=client_key, work=work,
        replay=lambda answered: SetFailure.objects.get(pk=answered["set_failure"]),
    )  # fmt: skip
