"""The rest of the implant record: what came out, what the surgeon decided, the stop moment, who signed."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case, Construct
from cases.usage.models import Brought, Fits
from trays.catalogue.models import Component
from trays.ledger.laws import one_of
from trays.staff.models import Person, Signature


class Whereto(models.TextChoices):
    """Where an explant went."""

    KEPT = "kept", _("Kept for examination")
    SUPPLIER = "supplier", _("To the supplier")
    PATIENT = "patient", _("To the patient")
    DISPOSED = "disposed", _("Disposed of")
    NOT_SAID = "not_said", _("Not said")


class Explant(models.Model):
    """An implant of an earlier operation that was taken out. Added, never changed."""

    Whereto = Whereto

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="explants")
    construct = models.ForeignKey(
        Construct, null=True, blank=True, on_delete=models.PROTECT, related_name="explants"
    )
    what = models.CharField(max_length=160)
    component = models.ForeignKey(
        Component, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    raw = models.BinaryField(default=b"")
    agency = models.CharField(max_length=10, blank=True)
    di = models.CharField(max_length=60, blank=True)
    lot = models.CharField(max_length=20, blank=True)
    serial = models.CharField(max_length=20, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    whereto = models.CharField(max_length=10, choices=Whereto.choices, default=Whereto.NOT_SAID)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    corrects = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by"
    )

    class Meta:
        ordering = ["case", "pk"]
        constraints = [
            one_of("whereto", Whereto, "explant_whereto"),
            models.CheckConstraint(condition=~Q(what=""), name="explant_says_what"),
        ]

    def __str__(self) -> str:
        return self.what


class SurgeonDecision(models.Model):
    """The surgeon's decision over what the rules say of a pair, with name and reason. Never changed."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="surgeon_decisions")
    construct = models.ForeignKey(
        Construct, null=True, blank=True, on_delete=models.PROTECT, related_name="surgeon_decisions"
    )
    brought = models.ForeignKey(
        Brought, null=True, blank=True, on_delete=models.PROTECT, related_name="decisions"
    )
    over = models.CharField(max_length=10, choices=Fits.choices)
    # The pairs or findings as they were said at that moment.
    about = models.JSONField(default=list)
    surgeon = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    surgeon_name = models.CharField(max_length=120)
    reason = models.CharField(max_length=200)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["case", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(over__in=["caution", "refused", "not_known"]), name="surgeon_decision_over"
            ),
            models.CheckConstraint(
                condition=~Q(surgeon_name="") & ~Q(reason=""), name="surgeon_decision_named_with_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.over}"


class Said(models.TextChoices):
    """What is said aloud at the stop before implanting, boxes in view."""

    SIDE = "side", _("Side on every box is the side of the operation")
    SIZES = "sizes", _("Sizes and type are those the surgeon called")
    PAIRS = "pairs", _("Every pair may be joined")
    DATES = "dates", _("All in date, packs whole, labels kept")
    CLEARED = "cleared", _("Unopened boxes moved away")


class StopMoment(models.Model):
    """The stop before implanting: the construct as it stood then, and what was said aloud. Never changed."""

    construct = models.ForeignKey(Construct, on_delete=models.PROTECT, related_name="stop_moments")
    said = models.JSONField(default=list)
    fits = models.CharField(max_length=10, choices=Fits.choices)
    complete = models.BooleanField()
    content = models.TextField()
    digest = models.CharField(max_length=64)
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["construct", "pk"]
        constraints = [one_of("fits", Fits, "stop_moment_fits")]

    def __str__(self) -> str:
        return f"{self.construct_id} at {self.at:%H:%M}"


class SignRole(models.TextChoices):
    SCRUB = "scrub", _("Scrub")
    CIRCULATING = "circulating", _("Circulating")
    SURGEON = "surgeon", _("Surgeon")


class RecordSigning(models.Model):
    """One person under the record of one construct: with a signature, or named and unsigned with the cause.

    A record has one entry in force for each role, and none of one person twice. Signing anew ends the entry
    before it.
    """

    Role = SignRole

    construct = models.ForeignKey(Construct, on_delete=models.PROTECT, related_name="signings")
    role = models.CharField(max_length=12, choices=Role.choices)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=120)
    signature = models.OneToOneField(
        Signature, null=True, blank=True, on_delete=models.PROTECT, related_name="record_signing"
    )
    unsigned_why = models.CharField(max_length=200, blank=True)
    # The moment on the paper, where it was signed there first.
    signed_at = models.DateTimeField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["construct", "role", "pk"]
        constraints = [
            one_of("role", SignRole, "record_signing_role"),
            models.UniqueConstraint(
                fields=["construct", "role"],
                condition=Q(replaced_at__isnull=True),
                name="record_signing_role_once",
            ),
            models.UniqueConstraint(
                fields=["construct", "person"],
                condition=Q(replaced_at__isnull=True, person__isnull=False),
                name="record_signing_person_once",
            ),
            models.CheckConstraint(
                condition=Q(signature__isnull=False, person__isnull=False, unsigned_why="")
                | Q(~Q(unsigned_why=""), signature__isnull=True),
                name="record_signing_signed_or_why",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="record_signing_named"),
        ]

    def __str__(self) -> str:
        return f"{self.construct_id}: {self.role} {self.name}"
