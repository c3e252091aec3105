"""The check of a set on arrival, and of what came sealed: accepted, accepted with exception, or refused."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.instruments.models import ContentsLine, Pack, PackLine, PackState
from trays.ledger.append import Line
from trays.loans.acting import Locked, Who, act_on
from trays.loans.models import CheckOutcome, Loan, LoanCheck, LoanCheckLine, LoanSet
from trays.loans.moving import loan_step_within, require_status
from trays.loans.ways import LoanStatus
from trays.loans.words import TURN_AWAY
from trays.parties.queries import site_day
from trays.processing.moving import Step, move
from trays.processing.policies import policy_on
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal

S = LoanStatus
MOST_FOUND = 999


@dataclass(frozen=True, slots=True)
class Findings:
    """What was found of one set. `counted` by the id of the contents line; what is not named agrees.

    `weight_grams` is that of its heaviest tray.
    """

    instructions: bool
    certificate: bool
    undamaged: bool
    weight_grams: int
    certificate_number: str = ""
    counted: Mapping[int, int] = field(default_factory=dict)


def loan_check(
    *,
    by: Person,
    loan_set: LoanSet,
    findings: Findings,
    outcome: str,
    reason: str = "",
    note: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Loan:
    """Check one set that came: accept it, accept it with an exception, or refuse it.

    Accepted, its packs begin the round; refused, they stay in quarantine until they go home. Checked again
    before they have moved on, the later check counts. `reason` is one of `words.TURN_AWAY`.

    Raises Refusal "not-here", "check-not-whole" (says what speaks against it), "reason-missing",
    "no-instructions", "weight-missing", "found-out-of-range", "set-has-moved-on", "no-way-loan",
    "loan-ended"; NotAllowed.
    """
    loan = loan_set.loan
    require(by=by, act="receive_loan", site_id=loan.site_id)
    who = Who(by, at, client_key)
    outcome = CheckOutcome(outcome)

    def change(locked: Locked) -> list[Line]:
        own = locked.loan
        row = _row(own, loan_set)
        packs = [pack for pack in locked.packs if pack.set_id == row.set_id]
        _check_moved(row, packs)
        made = _write(row, own, findings, outcome, reason, note, who)
        lines = _packs_follow(row, packs, outcome, who)
        if outcome != CheckOutcome.REFUSED:
            _contents_are(made)
        return [*lines, Line("loan_set", row.pk, "", outcome), *_status_follows(own, reason, who)]

    return act_on(loan, who, "loan.check", change, things=True, reason=reason)


def loan_units_check(*, by: Person, loan: Loan, at: datetime, client_key: UUID | None = None) -> Loan:
    """Say of a loan that came as sealed units alone that it is checked: whole, intact, in date.

    Raises Refusal "sets-to-check", "nothing-came", "no-way-loan", "loan-ended"; NotAllowed.
    """
    require(by=by, act="receive_loan", site_id=loan.site_id)
    who = Who(by, at, client_key)

    def change(locked: Locked) -> list[Line]:
        own = locked.loan
        require_status(own, S.ARRIVED, after=S.CHECKED)
        if own.sets.filter(open=True, set__isnull=False, outcome="").exists():
            raise Refusal(
                "sets-to-check", _("A set of this loan waits for its check."), _("Check each set by itself.")
            )
        if not own.units.exists():
            raise Refusal("nothing-came", _("No sealed unit has been scanned in."), _("Scan them in first."))
        return [loan_step_within(loan=own, after=S.CHECKED, by=by, at=at)]

    return act_on(loan, who, "loan.units-check", change)


def _row(loan: Loan, loan_set: LoanSet) -> LoanSet:
    require_status(loan, S.ARRIVED, S.CHECKED, S.REFUSED, after=S.CHECKED)
    rows = LoanSet.objects.select_for_update(of=("self",)).select_related("set")
    row = rows.filter(pk=loan_set.pk, loan=loan, open=True, set__isnull=False).first()
    if row is None:
        raise Refusal(
            "not-here",
            _("This set of the loan is not here."),
            _("Take its arrival down first."),
        )
    return row


def _check_moved(row: LoanSet, packs: list[Pack]) -> None:
    """Once its packs have gone on from the door, the check on arrival stands."""
    first = (PackState.QUARANTINED,) if not row.outcome else (PackState.QUARANTINED, PackState.RECEIVED)
    moved = [pack for pack in packs if pack.state not in first]
    if row.outcome and moved:
        raise Refusal(
            "set-has-moved-on",
            _("Pack %(pack)s has gone on from the door since.") % {"pack": moved[0].number},
            _("What is found now is taken down on the bench."),
        )


def _write(
    row: LoanSet,
    loan: Loan,
    findings: Findings,
    outcome: CheckOutcome,
    reason: str,
    note: str,
    who: Who,
) -> LoanCheck:
    lines = ContentsLine.objects.filter(version__sets=row.set_id)
    contents = list(lines.order_by("tray", "number"))
    found = {line.pk: findings.counted.get(line.pk, line.quantity) for line in contents}
    if any(not 0 <= count <= MOST_FOUND for count in found.values()):
        raise Refusal("found-out-of-range", _("This is no count."), _("Put the number right."))
    limit = policy_on(site=loan.site, day=site_day(loan.site, who.at)).weight_limit_grams
    agree = all(found[line.pk] == line.quantity for line in contents)
    _check_outcome(findings, outcome, reason, agree=agree, limit=limit)
    made = LoanCheck.objects.create(
        loan_set=row,
        number=row.checks.count() + 1,
        at=who.at,
        by=who.by,
        contents_agree=agree,
        instructions=findings.instructions,
        certificate=findings.certificate,
        certificate_number=findings.certificate_number,
        undamaged=findings.undamaged,
        weight_grams=findings.weight_grams,
        weight_limit_grams=limit,
        outcome=outcome,
        reason="" if outcome == CheckOutcome.ACCEPTED else reason,
        note=note,
    )
    LoanCheckLine.objects.bulk_create(
        [
            LoanCheckLine(check_row=made, line=line, expected=line.quantity, found=found[line.pk])
            for line in contents
        ]
    )
    row.outcome = outcome
    row.save(update_fields=["outcome"])
    return made


def _check_outcome(
    findings: Findings, outcome: CheckOutcome, reason: str, *, agree: bool, limit: int
) -> None:
    if findings.weight_grams < 1:
        raise Refusal("weight-missing", _("The weight is missing."), _("Weigh the heaviest tray."))
    against = speaks_against(findings, agree=agree, limit=limit)
    if outcome == CheckOutcome.ACCEPTED and against:
        raise Refusal(
            "check-not-whole",
            _("This speaks against it: %(what)s.") % {"what": "; ".join(against)},
            _("Accept it with an exception and its reason, or refuse it."),
        )
    if outcome != CheckOutcome.ACCEPTED and reason not in TURN_AWAY:
        raise Refusal("reason-missing", _("The reason is missing."), _("Choose why."))
    if outcome == CheckOutcome.EXCEPTION and not findings.instructions:
        raise Refusal(
            "no-instructions",
            _("Without its maker's instructions nobody can clean and sterilize it."),
            _("Refuse it, or have the instructions sent and check it again."),
        )


def speaks_against(findings: Findings, *, agree: bool, limit: int) -> list[str]:
    """What keeps a set from being accepted as it is, in words."""
    found = []
    if not agree:
        found.append(_("its contents do not agree with the list"))
    if not findings.instructions:
        found.append(_("no instructions"))
    if not findings.certificate:
        found.append(_("no certificate of decontamination"))
    if not findings.undamaged:
        found.append(_("something is damaged"))
    if findings.weight_grams > limit:
        found.append(
            _("%(kg)s kg, at most %(limit)s kg")
            % {"kg": f"{findings.weight_grams / 1000:.2f}", "limit": f"{limit / 1000:.2f}"}
        )
    return found


def _packs_follow(row: LoanSet, packs: list[Pack], outcome: CheckOutcome, who: Who) -> list[Line]:
    """Into the round, or into quarantine; those that stand there already stay."""
    after = PackState.QUARANTINED if outcome == CheckOutcome.REFUSED else PackState.RECEIVED
    why = "loan-refused" if outcome == CheckOutcome.REFUSED else "loan-accepted"
    first = (PackState.QUARANTINED, PackState.RECEIVED)
    moving = [pack for pack in packs if pack.state != after and pack.state in first]
    return move(moving, after, Step(by=who.by, at=who.at, reason=why)) if moving else []


def _contents_are(made: LoanCheck) -> None:
    """What was counted on arrival is what its packs hold."""
    packs = dict(Pack.objects.filter(set=made.loan_set.set_id).values_list("tray", "pk"))
    PackLine.objects.filter(pack_id__in=packs.values()).delete()
    lines = made.lines.select_related("line")
    PackLine.objects.bulk_create(
        [PackLine(pack_id=packs[row.line.tray], line=row.line, present=row.found) for row in lines]
    )


def _status_follows(loan: Loan, reason: str, who: Who) -> list[Line]:
    """Checked when every set that is here has its outcome; refused when nothing at all was accepted."""
    rows = list(loan.sets.filter(open=True))
    here = [row for row in rows if row.set_id is not None]
    if any(not row.outcome for row in here):
        return []
    accepted = any(row.outcome != CheckOutcome.REFUSED for row in here) or loan.units.exists()
    pending = any(row.set_id is None for row in rows)
    if accepted and loan.status in (S.ARRIVED, S.REFUSED):
        return [loan_step_within(loan=loan, after=S.CHECKED, by=who.by, at=who.at)]
    if not accepted and not pending and loan.status in (S.ARRIVED, S.CHECKED):
        return [loan_step_within(loan=loan, after=S.REFUSED, by=who.by, at=who.at, reason=reason)]
    return []
