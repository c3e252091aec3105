"""Error tables and outcomes: how far predictions lie from what is used."""

from django.db import models
from django.db.models import Q

from cases.bookings.models import CaseSlot, Prediction
from trays.catalogue.models import Component
from trays.ledger.laws import at_least, one_of
from trays.parties.models import Site
from trays.staff.models import Person


class ErrorTable(models.Model):
    """The chance of each offset (used minus predicted, in sizes) for a slot and a method."""

    slot = models.CharField(max_length=40)
    method = models.CharField(max_length=20, choices=Prediction.Method.choices)
    source = models.CharField(max_length=160)
    valid_from = models.DateField()

    class Meta:
        constraints = [
            one_of("method", Prediction.Method, "error_table_method"),
            models.UniqueConstraint(fields=["slot", "method", "valid_from"], name="error_table_once"),
        ]

    def __str__(self) -> str:
        return f"{self.slot} by {self.method}"


class ErrorTableRow(models.Model):
    """One offset and its weight; weights are normalised when read."""

    table = models.ForeignKey(ErrorTable, on_delete=models.CASCADE, related_name="rows")
    offset = models.SmallIntegerField()
    weight = models.FloatField()

    class Meta:
        ordering = ["table", "offset"]
        constraints = [
            models.UniqueConstraint(fields=["table", "offset"], name="error_table_row_once"),
            at_least("weight", 0, "error_table_weight"),
        ]

    def __str__(self) -> str:
        return f"{self.offset:+d}: {self.weight}"


class Outcome(models.Model):
    """What was used in a slot, of our own cases or of imported history."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="outcomes")
    case_slot = models.OneToOneField(
        CaseSlot, null=True, blank=True, on_delete=models.PROTECT, related_name="outcome"
    )
    reference = models.CharField(max_length=40)
    slot = models.CharField(max_length=40)
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="outcomes")
    used_on = models.DateField()
    method = models.CharField(max_length=20, choices=Prediction.Method.choices, blank=True)
    planner = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    predicted_rank = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "reference", "slot", "component"], name="outcome_once"),
            models.CheckConstraint(
                condition=Q(method="") | Q(method__in=Prediction.Method.values), name="outcome_method"
            ),
        ]
        indexes = [
            # For the unbooked forecast: what a site used of a component, lately.
            models.Index(fields=["site", "component", "used_on"], name="outcome_use"),
            # For learning: the newest outcomes that had been predicted, however long the history.
            models.Index(
                fields=["site", "-used_on", "-id"],
                condition=Q(predicted_rank__isnull=False),
                name="outcome_foretold",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reference} {self.slot}"
