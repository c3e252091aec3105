"""The one place where a loan changes its status: locked, checked against the ways, and written as a step."""

from datetime import datetime

from django.utils.translation import gettext as _

from trays.ledger.append import Line
from trays.loans.models import Loan, LoanStep
from trays.loans.ways import ENDS, LoanStatus, way
from trays.loans.words import status_word
from trays.staff.models import Person
from trays.web.errors import Refusal


def lock_loan(pk: int) -> Loan:
    """The loan, locked; call inside the transaction of the act, after its packs and units are.

    Raises Refusal "loan-ended" for one that has ended.
    """
    own = Loan.objects.filter(pk=pk)
    list(own.select_for_update().values_list("pk", flat=True))
    loan = own.select_related("site", "supplier", "offer").get()
    if loan.ended_at is not None:
        raise Refusal(
            "loan-ended",
            _("Loan %(loan)s has ended: it is %(state)s.")
            % {"loan": loan.number, "state": status_word(loan.status)},
            _("Look at its record; what comes now is a loan of its own."),
        )
    return loan


def loan_step_within(
    *,
    loan: Loan,
    after: str,
    by: Person,
    at: datetime,
    happened_at: datetime | None = None,
    reason: str = "",
) -> Line:
    """Take a locked loan to a status; return the event's line. The caller records the event.

    `happened_at` is when it came to be so, where that is not now. Raises Refusal "no-way-loan".
    """
    if not way(loan.status, after):
        raise no_way(loan, after)
    before = loan.status
    step_write(loan=loan, before=before, after=after, by=by, at=happened_at or at, recorded_at=at, why=reason)
    loan.status = after
    changed = ["status"]
    ends_for_a_reason = after in (LoanStatus.REFUSED, LoanStatus.CANCELLED)
    if ends_for_a_reason or loan.end_reason:
        loan.end_reason = reason if ends_for_a_reason else ""
        changed.append("end_reason")
    if after in ENDS:
        loan.ended_at = at
        changed.append("ended_at")
    loan.save(update_fields=changed)
    return Line("loan", loan.pk, before, after)


def step_write(
    *, loan: Loan, before: str, after: str, by: Person, at: datetime, recorded_at: datetime, why: str = ""
) -> LoanStep:
    """The step alone: the database lets a status change only where one says so."""
    newest = LoanStep.objects.filter(loan=loan).order_by("-sequence").values_list("sequence", flat=True)
    return LoanStep.objects.create(
        loan=loan,
        sequence=(newest.first() or 0) + 1,
        before=before,
        after=after,
        at=at,
        recorded_at=recorded_at,
        by=by,
        reason=why,
    )


def require_status(loan: Loan, *allowed: str, after: str) -> None:
    """Refuse, with code "no-way-loan", unless the loan is in one of the states."""
    if loan.status not in allowed:
        raise no_way(loan, after)


def no_way(loan: Loan, after: str) -> Refusal:
    """What is said of a loan that cannot take this step."""
    return Refusal(
        "no-way-loan",
        _("Loan %(loan)s is %(state)s; it cannot be %(after)s from there.")
        % {"loan": loan.number, "state": status_word(loan.status), "after": status_word(after)},
        _("Somebody may have taken a step a moment ago: load the page again."),
        loan_id=loan.pk,
        state=loan.status,
    )
