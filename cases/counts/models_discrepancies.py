"""A count that differs: what was done about it, how it ended, and the two people who say so."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from cases.counts.models_counts import CountLine, Stage
from cases.counts.models_templates import StepKind, StepWhen
from trays.ledger.laws import one_of, one_of_or_none
from trays.staff.models import Person, Signature


class Outcome(models.TextChoices):
    """How a discrepancy ended. The first three leave the count right, the others leave it open to view."""

    FOUND = "found", _("Found: the count is right now")
    MISCOUNTED = "miscounted", _("Miscounted: the count is right now")
    CAME_ON = "came_on", _("It had come on unrecorded: written down now, the count is right")
    NOT_FOUND_XRAY = "not_found_xray", _("Not found; x-ray shows nothing")
    NOT_FOUND = "not_found", _("Not found; no x-ray, follow-up as written")
    UNEXPLAINED = "unexplained", _("One more than there should be, not explained")


RIGHT_NOW = (Outcome.FOUND, Outcome.MISCOUNTED, Outcome.CAME_ON)


class DiscrepancyState(models.TextChoices):
    OPEN = "open", _("Open")
    SETTLED = "settled", _("Settled")


class Discrepancy(models.Model):
    """A line that differs at a stage. Once settled it is not changed; other figures need another one.

    It holds for the figures with which it was settled, and for those only. `first` is who entered it,
    `second` who agreed aloud; their signatures follow, at once or after unscrubbing.
    """

    State = DiscrepancyState

    stage = models.ForeignKey(Stage, on_delete=models.PROTECT, related_name="discrepancies")
    line = models.ForeignKey(CountLine, on_delete=models.PROTECT, related_name="discrepancies")
    expected = models.IntegerField()
    counted = models.PositiveIntegerField()
    state = models.CharField(max_length=10, choices=DiscrepancyState.choices, default=DiscrepancyState.OPEN)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    device_at = models.DateTimeField(null=True, blank=True)
    # The same difference, settled at an earlier stage: its steps need not be done again.
    carried = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    outcome = models.CharField(max_length=20, choices=Outcome.choices, blank=True)
    note = models.CharField(max_length=300, blank=True)
    report = models.CharField(max_length=40, blank=True)
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_expected = models.IntegerField(null=True, blank=True)
    settled_counted = models.IntegerField(null=True, blank=True)
    first = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            one_of("state", DiscrepancyState, "discrepancy_state"),
            one_of_or_none("outcome", Outcome, "discrepancy_outcome"),
            models.UniqueConstraint(
                fields=["stage", "line"], condition=Q(state="open"), name="discrepancy_one_open"
            ),
            models.CheckConstraint(
                condition=Q(state="open", settled_at__isnull=True, first__isnull=True, second__isnull=True)
                | Q(
                    ~Q(outcome=""),
                    ~Q(first=F("second")),
                    state="settled",
                    settled_at__isnull=False,
                    first__isnull=False,
                    second__isnull=False,
                    settled_expected__isnull=False,
                    settled_counted__isnull=False,
                ),
                name="discrepancy_settled_by_two",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line_id}: {self.counted} of {self.expected}"


class DiscrepancyStep(models.Model):
    """A step that was answered: done, or not done and why. Never changed; the words are those of that day."""

    discrepancy = models.ForeignKey(Discrepancy, on_delete=models.PROTECT, related_name="steps")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=StepKind.choices)
    words = models.CharField(max_length=160)
    when = models.CharField(max_length=10, choices=StepWhen.choices)
    done = models.BooleanField(default=True)
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["discrepancy", "number", "pk"]
        constraints = [
            one_of("kind", StepKind, "discrepancy_step_kind"),
            one_of("when", StepWhen, "discrepancy_step_when"),
            models.UniqueConstraint(
                fields=["discrepancy", "number"], condition=Q(done=True), name="discrepancy_step_done_once"
            ),
            models.CheckConstraint(
                condition=Q(done=True) | ~Q(note=""), name="discrepancy_step_not_done_with_reason"
            ),
        ]

    def __str__(self) -> str:
        return self.words


class DiscrepancySigning(models.Model):
    """One person's signature under a settled discrepancy. Never changed."""

    discrepancy = models.ForeignKey(Discrepancy, on_delete=models.PROTECT, related_name="signings")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["discrepancy", "person"], name="discrepancy_signing_person_once"),
        ]

    def __str__(self) -> str:
        return f"{self.discrepancy_id}: {self.person_id}"
