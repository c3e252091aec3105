"""Closing a case: nothing open, or by exception on a senior person's signature and reason."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.reservations import locking
from cases.reservations.release import release_all
from cases.usage.marking import in_theatre, mark_within, right_marked
from cases.usage.models import MarkKind
from cases.usage.models_closing import CaseClosing, ExceptionReason
from cases.usage.outcomes import outcomes_within
from cases.usage.queries_record import closing_waits, unsigned
from cases.usage.signing import unsigned_mark
from trays.ledger.append import Line, record
from trays.ledger.once import Answer, act_once
from trays.staff.access import require
from trays.staff.models import Person, Signature
from trays.staff.signing import Signer, second_may, sign
from trays.web.errors import Refusal


def case_close(*, by: Person, case: Case, at: datetime, client_key: UUID | None = None) -> CaseClosing:
    """Close a case: each piece has its fate, every set is accounted for, the final count is closed. What was
    still kept for it is free again; what was used is learnt from. Missing signatures are chased.

    Raises Refusal "still-open" (facts "waits": all that it waits for), "closed-already", "case-not-open";
    NotAllowed "not-your-act".
    """
    own_role = in_theatre(by=by, site_id=case.site_id)

    def work() -> CaseClosing:
        row = _locked(case)
        waits = closing_waits(row)
        if waits:
            raise Refusal(
                "still-open", waits[0].sentence,
                _("Put it right; or a senior person closes the case by exception."),
                waits=[one.sentence for one in waits], codes=[one.code for one in waits],
            )  # fmt: skip
        closing = CaseClosing.objects.create(case=row, at=at, by=by)
        return _closed(row, closing, by, at, client_key, "case.close", own_role=own_role, lines=[])

    return _once("case.close", by, client_key, work)


def case_close_by_exception(
    *,
    by: Person,
    case: Case,
    senior: Signer,
    reason: str,
    at: datetime,
    words: str = "",
    client_key: UUID | None = None,
) -> CaseClosing:
    """Close a case although something is open: on a senior person's signature, with a reason; what was open
    then is kept with it, and chased.

    Raises Refusal "reason-missing", "say-why", "nothing-open" (close it as usual), "second-may-not",
    "closed-already", "case-not-open"; NotAllowed "not-your-act".
    """
    own_role = in_theatre(by=by, site_id=case.site_id)
    if senior.person.pk == by.pk:
        require(by=by, act="close_by_exception", site_id=case.site_id)
    else:
        second_may(senior, act="close_by_exception", site_id=case.site_id)
    if reason not in ExceptionReason.values:
        raise Refusal(
            "reason-missing", _("No reason is given."), _("Choose why it cannot wait."), field="reason"
        )
    if reason == ExceptionReason.OTHER and not words.strip():
        raise Refusal("say-why", _("No reason is given."), _("Say it in a few words."), field="words")

    def work() -> CaseClosing:
        row = _locked(case)
        waits = [one.sentence for one in closing_waits(row)]
        if not waits:
            raise Refusal("nothing-open", _("Nothing is open."), _("Close the case as usual."))
        signature = sign(
            by=senior, meaning=Signature.Meaning.CLOSED, subject="case", subject_id=row.pk,
            content=exception_content(row, reason, words.strip()[:200], waits), at=at,
        )  # fmt: skip
        closing = CaseClosing.objects.create(
            case=row, by_exception=True, reason=reason, words=words.strip()[:200], waited=waits,
            senior=senior.person, signature=signature, at=at, by=by,
        )  # fmt: skip
        mark = mark_within(
            case=row, kind=MarkKind.EXCEPTION, by=by, at=at, words=f"{senior.person.name}: {' '.join(waits)}"
        )
        return _closed(
            row, closing, by, at, client_key, "case.close-by-exception", own_role=own_role, lines=[mark],
            reason=reason,
        )  # fmt: skip

    return _once("case.close-by-exception", by, client_key, work)


def exception_content(case: Case, reason: str, words: str, waits: list[str]) -> dict[str, object]:
    """What the senior person's signature is bound to."""
    return {"format": 1, "case": case.reference, "reason": reason, "words": words, "waits": waits}


def _locked(case: Case) -> Case:
    row = locking.lock(cases=[case.pk]).cases[case.pk]
    if row.status == Case.Status.CLOSED:
        raise Refusal(
            "closed-already",
            _("Case %(reference)s is closed already.") % {"reference": row.reference},
            _("What is found out later is still taken down, and marked."),
        )
    if row.status == Case.Status.CANCELLED:
        raise Refusal(
            "case-not-open",
            _("Case %(reference)s is cancelled.") % {"reference": row.reference},
            _("Book a case if the operation took place after all."),
        )
    return row


def _closed(
    case: Case,
    closing: CaseClosing,
    by: Person,
    at: datetime,
    client_key: UUID | None,
    verb: str,
    *,
    own_role: bool,
    lines: list[Line],
    reason: str = "",
) -> CaseClosing:
    before = case.status
    case.status = Case.Status.CLOSED
    case.save(update_fields=["status"])
    lines = [Line("case", case.pk, before, case.status), Line("case_closing", closing.pk), *lines]
    lines += release_all(case=case, at=at, reason="closed")
    lines += outcomes_within(case)
    for construct, role in unsigned(case):
        lines.append(unsigned_mark(construct, role, by=by, at=at))
    lines += right_marked(own_role=own_role, case=case, by=by, at=at)
    record(
        chain=case.site.code, verb=verb, by=by, at=at, place_id=case.list.theatre_id, reason=reason,
        client_key=client_key, answer={"case_closing": closing.pk}, lines=lines,
    )  # fmt: skip
    return closing


def _once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], CaseClosing]) -> CaseClosing:
    def replay(answer: Answer) -> CaseClosing:
        return CaseClosing.objects.select_related("case").get(pk=answer["case_closing"])

    return act_once(verb=verb, by=by, client_key=client_key, work=work, replay=replay)
