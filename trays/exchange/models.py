"""Imports under way: rows are checked into staging first, then applied all at once."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class ImportRunState(models.TextChoices):
    CHECKING = "checking", _("Checking")
    CHECKED = "checked", _("Checked")
    APPLYING = "applying", _("Being applied")
    FAULTY = "faulty", _("Faulty")
    APPLIED = "applied", _("Applied")
    SET_ASIDE = "set_aside", _("Set aside")


class ImportRun(models.Model):
    """One file handed in: what kind, by whom, how far it has come."""

    State = ImportRunState

    kind = models.CharField(max_length=40)
    file_name = models.CharField(max_length=200)
    by = models.ForeignKey("trays.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    state = models.CharField(max_length=20, choices=State.choices, default=State.CHECKING)
    rows_read = models.PositiveIntegerField(default=0)
    rows_total = models.PositiveIntegerField(default=0)
    applied_at = models.DateTimeField(null=True)
    # How it was read ("read as Windows-1252"), and the file's SHA-256: the same file twice is told.
    note = models.TextField(blank=True)
    digest = models.CharField(max_length=64, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    state__in=["checking", "checked", "applying", "faulty", "applied", "set_aside"]
                ),
                name="import_run_state",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.file_name}"


class ImportRow(models.Model):
    """One row that passed its check, as plain values, waiting to be applied.

    `key` stands for what may stand once in a file (a digest), "" where rows may repeat.
    """

    run = models.ForeignKey(ImportRun, on_delete=models.CASCADE, related_name="rows")
    number = models.PositiveIntegerField()
    key = models.CharField(max_length=32, blank=True)
    values = models.JSONField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["run", "number"], name="import_row_once")]
        indexes = [
            # For the check of a later row: whether the same stands in the file already.
            models.Index(fields=["run", "key"], name="import_row_key", condition=~models.Q(key=""))
        ]

    def __str__(self) -> str:
        return f"row {self.number}"


class ImportFault(models.Model):
    """What is wrong in one cell, and what to do about it."""

    run = models.ForeignKey(ImportRun, on_delete=models.CASCADE, related_name="faults")
    number = models.PositiveIntegerField()
    column = models.CharField(max_length=60, blank=True)
    sentence = models.CharField(max_length=300)
    next_step = models.CharField(max_length=300)

    class Meta:
        indexes = [models.Index(fields=["run", "number"], name="import_fault_by_row")]

    def __str__(self) -> str:
        return f"row {self.number}, {self.column}: {self.sentence}"
