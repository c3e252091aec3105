"""What is counted in a case, what came on, what was counted and by whom.

What was counted and what came on is only ever added: a correction is a further row.
"""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from cases.counts.models_stages import IndicatorSeen, PackIn, Stage, StageClass, StageState, TheatreCount
from cases.counts.models_templates import CountClass
from trays.catalogue.models import Component
from trays.instruments.models import ContentsLine
from trays.ledger.laws import at_least, one_of, one_of_or_none
from trays.staff.models import Person, RoleKind, Signature

__all__ = [
    "Added",
    "AddedKind",
    "Basis",
    "CountLine",
    "Entry",
    "HandOver",
    "IndicatorSeen",
    "LeftIn",
    "PackIn",
    "Pause",
    "Recount",
    "Stage",
    "StageClass",
    "StageSigning",
    "StageState",
    "TheatreCount",
    "WrongPacket",
]


class CountLine(models.Model):
    """One thing that is counted: there should be as many as were added, less those left in."""

    Klass = CountClass

    count = models.ForeignKey(TheatreCount, on_delete=models.PROTECT, related_name="lines")
    klass = models.CharField(max_length=10, choices=CountClass.choices)
    number = models.PositiveIntegerField()
    name = models.CharField(max_length=160)
    component = models.ForeignKey(
        Component, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    pack_in = models.ForeignKey(PackIn, null=True, blank=True, on_delete=models.PROTECT, related_name="lines")
    contents_line = models.ForeignKey(
        ContentsLine, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # The line whose thing broke, for fragments.
    broken = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="fragments"
    )
    section = models.CharField(max_length=80, blank=True)
    multiple = models.PositiveSmallIntegerField(default=1)
    parts = models.PositiveSmallIntegerField(default=1)
    critical = models.BooleanField(default=False)
    # How many the contents list asks for, where that is not what the pack held.
    listed = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["count", "number"]
        constraints = [
            one_of("klass", CountClass, "count_line_klass"),
            models.UniqueConstraint(fields=["count", "number"], name="count_line_once"),
            models.UniqueConstraint(
                fields=["pack_in", "contents_line"],
                condition=Q(contents_line__isnull=False),
                name="count_line_of_pack_once",
            ),
            models.UniqueConstraint(
                fields=["count", "component"],
                condition=Q(component__isnull=False, pack_in__isnull=True),
                name="count_line_of_kind_once",
            ),
            at_least("multiple", 1, "count_line_multiple"),
            models.CheckConstraint(
                condition=~Q(klass__in=["instrument", "rack"]) | Q(contents_line__isnull=True)
                | Q(pack_in__isnull=False),
                name="count_line_of_a_pack",
            ),
        ]  # fmt: skip

    def __str__(self) -> str:
        return self.name


class AddedKind(models.TextChoices):
    PACKED = "packed", _("In the pack")
    ADDED = "added", _("Came on")
    CORRECTION = "correction", _("Correction")
    FRAGMENT = "fragment", _("Fragment")


class Added(models.Model):
    """So many more of a line since; a correction may be negative and has its reason. Never changed.

    `odd` marks soft goods that came in another number than they are packed in.
    """

    Kind = AddedKind

    line = models.ForeignKey(CountLine, on_delete=models.PROTECT, related_name="added")
    stage = models.ForeignKey(Stage, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    quantity = models.IntegerField()
    kind = models.CharField(max_length=10, choices=AddedKind.choices)
    reason = models.CharField(max_length=40, blank=True)
    # The addition that a correction takes back.
    corrects = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected"
    )
    odd = models.BooleanField(default=False)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True)
    paper_at = models.DateTimeField(null=True, blank=True)
    device = models.UUIDField(null=True, blank=True)
    client_key = models.UUIDField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            one_of("kind", AddedKind, "added_kind"),
            models.CheckConstraint(
                condition=Q(quantity__gte=1) | Q(Q(quantity__lte=-1), ~Q(reason=""), kind="correction"),
                name="added_or_corrected",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line_id}: {self.quantity:+d}"


class Basis(models.TextChoices):
    COUNTED = "counted", _("Counted")
    BY_PACK = "by_pack", _("Accepted by pack")
    PAPER = "paper", _("From paper")


