"""Recalls: what may be unsafe, where each pack is, and how each was accounted for."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.instruments.models import Pack, PackState
from trays.ledger.laws import one_of
from trays.parties.models import Site
from trays.processing.models_machines import Machine, Run
from trays.staff.models import Person, Signature


class RecallCause(models.TextChoices):
    FAILED_CYCLE = "failed_cycle", _("A cycle that failed")
    LATE_POSITIVE = "late_positive", _("A biological indicator that grew")
    FAULTY_MACHINE = "faulty_machine", _("A fault of the machine")


class RecallScope(models.TextChoices):
    THIS_LOAD = "this_load", _("This load")
    SINCE_NEGATIVE = "since_negative", _("Every load of the machine since its last negative indicator")


class Recall(models.Model):
    """One getting back. Closed only when every pack is accounted for, or declared untraceable."""

    Cause = RecallCause
    Scope = RecallScope

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="recalls")
    number = models.CharField(max_length=20, unique=True)
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="recalls")
    run = models.ForeignKey(Run, null=True, blank=True, on_delete=models.PROTECT, related_name="recalls")
    cause = models.CharField(max_length=16, choices=Cause.choices)
    scope = models.CharField(max_length=16, choices=Scope.choices)
    # Loads that began after this moment, where the scope is more than one load.
    since = models.DateTimeField(null=True, blank=True)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    signature = models.ForeignKey(
        Signature, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            one_of("cause", RecallCause, "recall_cause"),
            one_of("scope", RecallScope, "recall_scope"),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True, signature__isnull=True)
                | Q(closed_at__isnull=False, closed_by__isnull=False, signature__isnull=False),
                name="recall_closed_by_signature",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class RecallOutcome(models.TextChoices):
    OPEN = "open", _("Not yet accounted for")
    SECURED = "secured", _("Secured")
    REPROCESSED = "reprocessed", _("Back at the start")
    USED = "used", _("Used: told to the quality lead")
    UNTRACEABLE = "untraceable", _("Declared untraceable")


class RecallPack(models.Model):
    """One pack of a recall, in the round that the load was; `state_then` is where the recall found it."""

    Outcome = RecallOutcome

    recall = models.ForeignKey(Recall, on_delete=models.PROTECT, related_name="packs")
    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="recalls")
    round = models.PositiveIntegerField()
    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="+")
    state_then = models.CharField(max_length=12, choices=PackState.choices)
    outcome = models.CharField(max_length=12, choices=Outcome.choices, default=Outcome.OPEN)
    outcome_at = models.DateTimeField(null=True, blank=True)
    outcome_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            one_of("outcome", RecallOutcome, "recall_outcome"),
            models.UniqueConstraint(fields=["recall", "pack", "round"], name="recall_pack_once"),
            models.CheckConstraint(
                condition=Q(outcome="open") | Q(outcome_at__isnull=False, outcome_by__isnull=False),
                name="recall_pack_accounted_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pack_id} in {self.recall_id}"
