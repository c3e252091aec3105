"""Scans and acts that were refused, kept as rows."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.ledger.laws import one_of


class HowScanned(models.TextChoices):
    """By which way a code came in; "" for a way that the device did not tell."""

    SCANNER = "scanner", _("Scanner")
    CAMERA = "camera", _("Camera")
    PASTED = "pasted", _("Pasted")
    TYPED = "typed", _("Typed")
    UNTOLD = "", "–"


class RefusedScan(models.Model):
    """One refused scan: the raw bytes, why, where and by which way. Kept for its retention period."""

    How = HowScanned

    raw = models.BinaryField()
    code = models.CharField(max_length=60)
    sentence = models.CharField(max_length=300)
    how = models.CharField(max_length=10, choices=How.choices, blank=True)
    by = models.ForeignKey("trays.Person", null=True, on_delete=models.PROTECT, related_name="+")
    site = models.ForeignKey("trays.Site", null=True, on_delete=models.PROTECT, related_name="+")
    workstation = models.CharField(max_length=60, blank=True)
    page = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True)
    client_key = models.UUIDField(null=True)

    class Meta:
        constraints = [
            one_of("how", HowScanned, "refused_scan_how"),
            # A device that sends again is answered again, and nothing is kept twice.
            models.UniqueConstraint(
                fields=["by", "client_key"], condition=Q(client_key__isnull=False), name="refused_scan_once"
            ),
        ]
        indexes = [
            # For the last refused scans of one person, shown below the scan field.
            models.Index(fields=["by", "-at"], name="refused_scan_recent"),
            # For the list of a site, and for forgetting what is old.
            models.Index(fields=["site", "-at"], name="refused_scan_of_site"),
        ]

    def __str__(self) -> str:
        return f"{self.code} at {self.at:%H:%M}"
