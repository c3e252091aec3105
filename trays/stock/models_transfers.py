"""Transfers between sites: made, sent, received; what differs stays listed until it is explained."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.ledger.laws import at_least, one_of
from trays.parties.models import Site
from trays.staff.models import Person
from trays.stock.models import Pile, Unit


class TransferStatus(models.TextChoices):
    MADE = "made", _("Made, not sent yet")
    SENT = "sent", _("On its way")
    DIFFERS = "differs", _("Received, with differences")
    CLOSED = "closed", _("Closed")
    CANCELLED = "cancelled", _("Given up")


class Transfer(models.Model):
    """Units and pieces that go from one site to another.

    `cause` is the key of what asked for it, "" for nothing in particular: one open transfer for a cause.
    """

    Status = TransferStatus
    OPEN = (Status.MADE, Status.SENT, Status.DIFFERS)

    number = models.CharField(max_length=20, unique=True)
    source = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="transfers_out")
    target = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="transfers_in")
    status = models.CharField(max_length=10, choices=TransferStatus.choices, default=TransferStatus.MADE)
    cause = models.CharField(max_length=80, blank=True)
    note = models.CharField(max_length=200, blank=True)
    needed_on = models.DateField(null=True, blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            one_of("status", TransferStatus, "transfer_status"),
            models.CheckConstraint(condition=~Q(source=F("target")), name="transfer_between_two_sites"),
            models.UniqueConstraint(
                fields=["cause"],
                condition=Q(status__in=["made", "sent", "differs"]) & ~Q(cause=""),
                name="transfer_one_open_for_a_cause",
            ),
            models.CheckConstraint(
                condition=Q(status__in=["made", "sent", "differs"], ended_at__isnull=True)
                | Q(status__in=["closed", "cancelled"], ended_at__isnull=False, ended_by__isnull=False),
                name="transfer_ended_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(status__in=["sent", "differs", "closed"])
                | Q(sent_at__isnull=False, sent_by__isnull=False),
                name="transfer_sent_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(status="cancelled") | ~Q(reason=""), name="transfer_given_up_for_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return self.number


class CarriedState(models.TextChoices):
    LISTED = "listed", _("To be sent")
    TAKEN_OFF = "taken_off", _("Not sent")
    SENT = "sent", _("On its way")
    ARRIVED = "arrived", _("Arrived")
    EXTRA = "extra", _("Arrived, was not listed")
    MISSING = "missing", _("Did not arrive")
    ARRIVED_LATER = "arrived_later", _("Arrived after all")
    NEVER_LEFT = "never_left", _("Had never left")
    LOST = "lost", _("Lost on the way")


OPEN_STATES = (CarriedState.LISTED, CarriedState.SENT, CarriedState.MISSING)


class TransferUnit(models.Model):
    """One unit of a transfer; in one open transfer at a time."""

    State = CarriedState

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="units")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="transfers")
    state = models.CharField(max_length=14, choices=CarriedState.choices, default=CarriedState.LISTED)
    # When and by whom it arrived, or what became of it was explained.
    at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            one_of("state", CarriedState, "transfer_unit_state"),
            models.UniqueConstraint(fields=["transfer", "unit"], name="transfer_unit_once"),
            models.UniqueConstraint(
                fields=["unit"],
                condition=Q(state__in=["listed", "sent", "missing"]),
                name="transfer_unit_in_one_open",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["listed", "taken_off", "sent", "missing"])
                | Q(at__isnull=False, by__isnull=False),
                name="transfer_unit_explained_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.unit_id} in {self.transfer_id}"


class TransferPile(models.Model):
    """So many pieces of one lot in a transfer: asked for, sent, arrived; the rest is lost when explained."""

    transfer = models.ForeignKey(Transfer, on_delete=models.PROTECT, related_name="piles")
    pile = models.ForeignKey(Pile, on_delete=models.PROTECT, related_name="transfers")
    pieces = models.PositiveIntegerField()
    arrived = models.PositiveIntegerField(default=0)
    lost = models.PositiveIntegerField(default=0)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            at_least("pieces", 1, "transfer_pile_of_something"),
            models.UniqueConstraint(fields=["transfer", "pile"], name="transfer_pile_once"),
            models.CheckConstraint(
                condition=Q(pieces__gte=F("arrived") + F("lost")), name="transfer_pile_no_more_than_sent"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pieces} of {self.pile_id} in {self.transfer_id}"
