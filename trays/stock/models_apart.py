"""Units that are kept from use, why, and how that ended; what goes back to a supplier."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.ledger.laws import one_of, one_of_or_none
from trays.parties.models import Party, Site
from trays.staff.models import Person
from trays.stock.models import Unit


class ApartCause(models.TextChoices):
    DAMAGED = "damaged", _("Damaged")
    SHORT_DATED = "short_dated", _("Short-dated: to be exchanged")
    OUT_OF_DATE = "out_of_date", _("Out of date")
    NOTICE = "notice", _("A safety notice names its lot")
    DRAFT = "draft", _("Its code is not approved")
    UNSURE = "unsure", _("In doubt")


class ApartEnd(models.TextChoices):
    RELEASED = "released", _("Back on the shelf")
    RETURNED = "returned", _("Sent back to the supplier")
    DISPOSED = "disposed", _("Disposed of")
    USED = "used", _("Used in theatre")
    MISSING = "missing", _("Not found")


class SetApart(models.Model):
    """One time that a unit was kept from use; one open row for a unit in quarantine."""

    Cause = ApartCause
    End = ApartEnd

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="set_apart")
    cause = models.CharField(max_length=12, choices=ApartCause.choices)
    note = models.CharField(max_length=200, blank=True)
    since = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    end = models.CharField(max_length=10, choices=ApartEnd.choices, blank=True)

    class Meta:
        constraints = [
            one_of("cause", ApartCause, "set_apart_cause"),
            one_of_or_none("end", ApartEnd, "set_apart_end"),
            models.UniqueConstraint(
                fields=["unit"], condition=Q(ended_at__isnull=True), name="set_apart_once_open"
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, end="") | Q(ended_at__isnull=False) & ~Q(end=""),
                name="set_apart_ends_some_way",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.unit_id}: {self.cause}"


class ReturnWhy(models.TextChoices):
    EXCHANGE = "exchange", _("Exchange")
    DAMAGED = "damaged", _("Damaged")
    NOTICE = "notice", _("Safety notice")
    NOT_WANTED = "not_wanted", _("Not wanted any more")


class ReturnStatus(models.TextChoices):
    GATHERED = "gathered", _("Set apart, not sent yet")
    SENT = "sent", _("Sent")
    CANCELLED = "cancelled", _("Given up")


class SupplierReturn(models.Model):
    """Units that go back to their supplier together, and what is expected for them."""

    Why = ReturnWhy
    Status = ReturnStatus

    number = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="supplier_returns")
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="supplier_returns")
    why = models.CharField(max_length=12, choices=ReturnWhy.choices)
    status = models.CharField(max_length=10, choices=ReturnStatus.choices, default=ReturnStatus.GATHERED)
    # What the supplier calls it, and what is to come in exchange.
    note = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            one_of("why", ReturnWhy, "supplier_return_why"),
            one_of("status", ReturnStatus, "supplier_return_status"),
            models.CheckConstraint(
                condition=Q(status="gathered", ended_at__isnull=True)
                | ~Q(status="gathered") & Q(ended_at__isnull=False, ended_by__isnull=False),
                name="supplier_return_ended_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class ReturnUnit(models.Model):
    """One unit of a return; in one open return at a time."""

    back = models.ForeignKey(SupplierReturn, on_delete=models.PROTECT, related_name="units")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="returns")
    open = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["back", "unit"], name="return_unit_once"),
            models.UniqueConstraint(
                fields=["unit"], condition=Q(open=True), name="return_unit_in_one_open"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.unit_id}"