class Entry(models.Model):
    """So many were counted of one line at one stage. Never changed: what is counted again is a further entry.

    `seen` is the newest entry of the line and stage that the device knew. `conflict`: another device had
    given another number that this one did not know; only an entry that knows the newest one settles it.
    `after_close`: it came when the stage was closed already.
    """

    Basis = Basis

    line = models.ForeignKey(CountLine, on_delete=models.PROTECT, related_name="entries")
    stage = models.ForeignKey(Stage, on_delete=models.PROTECT, related_name="entries")
    counted = models.PositiveIntegerField()
    expected = models.IntegerField()
    basis = models.CharField(max_length=10, choices=Basis.choices)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True)
    paper_at = models.DateTimeField(null=True, blank=True)
    device = models.UUIDField(null=True, blank=True)
    # The key of the act; several entries of one act have it together.
    client_key = models.UUIDField(null=True, blank=True)
    seen = models.BigIntegerField(null=True, blank=True)
    conflict = models.BooleanField(default=False)
    after_close = models.BooleanField(default=False)

    class Meta:
        ordering = ["pk"]
        constraints = [
            one_of("basis", Basis, "entry_basis"),
            models.UniqueConstraint(
                fields=["line", "stage", "client_key"],
                condition=Q(client_key__isnull=False),
                name="entry_once_by_key",
            ),
        ]
        # For the newest entry of each line at a stage.
        indexes = [models.Index(fields=["stage", "line", "-id"], name="entry_newest")]

    def __str__(self) -> str:
        return f"{self.line_id}: {self.counted}"


class Recount(models.Model):
    """A class is counted again at a stage: entries up to `after_entry` no longer say how many there are."""

    stage = models.ForeignKey(Stage, on_delete=models.PROTECT, related_name="recounts")
    klass = models.CharField(max_length=10, choices=CountClass.choices)
    after_entry = models.BigIntegerField()
    reason = models.CharField(max_length=40, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [one_of("klass", CountClass, "recount_klass")]

    def __str__(self) -> str:
        return f"{self.stage_id}: {self.klass}"


class Pause(models.Model):
    """The count was interrupted: at which class, why, and when it went on."""

    count = models.ForeignKey(TheatreCount, on_delete=models.PROTECT, related_name="pauses")
    stage = models.ForeignKey(Stage, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    klass = models.CharField(max_length=10, choices=CountClass.choices, blank=True)
    reason = models.CharField(max_length=40, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    resumed_at = models.DateTimeField(null=True, blank=True)
    resumed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            one_of_or_none("klass", CountClass, "pause_klass"),
            models.UniqueConstraint(
                fields=["count"], condition=Q(resumed_at__isnull=True), name="pause_one_open"
            ),
            models.CheckConstraint(
                condition=Q(resumed_at__isnull=True) | Q(resumed_by__isnull=False),
                name="pause_resumed_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count_id} at {self.at:%H:%M}"


class HandOver(models.Model):
    """A counter was relieved by another; the stage is the count that belongs to it. Never changed."""

    count = models.ForeignKey(TheatreCount, on_delete=models.PROTECT, related_name="hand_overs")
    stage = models.ForeignKey(Stage, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    seat = models.CharField(max_length=20, choices=RoleKind.choices)
    before = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    after = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(seat__in=["scrub_nurse", "circulating_nurse"]), name="hand_over_seat"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count_id}: {self.seat} to {self.after_id}"


class LeftIn(models.Model):
    """Left in the patient on purpose: what, how many, who decided, and the plan for taking it out."""

    line = models.ForeignKey(CountLine, on_delete=models.PROTECT, related_name="left_in")
    quantity = models.PositiveSmallIntegerField()
    plan = models.CharField(max_length=200)
    decided_by = models.CharField(max_length=120)
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            at_least("quantity", 1, "left_in_quantity"),
            models.CheckConstraint(condition=~Q(plan="") & ~Q(decided_by=""), name="left_in_whole"),
        ]

    def __str__(self) -> str:
        return f"{self.line_id}: {self.quantity}"


class WrongPacket(models.Model):
    """A packet that held another number than it should: taken out whole, not used, and written down."""

    line = models.ForeignKey(CountLine, on_delete=models.PROTECT, related_name="wrong_packets")
    found = models.PositiveSmallIntegerField()
    packed_in = models.PositiveSmallIntegerField()
    lot = models.CharField(max_length=20, blank=True)
    at = models.DateTimeField()
    device_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.line_id}: {self.found} in a packet of {self.packed_in}"


class StageSigning(models.Model):
    """One person's signature under one stage, in one seat. Never changed."""

    stage = models.ForeignKey(Stage, on_delete=models.PROTECT, related_name="signings")
    seat = models.CharField(max_length=20, choices=RoleKind.choices)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            one_of("seat", RoleKind, "stage_signing_seat"),
            models.UniqueConstraint(fields=["stage", "person"], name="stage_signing_person_once"),
            models.UniqueConstraint(fields=["stage", "seat"], name="stage_signing_seat_once"),
        ]

    def __str__(self) -> str:
        return f"{self.stage_id}: {self.seat}"
