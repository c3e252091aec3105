"""Scans and acts that were refused, kept as rows."""

from django.db import models


class RefusedScan(models.Model):
    """One refused scan: the raw bytes, why, and where it was made. Kept for its retention period."""

    raw = models.BinaryField()
    code = models.CharField(max_length=60)
    sentence = models.CharField(max_length=300)
    by = models.ForeignKey("trays.Person", null=True, on_delete=models.PROTECT, related_name="+")
    page = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True)

    class Meta:
        # For the last refused scans of one person, shown below the scan field.
        indexes = [models.Index(fields=["by", "-at"], name="refused_scan_recent")]

    def __str__(self) -> str:
        return f"{self.code} at {self.at:%H:%M}"
