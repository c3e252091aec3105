"""What a supplier claims for a loan, and the recorded uses that it is paid against."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.ledger.laws import at_least, one_of
from trays.loans.models import Loan
from trays.staff.models import Person


class ChargeKind(models.TextChoices):
    HIRE = "hire", _("Hire fee")
    USED = "used", _("Used")
    MISSING = "missing", _("Missing or damaged")


class ChargeStatus(models.TextChoices):
    CLAIMED = "claimed", _("Claimed")
    ACCEPTED = "accepted", _("Accepted")
    REFUSED = "refused", _("Refused")


class LoanCharge(models.Model):
    """What the supplier claims for a loan. For what was used it is accepted only against recorded use."""

    Kind = ChargeKind
    Status = ChargeStatus

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="charges")
    kind = models.CharField(max_length=10, choices=ChargeKind.choices)
    component = models.ForeignKey(
        Component, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    quantity = models.PositiveSmallIntegerField(default=1)
    amount = models.DecimalField(max_digits=10, decimal_places=2)
    currency = models.CharField(max_length=3)
    reference = models.CharField(max_length=60, blank=True)
    status = models.CharField(max_length=10, choices=ChargeStatus.choices, default=ChargeStatus.CLAIMED)
    claimed_at = models.DateTimeField()
    claimed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["loan", "pk"]
        constraints = [
            one_of("kind", ChargeKind, "loan_charge_kind"),
            one_of("status", ChargeStatus, "loan_charge_status"),
            at_least("quantity", 1, "loan_charge_quantity"),
            models.CheckConstraint(condition=Q(amount__gte=0), name="loan_charge_amount"),
            models.CheckConstraint(condition=~Q(currency=""), name="loan_charge_has_currency"),
            models.CheckConstraint(
                condition=~Q(kind="used") | Q(component__isnull=False), name="loan_charge_says_what_was_used"
            ),
            models.CheckConstraint(
                condition=Q(status="claimed", decided_at__isnull=True, decided_by__isnull=True)
                | Q(~Q(status="claimed"), decided_at__isnull=False, decided_by__isnull=False),
                name="loan_charge_decided_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(status="refused") | ~Q(reason=""), name="loan_charge_refused_for_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.loan_id}: {self.kind} {self.amount}"


USE_OF_UNIT = "unit-"
"""Before a unit's key: the use of a sealed unit, paid for once, since a unit has one fate."""


class LoanChargeUse(models.Model):
    """One recorded use that a charge was matched to. A use is paid for once."""

    charge = models.ForeignKey(LoanCharge, on_delete=models.PROTECT, related_name="uses")
    use_key = models.CharField(max_length=60, unique=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(use_key=""), name="loan_charge_use_named")]

    def __str__(self) -> str:
        return self.use_key
