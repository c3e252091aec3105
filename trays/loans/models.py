"""Loans: what a supplier lends for a case, from when it is asked until it has gone home and is paid for."""

from functools import reduce
from operator import or_

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.instruments.models import ContentsLine, InstrumentSet, SetDesign
from trays.ledger.laws import at_least, one_of, one_of_or_none
from trays.loans.models_agreements import LoanOffer
from trays.loans.ways import WAYS, LoanStatus
from trays.parties.models import Party, Site
from trays.staff.models import Person
from trays.stock.models import Unit


class Loan(models.Model):
    """One loan order: sets, sealed units or both, for a case (or a while), from one supplier.

    `case_key` is opaque here: the rooms of the cases write and read it. `cause` is what asked for it: one
    cause has one open loan. `status` changes by a step on record only. It ends by `ended_at`, and stays.
    """

    Status = LoanStatus

    number = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="loans")
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="loans")
    offer = models.ForeignKey(
        LoanOffer, null=True, blank=True, on_delete=models.PROTECT, related_name="loans"
    )
    status = models.CharField(max_length=16, choices=LoanStatus.choices, default=LoanStatus.ASKED)
    case_key = models.CharField(max_length=60, blank=True)
    cause = models.CharField(max_length=120, blank=True)
    needed_from = models.DateTimeField()
    needed_until = models.DateTimeField()
    # What the supplier has promised, and the supplier's own number for it.
    arrives_at = models.DateTimeField(null=True, blank=True)
    supplier_reference = models.CharField(max_length=60, blank=True)
    fee = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3)
    note = models.CharField(max_length=200, blank=True)
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["needed_from", "pk"]
        constraints = [
            one_of("status", LoanStatus, "loan_status"),
            models.CheckConstraint(
                condition=Q(needed_until__gte=F("needed_from")), name="loan_needed_in_order"
            ),
            models.CheckConstraint(condition=Q(fee__isnull=True) | Q(fee__gte=0), name="loan_fee"),
            models.CheckConstraint(condition=~Q(currency=""), name="loan_has_currency"),
            models.CheckConstraint(
                condition=~Q(status__in=["closed", "cancelled"]) | Q(ended_at__isnull=False),
                name="loan_end_has_its_moment",
            ),
            models.CheckConstraint(
                condition=~Q(status__in=["refused", "cancelled"]) | ~Q(end_reason=""),
                name="loan_ends_with_a_reason",
            ),
            models.UniqueConstraint(
                fields=["cause"],
                condition=~Q(cause="") & Q(ended_at__isnull=True),
                name="loan_one_open_for_a_cause",
            ),
        ]
        indexes = [
            # For a site's list of loans that have not ended, the next case first.
            models.Index(
                fields=["site", "needed_from"], condition=Q(ended_at__isnull=True), name="loan_open_at_site"
            ),
            # For the loans of a case.
            models.Index(fields=["case_key"], condition=~Q(case_key=""), name="loan_of_case"),
        ]

    def __str__(self) -> str:
        return self.number


