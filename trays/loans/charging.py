"""What the supplier claims for a loan: taken down, accepted against what is on record, or refused."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Sum
from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.ledger.append import Line
from trays.loans.acting import Locked, Who, act_on
from trays.loans.models import Loan
from trays.loans.models_charges import ChargeKind, ChargeStatus, LoanCharge, LoanChargeUse
from trays.loans.queries_agreements import prices_on
from trays.loans.words import CHARGE
from trays.parties.queries import site_day
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal

MOST_MONEY = Decimal(10_000_000)
MOST_USES = 200


def charge_claim(
    *,
    by: Person,
    loan: Loan,
    kind: str,
    amount: Decimal,
    currency: str = "",
    component: Component | None = None,
    quantity: int = 1,
    reference: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Loan:
    """Take down what the supplier claims: the hire, so many of an item as used, or something missing.

    Raises Refusal "used-of-what", "not-of-this-loan", "amount-out-of-range", "loan-ended"; NotAllowed.
    """
    require(by=by, act="keep_agreements", site_id=loan.site_id)
    kind = ChargeKind(kind)
    if not 0 <= amount < MOST_MONEY or not 1 <= quantity <= MOST_USES:
        raise Refusal(
            "amount-out-of-range", _("This amount or number cannot be."), _("Put the figure right.")
        )
    if kind == ChargeKind.USED and component is None:
        raise Refusal("used-of-what", _("It is not said what was used."), _("Choose the item."))

    def change(locked: Locked) -> list[Line]:
        own = locked.loan
        if kind == ChargeKind.USED and not own.units.filter(unit__component=component).exists():
            raise Refusal(
                "not-of-this-loan",
                _("No %(what)s came with loan %(loan)s.") % {"what": component, "loan": own.number},
                _("Look at the number of the loan on the claim."),
            )
        made = LoanCharge.objects.create(
            loan=own,
            kind=kind,
            component=component,
            quantity=quantity,
            amount=amount,
            currency=currency or own.currency,
            reference=reference,
            claimed_at=at,
            claimed_by=by,
        )
        return [Line("loan_charge", made.pk, "", ChargeStatus.CLAIMED)]

    return act_on(loan, Who(by, at, client_key), "charge.claim", change)


def charge_accept(
    *,
    by: Person,
    charge: LoanCharge,
    use_keys: Sequence[str] = (),
    at: datetime,
    client_key: UUID | None = None,
) -> Loan:
    """Accept a charge. For what was used `use_keys` name the recorded uses, one each; a use is paid for once.

    Raises Refusal "use-not-matched", "use-paid-for", "price-differs", "fee-differs", "nothing-missing",
    "charge-decided", "loan-ended"; NotAllowed.
    """
    require(by=by, act="keep_agreements", site_id=charge.loan.site_id)

    def change(locked: Locked) -> list[Line]:
        row = _claimed(charge)
        _CHECKS[ChargeKind(row.kind)](row, locked.loan, use_keys)
        _keep_uses(row, use_keys)
        return _decided(row, ChargeStatus.ACCEPTED, "", by, at)

    return act_on(charge.loan, Who(by, at, client_key), "charge.accept", change)


def charge_refuse(
    *, by: Person, charge: LoanCharge, reason: str, at: datetime, client_key: UUID | None = None
) -> Loan:
    """Refuse a charge. `reason` is one of `words.CHARGE`. Raises Refusal "charge-decided", "loan-ended"."""
    require(by=by, act="keep_agreements", site_id=charge.loan.site_id)
    if reason not in CHARGE:
        raise ValueError(f"a charge is not refused for {reason!r}")

    def change(locked: Locked) -> list[Line]:
        return _decided(_claimed(charge), ChargeStatus.REFUSED, reason, by, at)

    return act_on(charge.loan, Who(by, at, client_key), "charge.refuse", change, reason=reason)


def _claimed(charge: LoanCharge) -> LoanCharge:
    row = LoanCharge.objects.select_for_update().get(pk=charge.pk)
    if row.status != ChargeStatus.CLAIMED:
        raise Refusal(
            "charge-decided",
            _("This charge is %(state)s.") % {"state": str(row.get_status_display()).lower()},
            _("Load the page again."),
        )
    return row


def _decided(row: LoanCharge, status: str, reason: str, by: Person, at: datetime) -> list[Line]:
    row.status, row.reason, row.decided_at, row.decided_by = status, reason, at, by
    row.save(update_fields=["status", "reason", "decided_at", "decided_by"])
    return [Line("loan_charge", row.pk, ChargeStatus.CLAIMED, status)]


def _check_hire(row: LoanCharge, loan: Loan, use_keys: Sequence[str]) -> None:
    paid = loan.charges.filter(kind=ChargeKind.HIRE, status=ChargeStatus.ACCEPTED).aggregate(n=Sum("amount"))
    before = paid["n"] or Decimal(0)
    if loan.fee is not None and (before + row.amount > loan.fee or row.currency != loan.currency):
        raise Refusal(
            "fee-differs",
            _("Agreed were %(fee)s %(currency)s, claimed are %(amount)s %(other)s; paid before: %(before)s.")
            % {
                "fee": loan.fee,
                "currency": loan.currency,
                "before": before,
                "amount": row.amount,
                "other": row.currency,
            },
            _("Refuse it and ask for a corrected claim."),
        )


def _check_used(row: LoanCharge, loan: Loan, use_keys: Sequence[str]) -> None:
    if len(set(use_keys)) != row.quantity or not all(use_keys):
        raise Refusal(
            "use-not-matched",
            _("%(claimed)s are claimed as used; the use of %(n)s is on record.")
            % {"claimed": row.quantity, "n": len(set(use_keys))},
            _("Refuse it, or find out what was used and have it recorded."),
        )
    day = site_day(loan.site, loan.needed_from)
    found = prices_on(site_id=loan.site_id, day=day, component_ids=[row.component_id or 0])
    priced = found.get(row.component_id or 0)
    if priced and (row.amount > priced.price * row.quantity or row.currency != priced.currency):
        raise Refusal(
            "price-differs",
            _("On file are %(price)s %(currency)s each.")
            % {"price": priced.price, "currency": priced.currency},
            _("Refuse it and ask for a corrected claim; or import the new price first."),
        )


def _check_missing(row: LoanCharge, loan: Loan, use_keys: Sequence[str]) -> None:
    newest = loan.counts.order_by("-number").first()
    if newest is None or not newest.differences:
        raise Refusal(
            "nothing-missing",
            _("By the count out nothing is missing from loan %(loan)s.") % {"loan": loan.number},
            _("Refuse it; or count the loan out first."),
        )


_CHECKS = {
    ChargeKind.HIRE: _check_hire,
    ChargeKind.USED: _check_used,
    ChargeKind.MISSING: _check_missing,
}


def _keep_uses(row: LoanCharge, use_keys: Sequence[str]) -> None:
    if row.kind != ChargeKind.USED:
        return
    try:
        with transaction.atomic():
            LoanChargeUse.objects.bulk_create([LoanChargeUse(charge=row, use_key=key) for key in use_keys])
    except IntegrityError as clash:
        raise Refusal(
            "use-paid-for",
            _("One of these uses has been paid for already."),
            _("Look at the other charges of this case."),
        ) from clash
