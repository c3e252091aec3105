"""A case opened in theatre: who counts, the stages of its count, the packs that were brought to the table."""

from typing import Any

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case
from cases.counts.models_templates import CountClass, CountTemplate, StageKind
from trays.instruments.models import Pack
from trays.ledger.laws import one_of
from trays.staff.models import Person


def nothing_yet() -> dict[str, Any]:
    return {}


class TheatreCount(models.Model):
    """A case opened in theatre, and its count. `scrub` and `circulating` are who counts now."""

    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="theatre_count")
    template = models.ForeignKey(CountTemplate, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    scrub = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    circulating = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    trolley_at = models.DateTimeField(null=True, blank=True)
    trolley_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(scrub__isnull=True) | Q(circulating__isnull=True) | ~Q(scrub=F("circulating")),
                name="theatre_count_two_people",
            ),
        ]

    def __str__(self) -> str:
        return f"count of case {self.case_id}"


class StageState(models.TextChoices):
    WAITING = "waiting", _("Waiting")
    OPEN = "open", _("Under way")
    CLOSED = "closed", _("Closed")
    NOT_DONE = "not_done", _("Not done: emergency")


class Stage(models.Model):
    """One stage of the count of a case. `turn` tells apart those made when they were needed.

    The two who agreed aloud are named at the close; they sign afterwards. From paper there may be a name
    only. `upto` holds the last row of each kind that belongs to what was agreed: later rows do not alter it.
    """

    State = StageState

    count = models.ForeignKey(TheatreCount, on_delete=models.PROTECT, related_name="stages")
    number = models.PositiveSmallIntegerField()
    turn = models.PositiveSmallIntegerField(default=0)
    mark = models.CharField(max_length=5)
    word = models.CharField(max_length=40)
    kind = models.CharField(max_length=10, choices=StageKind.choices)
    when = models.CharField(max_length=160, blank=True)
    signers = models.JSONField(default=list)
    state = models.CharField(max_length=10, choices=StageState.choices, default=StageState.WAITING)
    begun_at = models.DateTimeField(null=True, blank=True)
    begun_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    device_at = models.DateTimeField(null=True, blank=True)
    scrub = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    circulating = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    scrub_name = models.CharField(max_length=120, blank=True)
    circulating_name = models.CharField(max_length=120, blank=True)
    # Entered from paper afterwards: the paper's own time, and the number of its sheet where there is one.
    paper_at = models.DateTimeField(null=True, blank=True)
    paper_sheet = models.CharField(max_length=20, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    decided_by = models.CharField(max_length=120, blank=True)
    follow_up = models.CharField(max_length=200, blank=True)
    followed_at = models.DateTimeField(null=True, blank=True)
    followed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    followed_note = models.CharField(max_length=200, blank=True)
    upto = models.JSONField(default=nothing_yet)

    class Meta:
        ordering = ["count", "number", "turn"]
        constraints = [
            one_of("kind", StageKind, "stage_kind"),
            one_of("state", StageState, "stage_state"),
            models.UniqueConstraint(fields=["count", "number", "turn"], name="stage_once"),
            models.UniqueConstraint(fields=["count"], condition=Q(state="open"), name="stage_one_open"),
            models.CheckConstraint(
                condition=Q(state__in=["waiting", "open"], ended_at__isnull=True)
                | Q(state__in=["closed", "not_done"], ended_at__isnull=False, ended_by__isnull=False),
                name="stage_ended_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(scrub__isnull=True) | Q(circulating__isnull=True) | ~Q(scrub=F("circulating")),
                name="stage_two_people",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed") | (~Q(scrub_name="") & ~Q(circulating_name="")),
                name="stage_agreed_by_two",
            ),
            models.CheckConstraint(
                condition=~Q(state="not_done") | (~Q(reason="") & ~Q(follow_up="")),
                name="stage_not_done_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.mark} {self.word}"

    @property
    def ended(self) -> bool:
        return self.state in (StageState.CLOSED, StageState.NOT_DONE)


class StageClass(models.Model):
    """A class that a stage counts."""

    stage = models.ForeignKey(Stage, on_delete=models.CASCADE, related_name="classes")
    klass = models.CharField(max_length=10, choices=CountClass.choices)

    class Meta:
        constraints = [
            one_of("klass", CountClass, "stage_class_klass"),
            models.UniqueConstraint(fields=["stage", "klass"], name="stage_class_once"),
        ]

    def __str__(self) -> str:
        return f"{self.stage_id}: {self.klass}"


class IndicatorSeen(models.TextChoices):
    SEEN = "seen", _("Seen, changed")
    NOT_SEEN = "not_seen", _("Not seen")
    FAILED = "failed", _("Not changed")


class PackIn(models.Model):
    """A pack brought to the table and opened. `marks` say what was not as it should be; each has its reason.

    `reason` is a code, `note` says it in words, `decided_by` is the person who stands for it.
    """

    Indicator = IndicatorSeen

    count = models.ForeignKey(TheatreCount, on_delete=models.PROTECT, related_name="packs_in")
    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="+")
    round = models.PositiveIntegerField()
    number = models.PositiveSmallIntegerField()
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    indicator = models.CharField(max_length=10, choices=IndicatorSeen.choices)
    marks = models.JSONField(default=list)
    reason = models.CharField(max_length=40, blank=True)
    note = models.CharField(max_length=200, blank=True)
    decided_by = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["count", "number"]
        constraints = [
            one_of("indicator", IndicatorSeen, "pack_in_indicator"),
            models.UniqueConstraint(fields=["count", "pack", "round"], name="pack_in_once"),
            models.UniqueConstraint(fields=["count", "number"], name="pack_in_number_once"),
            models.CheckConstraint(
                condition=Q(reason="") | ~Q(decided_by=""), name="pack_in_reason_by_somebody"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count_id}: {self.pack_id} round {self.round}"
