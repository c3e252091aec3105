"""What is agreed with a supplier: stock on our shelves until it is used, prices, and what can be lent."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.instruments.models import SetDesign
from trays.ledger.laws import at_least, between, one_of
from trays.parties.models import Party, Site
from trays.staff.models import Person


class Agreement(models.Model):
    """Consignment of one supplier at one site. Ends by its last day; is never removed.

    `exchange_window_days`: from so many days before its expiry on, the supplier exchanges a unit.
    """

    code = models.CharField(max_length=40, unique=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="agreements")
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="agreements")
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)
    count_interval_days = models.PositiveSmallIntegerField(default=91)
    exchange_window_days = models.PositiveSmallIntegerField(default=90)

    class Meta:
        ordering = ["site", "supplier", "valid_from"]
        constraints = [
            between("count_interval_days", 1, 1100, "agreement_count_interval"),
            between("exchange_window_days", 0, 1100, "agreement_exchange_window"),
            models.UniqueConstraint(
                fields=["site", "supplier", "valid_from"], name="agreement_once_from_a_day"
            ),
            models.UniqueConstraint(
                fields=["site", "supplier"],
                condition=Q(valid_until__isnull=True),
                name="agreement_one_without_end",
            ),
            models.CheckConstraint(
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("valid_from")),
                name="agreement_ends_after_it_begins",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Replacement(models.TextChoices):
    """What follows on a use: only the bill, or the bill and another one."""

    BILL_ONLY = "bill_only", _("Bill only")
    BILL_AND_REPLACE = "bill_and_replace", _("Bill and replace")


class AgreementLine(models.Model):
    """So many of one component are to stand on the shelf, the supplier's until used."""

    Replacement = Replacement

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="lines")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="agreement_lines")
    quantity = models.PositiveSmallIntegerField()
    replacement = models.CharField(
        max_length=20, choices=Replacement.choices, default=Replacement.BILL_AND_REPLACE
    )

    class Meta:
        ordering = ["agreement", "component"]
        constraints = [
            one_of("replacement", Replacement, "agreement_line_replacement"),
            at_least("quantity", 1, "agreement_line_quantity"),
            models.UniqueConstraint(fields=["agreement", "component"], name="agreement_line_once"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.component_id}"


class AgreementCount(models.Model):
    """A count of what an agreement has on the shelf. Kept as it was counted."""

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="counts")
    day = models.DateField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    # Who counted for the supplier, as they gave their name; empty where the hospital counted alone.
    with_supplier = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["agreement", "at"]
        # For the newest count of each agreement.
        indexes = [models.Index(fields=["agreement", "-at"], name="agreement_count_newest")]

    def __str__(self) -> str:
        return f"{self.agreement_id} on {self.day}"


class AgreementCountLine(models.Model):
    """One component of a count: what the record had on hand, and what was seen."""

    count = models.ForeignKey(AgreementCount, on_delete=models.PROTECT, related_name="lines")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="+")
    expected = models.PositiveIntegerField()
    seen = models.PositiveIntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["count", "component"], name="agreement_counted_once")]

    def __str__(self) -> str:
        return f"{self.component_id}: {self.seen} of {self.expected}"


class Price(models.Model):
    """What one of a component costs from a day on: under an agreement, or by a supplier's list.

    A later row takes the earlier one's place; an agreement's price goes before the list's.
    """

    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="prices")
    agreement = models.ForeignKey(
        Agreement, null=True, blank=True, on_delete=models.PROTECT, related_name="prices"
    )
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="prices")
    price = models.DecimalField(max_digits=10, decimal_places=2)
    currency = models.CharField(max_length=3)
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["component", "valid_from"]
        constraints = [
            models.CheckConstraint(condition=Q(price__gte=0), name="price_not_negative"),
            models.CheckConstraint(condition=~Q(currency=""), name="price_has_currency"),
            models.CheckConstraint(
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("valid_from")),
                name="price_ends_after_it_begins",
            ),
            models.UniqueConstraint(
                fields=["agreement", "component", "valid_from"],
                condition=Q(agreement__isnull=False),
                name="price_once_in_agreement",
            ),
            models.UniqueConstraint(
                fields=["supplier", "component", "valid_from"],
                condition=Q(agreement__isnull=True),
                name="price_once_on_list",
            ),
        ]
        # For what a few components cost on a day.
        indexes = [models.Index(fields=["component", "-valid_from"], name="price_on_a_day")]

    def __str__(self) -> str:
        return f"{self.component_id}: {self.price} {self.currency}"