class LoanStep(models.Model):
    """One step of one loan. Numbered without a gap; never changed, never removed.

    `at` is when it came to be so, which for what follows from its packs may be before it was taken down.
    """

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="steps")
    sequence = models.PositiveIntegerField()
    before = models.CharField(max_length=16, choices=LoanStatus.choices, blank=True)
    after = models.CharField(max_length=16, choices=LoanStatus.choices)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["loan", "sequence"]
        constraints = [
            models.UniqueConstraint(fields=["loan", "sequence"], name="loan_step_once"),
            at_least("sequence", 1, "loan_step_from_one"),
            models.CheckConstraint(
                condition=reduce(or_, (Q(before=before, after=after) for before, after in sorted(WAYS))),
                name="loan_step_is_a_way",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.loan_id}/{self.sequence} {self.before} to {self.after}"


class CheckOutcome(models.TextChoices):
    ACCEPTED = "accepted", _("Accepted")
    EXCEPTION = "exception", _("Accepted with exception")
    REFUSED = "refused", _("Refused")


class HowBack(models.TextChoices):
    """What became of a thing that was lent."""

    RETURNED = "returned", _("Gone home")
    USED = "used", _("Used")
    MISSING = "missing", _("Missing")


class LoanSet(models.Model):
    """One set of a loan: its design when it is asked for, the physical set once that has come.

    `open` from asking until it has gone home, is known to be missing, or is not coming.
    """

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="sets")
    number = models.PositiveSmallIntegerField()
    design = models.ForeignKey(SetDesign, on_delete=models.PROTECT, related_name="+")
    set = models.ForeignKey(
        InstrumentSet, null=True, blank=True, on_delete=models.PROTECT, related_name="loan_sets"
    )
    unfamiliar = models.BooleanField(default=False)
    arrived_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=10, choices=CheckOutcome.choices, blank=True)
    open = models.BooleanField(default=True)
    how = models.CharField(max_length=10, choices=HowBack.choices, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["loan", "number"]
        constraints = [
            one_of_or_none("outcome", CheckOutcome, "loan_set_outcome"),
            models.UniqueConstraint(fields=["loan", "number"], name="loan_set_once"),
            # One set is lent to us once at a time.
            models.UniqueConstraint(fields=["set"], condition=Q(open=True), name="loan_set_one_open"),
            models.CheckConstraint(
                condition=Q(set__isnull=True, arrived_at__isnull=True, outcome="")
                | Q(set__isnull=False, arrived_at__isnull=False),
                name="loan_set_arrived_or_not",
            ),
            models.CheckConstraint(
                condition=Q(open=True, how="", ended_at__isnull=True)
                | Q(open=False, ended_at__isnull=False, set__isnull=True, how="")
                | Q(open=False, ended_at__isnull=False, set__isnull=False, how__in=["returned", "missing"]),
                name="loan_set_ended_somehow",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.loan_id}: set {self.number}"


class LoanItem(models.Model):
    """So many sealed units of one component are asked for with a loan."""

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="items")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["loan", "component"]
        constraints = [
            models.UniqueConstraint(fields=["loan", "component"], name="loan_item_once"),
            at_least("quantity", 1, "loan_item_quantity"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.component_id}"


class LoanUnit(models.Model):
    """One sealed unit that came with a loan, and what became of it."""

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="units")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="loan_units")
    arrived_at = models.DateTimeField()
    # Counted back at the end: where it went is `how`.
    counted_at = models.DateTimeField(null=True, blank=True)
    open = models.BooleanField(default=True)
    how = models.CharField(max_length=10, choices=HowBack.choices, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["loan", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["unit"], condition=Q(open=True), name="loan_unit_one_open"),
            models.UniqueConstraint(fields=["loan", "unit"], name="loan_unit_once"),
            models.CheckConstraint(
                condition=Q(open=True, how="", ended_at__isnull=True)
                | Q(open=False, how__in=HowBack.values, ended_at__isnull=False),
                name="loan_unit_ended_somehow",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.loan_id}: {self.unit_id}"


class LoanCheck(models.Model):
    """One check of one set on arrival, as it was found. A later one counts; the earlier one stays."""

    Outcome = CheckOutcome

    loan_set = models.ForeignKey(LoanSet, on_delete=models.PROTECT, related_name="checks")
    number = models.PositiveSmallIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    contents_agree = models.BooleanField()
    instructions = models.BooleanField()
    certificate = models.BooleanField()
    certificate_number = models.CharField(max_length=40, blank=True)
    undamaged = models.BooleanField()
    weight_grams = models.PositiveIntegerField()
    weight_limit_grams = models.PositiveIntegerField()
    outcome = models.CharField(max_length=10, choices=CheckOutcome.choices)
    reason = models.CharField(max_length=40, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["loan_set", "number"]
        constraints = [
            one_of("outcome", CheckOutcome, "loan_check_outcome"),
            models.UniqueConstraint(fields=["loan_set", "number"], name="loan_check_once"),
            at_least("weight_grams", 1, "loan_check_weight"),
            models.CheckConstraint(
                condition=~Q(outcome="accepted")
                | Q(
                    contents_agree=True,
                    instructions=True,
                    certificate=True,
                    undamaged=True,
                    weight_grams__lte=F("weight_limit_grams"),
                ),
                name="loan_check_accepted_whole",
            ),  # fmt: skip
            # Without its maker's instructions a set is turned away, whoever asks.
            models.CheckConstraint(
                condition=Q(outcome="refused") | Q(instructions=True), name="loan_check_instructions"
            ),
            models.CheckConstraint(
                condition=Q(outcome="accepted") | ~Q(reason=""), name="loan_check_has_its_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.loan_set_id}: {self.outcome}"


class LoanCheckLine(models.Model):
    """One line of the contents list as it was found on arrival."""

    check_row = models.ForeignKey(LoanCheck, on_delete=models.PROTECT, related_name="lines")
    line = models.ForeignKey(ContentsLine, on_delete=models.PROTECT, related_name="+")
    expected = models.PositiveSmallIntegerField()
    found = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["check_row", "line"]
        constraints = [models.UniqueConstraint(fields=["check_row", "line"], name="loan_check_line_once")]

    def __str__(self) -> str:
        return f"{self.line_id}: {self.found} of {self.expected}"


class LoanCount(models.Model):
    """A count of everything that goes home, as it was counted. The newest one stands."""

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="counts")
    number = models.PositiveSmallIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    # How many pieces and units differ from what came.
    differences = models.PositiveIntegerField()

    class Meta:
        ordering = ["loan", "number"]
        constraints = [models.UniqueConstraint(fields=["loan", "number"], name="loan_count_once")]

    def __str__(self) -> str:
        return f"{self.loan_id}: count {self.number}"


class LoanCountLine(models.Model):
    """What differs in a count: a line of a set's contents, or a sealed unit that is neither here nor used."""

    count = models.ForeignKey(LoanCount, on_delete=models.PROTECT, related_name="lines")
    loan_set = models.ForeignKey(LoanSet, null=True, on_delete=models.PROTECT, related_name="+")
    line = models.ForeignKey(ContentsLine, null=True, on_delete=models.PROTECT, related_name="+")
    loan_unit = models.ForeignKey(LoanUnit, null=True, on_delete=models.PROTECT, related_name="+")
    expected = models.PositiveSmallIntegerField()
    counted = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["count", "loan_set", "line"],
                condition=Q(line__isnull=False),
                name="loan_count_line_once",
            ),
            models.UniqueConstraint(
                fields=["count", "loan_unit"],
                condition=Q(loan_unit__isnull=False),
                name="loan_count_unit_once",
            ),
            models.CheckConstraint(
                condition=Q(loan_unit__isnull=True, loan_set__isnull=False, line__isnull=False)
                | Q(loan_unit__isnull=False, loan_set__isnull=True, line__isnull=True),
                name="loan_count_line_of_one_thing",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.counted} of {self.expected}"


class LoanGone(models.Model):
    """How a loan went home: when, by whose hand, under which of the carrier's numbers."""

    loan = models.OneToOneField(Loan, on_delete=models.PROTECT, related_name="gone")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    carrier_reference = models.CharField(max_length=60, blank=True)

    def __str__(self) -> str:
        return f"{self.loan_id} gone"
