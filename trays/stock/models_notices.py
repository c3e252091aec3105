"""Field-safety notices: the lots they name, and every unit of them, wherever it is."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.ledger.laws import one_of
from trays.parties.models import Party, Site
from trays.staff.models import Person, Signature
from trays.stock.models import Unit, UnitState


class SafetyNotice(models.Model):
    """A supplier's notice about lots. While it is open what arrives of them is set apart too.

    It holds at every site. Closed, signed, when each unit of the lots is accounted for.
    """

    number = models.CharField(max_length=20, unique=True)
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="safety_notices")
    # What the supplier calls it.
    reference = models.CharField(max_length=40, blank=True)
    reason = models.CharField(max_length=200)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="safety_notices")
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    conclusion = models.CharField(max_length=200, blank=True)
    signature = models.ForeignKey(
        Signature, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="safety_notice_for_a_reason"),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True, signature__isnull=True)
                | Q(closed_at__isnull=False, closed_by__isnull=False, signature__isnull=False),
                name="safety_notice_closed_by_signature",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class NoticeLot(models.Model):
    """One lot of one item that a notice names; "" for every lot of the item."""

    notice = models.ForeignKey(SafetyNotice, on_delete=models.PROTECT, related_name="lots")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="notice_lots")
    lot = models.CharField(max_length=20, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["notice", "component", "lot"], name="notice_lot_once")
        ]
        # For each receipt: whether a notice names what has come.
        indexes = [models.Index(fields=["component", "lot"], name="notice_lot_named")]

    def __str__(self) -> str:
        return f"{self.component_id} {self.lot}"


class NoticeOutcome(models.TextChoices):
    OPEN = "open", _("Not yet accounted for")
    SECURED = "secured", _("Found and set apart")
    GONE = "gone", _("Had left before")
    USED = "used", _("Used: told to the quality lead")
    UNTRACEABLE = "untraceable", _("Declared untraceable")


class NoticeUnit(models.Model):
    """One unit of a named lot; `state_then` and `site_then` are where the notice found it by the record."""

    Outcome = NoticeOutcome

    notice = models.ForeignKey(SafetyNotice, on_delete=models.PROTECT, related_name="units")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="notices")
    state_then = models.CharField(max_length=12, choices=UnitState.choices)
    site_then = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    outcome = models.CharField(max_length=12, choices=NoticeOutcome.choices, default=NoticeOutcome.OPEN)
    outcome_at = models.DateTimeField(null=True, blank=True)
    outcome_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            one_of("outcome", NoticeOutcome, "notice_unit_outcome"),
            models.UniqueConstraint(fields=["notice", "unit"], name="notice_unit_once"),
            models.CheckConstraint(
                condition=Q(outcome="open") | Q(outcome_at__isnull=False, outcome_by__isnull=False),
                name="notice_unit_accounted_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.unit_id} in {self.notice_id}"