class LoanOffer(models.Model):
    """What a supplier can lend, for a fee, so many working days after it is asked."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="loan_offers")
    fee = models.DecimalField(max_digits=10, decimal_places=2)
    currency = models.CharField(max_length=3)
    lead_working_days = models.PositiveSmallIntegerField()
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)
    # How many of it the supplier lends at the same time.
    most_at_once = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["supplier", "code"]
        constraints = [
            models.CheckConstraint(condition=Q(fee__gte=0), name="loan_offer_fee_not_negative"),
            models.CheckConstraint(condition=~Q(currency=""), name="loan_offer_has_currency"),
            between("lead_working_days", 0, 120, "loan_offer_lead_days"),
            at_least("most_at_once", 1, "loan_offer_most"),
            models.CheckConstraint(
                condition=Q(valid_until__isnull=True) | Q(valid_until__gte=F("valid_from")),
                name="loan_offer_ends_after_it_begins",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class LoanOfferSet(models.Model):
    """So many sets of one design come with an offer."""

    offer = models.ForeignKey(LoanOffer, on_delete=models.PROTECT, related_name="sets")
    design = models.ForeignKey(SetDesign, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["offer", "design"]
        constraints = [
            models.UniqueConstraint(fields=["offer", "design"], name="loan_offer_set_once"),
            at_least("quantity", 1, "loan_offer_set_quantity"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.design_id}"


class LoanOfferUnit(models.Model):
    """So many sealed units of one component come with an offer."""

    offer = models.ForeignKey(LoanOffer, on_delete=models.PROTECT, related_name="units")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["offer", "component"]
        constraints = [
            models.UniqueConstraint(fields=["offer", "component"], name="loan_offer_unit_once"),
            at_least("quantity", 1, "loan_offer_unit_quantity"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.component_id}"


class LoanPolicy(models.Model):
    """How long before a case a loan must be here, as a site has decided, from a day on; in working hours of
    its sterile services.

    From arrival to the case: `check_hours` to check it, `process_hours` to make it sterile, `ready_hours` to
    stand ready. A set that has never been here before is given `unfamiliar_hours` more. The supplier's word
    is wanted `confirm_hours` before it must arrive, while another way can still be found.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="loan_policies")
    valid_from = models.DateField()
    confirm_hours = models.PositiveSmallIntegerField(default=8)
    check_hours = models.PositiveSmallIntegerField(default=4)
    process_hours = models.PositiveSmallIntegerField(default=12)
    ready_hours = models.PositiveSmallIntegerField(default=4)
    unfamiliar_hours = models.PositiveSmallIntegerField(default=8)
    # After the case: until it is clean again, counted out, and gone.
    clean_hours = models.PositiveSmallIntegerField(default=8)
    count_hours = models.PositiveSmallIntegerField(default=4)
    return_days = models.PositiveSmallIntegerField(default=2)
    close_days = models.PositiveSmallIntegerField(default=20)
    # So long before its deadline a step is said to be due soon.
    soon_hours = models.PositiveSmallIntegerField(default=4)

    class Meta:
        ordering = ["site", "valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["site", "valid_from"], name="loan_policy_once_from_a_day"),
            between("confirm_hours", 0, 200, "loan_policy_confirm"),
            between("check_hours", 0, 200, "loan_policy_check"),
            between("process_hours", 0, 200, "loan_policy_process"),
            between("ready_hours", 0, 200, "loan_policy_ready"),
            between("unfamiliar_hours", 0, 200, "loan_policy_unfamiliar"),
            between("clean_hours", 0, 200, "loan_policy_clean"),
            between("count_hours", 0, 200, "loan_policy_count"),
            between("return_days", 0, 60, "loan_policy_return"),
            between("close_days", 0, 200, "loan_policy_close"),
            between("soon_hours", 0, 200, "loan_policy_soon"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} from {self.valid_from}"
