"""Entries that one person made on a device and another sent in their own name: on file with both."""

from django.db import models

from cases.counts.models_counts import TheatreCount
from trays.staff.models import Person


class SentFor(models.Model):
    """`entered_by` made the entry, as the device says; `sent_by` stands for it. Never changed."""

    count = models.ForeignKey(TheatreCount, on_delete=models.PROTECT, related_name="sent_for")
    entry_key = models.UUIDField(unique=True)
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    sent_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    device = models.UUIDField(null=True, blank=True)
    device_at = models.DateTimeField(null=True, blank=True)
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(entered_by=models.F("sent_by")), name="sent_for_another"
            ),
        ]

    def __str__(self) -> str:
        return str(self.entry_key)
