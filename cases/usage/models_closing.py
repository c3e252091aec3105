"""Sets that failed on the table, and the closing of a case."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case
from trays.instruments.models import Pack
from trays.ledger.laws import one_of, one_of_or_none
from trays.parties.models import Site
from trays.staff.models import Person, Signature


class FailureCause(models.TextChoices):
    HOLE = "hole", _("Hole or tear in the wrap")
    DEBRIS = "debris", _("Debris")
    INDICATOR = "indicator", _("Indicator missing or not turned")
    WET = "wet", _("Wet")
    SEAL = "seal", _("Seal broken")
    DROPPED = "dropped", _("Dropped")
    OTHER = "other", _("Another fault")


class FailureAnswer(models.TextChoices):
    """What sterile services say to it."""

    COMING = "coming", _("A replacement is on its way")
    PROCESSING = "processing", _("One is being processed")
    NONE = "none", _("There is no other")
    BORROW = "borrow", _("One is fetched from elsewhere")


class SetFailure(models.Model):
    """A pack that failed on the table: off the field, quarantined, and told to sterile services at once."""

    Cause = FailureCause
    Answer = FailureAnswer

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="set_failures")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="failures")
    round = models.PositiveIntegerField()
    cause = models.CharField(max_length=10, choices=Cause.choices)
    words = models.CharField(max_length=200, blank=True)
    opened = models.BooleanField()
    # The pack that theatre asks for instead, of those that are ready.
    wanted = models.ForeignKey(Pack, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    answer = models.CharField(max_length=10, choices=Answer.choices, blank=True)
    answer_words = models.CharField(max_length=200, blank=True)
    replacement = models.ForeignKey(Pack, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            one_of("cause", FailureCause, "set_failure_cause"),
            one_of_or_none("answer", FailureAnswer, "set_failure_answer"),
            models.UniqueConstraint(fields=["pack", "round"], name="set_failure_once_in_round"),
            models.CheckConstraint(
                condition=~Q(cause="other") | ~Q(words=""), name="set_failure_other_says_what"
            ),
            models.CheckConstraint(
                condition=Q(answer="", answered_at__isnull=True, answered_by__isnull=True)
                | Q(~Q(answer=""), answered_at__isnull=False, answered_by__isnull=False),
                name="set_failure_answered_by_somebody",
            ),
        ]
        # For sterile services: what waits for their answer.
        indexes = [models.Index(fields=["site", "at"], condition=Q(answer=""), name="set_failure_unanswered")]

    def __str__(self) -> str:
        return f"pack {self.pack_id} round {self.round}: {self.cause}"


class ExceptionReason(models.TextChoices):
    """Why a case is closed although something is open."""

    EMERGENCY = "emergency", _("Emergency: the patient had to be moved")
    PAPER_ONLY = "paper_only", _("Recorded on paper, which is kept")
    NOT_TO_BE_FOUND = "not_to_be_found", _("What is open cannot be found out any more")
    ENTERED_TWICE = "entered_twice", _("Entered twice")
    OTHER = "other", _("Another reason")


class CaseClosing(models.Model):
    """The end of a case: nothing open, or closed by exception on a named senior person's word.

    Never changed. The database lets a case become closed only where this row is, and this row be without
    exception only where nothing is open.
    """

    Reason = ExceptionReason

    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="closing")
    by_exception = models.BooleanField(default=False)
    reason = models.CharField(max_length=16, choices=Reason.choices, blank=True)
    words = models.CharField(max_length=200, blank=True)
    # What was open then, in words.
    waited = models.JSONField(default=list)
    senior = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    signature = models.OneToOneField(
        Signature, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            one_of_or_none("reason", ExceptionReason, "case_closing_reason"),
            models.CheckConstraint(
                condition=Q(by_exception=False, reason="", senior__isnull=True, signature__isnull=True)
                | Q(~Q(reason=""), by_exception=True, senior__isnull=False, signature__isnull=False),
                name="case_closing_exception_signed",
            ),
            models.CheckConstraint(
                condition=~Q(reason="other") | ~Q(words=""), name="case_closing_other_says_what"
            ),
        ]

    def __str__(self) -> str:
        return f"case {self.case_id}{' by exception' if self.by_exception else ''}"
