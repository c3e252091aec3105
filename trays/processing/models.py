"""The round of a pack as rows: every step, what was found on the bench, and what is missing since."""

from functools import reduce
from operator import or_

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.instruments.models import ContentsLine, DesignVersion, InstrumentType, Pack, PackState
from trays.ledger.laws import at_least, one_of
from trays.parties.models import Site
from trays.places.models import Place
from trays.processing.models_machines import Run
from trays.processing.ways import WAYS
from trays.staff.models import Person, Signature


class Move(models.Model):
    """One step of one pack from a state to the next. Numbered without a gap; never changed, never removed.

    `since` is when it had come into `before`: the length of a stage is read off one row. The database
    refuses a step that no way allows, one that does not start from the pack's state, and a change of state
    without a step.
    """

    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="moves")
    sequence = models.PositiveIntegerField()
    round = models.PositiveIntegerField()
    before = models.CharField(max_length=12, choices=PackState.choices)
    after = models.CharField(max_length=12, choices=PackState.choices)
    since = models.DateTimeField(null=True)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    run = models.ForeignKey(Run, null=True, on_delete=models.PROTECT, related_name="moves")
    reason = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["pack", "sequence"]
        constraints = [
            models.UniqueConstraint(fields=["pack", "sequence"], name="move_once_in_pack"),
            at_least("sequence", 1, "move_sequence_from_one"),
            models.CheckConstraint(
                condition=reduce(or_, (Q(before=before, after=after) for before, after in sorted(WAYS))),
                name="move_is_a_way",
            ),
        ]
        # For the lengths of a site's stages, newest first.
        indexes = [models.Index(fields=["site", "before", "after", "-at"], name="move_stage_times")]

    def __str__(self) -> str:
        return f"{self.pack_id}/{self.sequence} {self.before} to {self.after}"


class Packaging(models.TextChoices):
    WRAP = "wrap", _("Wrap")
    CONTAINER = "container", _("Rigid container")
    POUCH = "pouch", _("Pouch")


class Assembly(models.Model):
    """One pack built to its contents list, once in each round."""

    Packaging = Packaging

    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="assemblies")
    round = models.PositiveIntegerField()
    version = models.ForeignKey(DesignVersion, on_delete=models.PROTECT, related_name="+")
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    checked_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    packed_at = models.DateTimeField(null=True, blank=True)
    packed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    packaging = models.CharField(max_length=12, choices=Packaging.choices, blank=True)
    indicator_lot = models.CharField(max_length=20, blank=True)
    weight_grams = models.PositiveIntegerField(null=True, blank=True)
    # A critical line lacks something and a named person lets it go all the same: who, and why.
    short_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    short_reason = models.CharField(max_length=200, blank=True)
    signature = models.ForeignKey(
        Signature, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["pack", "round"], name="assembly_once_in_round"),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True)
                | Q(closed_at__isnull=False, closed_by__isnull=False),
                name="assembly_closed_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(packed_at__isnull=True)
                | Q(
                    ~Q(packaging=""),
                    ~Q(indicator_lot=""),
                    weight_grams__gte=1,
                    closed_at__isnull=False,
                    packed_by__isnull=False,
                ),
                name="assembly_packed_whole",
            ),
            models.CheckConstraint(
                condition=Q(short_by__isnull=True, signature__isnull=True)
                | Q(~Q(short_reason=""), short_by__isnull=False, signature__isnull=False),
                name="assembly_short_by_signature",
            ),
            models.CheckConstraint(
                condition=Q(checked_by__isnull=True) | ~Q(checked_by=models.F("closed_by")),
                name="assembly_checked_by_another",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pack_id} round {self.round}"


class LineState(models.TextChoices):
    THERE = "there", _("There")
    MISSING = "missing", _("Missing")
    BROKEN = "broken", _("Broken")
    REPLACED = "replaced", _("Replaced")


class AssemblyLine(models.Model):
    """What was found of one contents line on the bench: how many are in the tray, and what of the rest."""

    State = LineState

    assembly = models.ForeignKey(Assembly, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(ContentsLine, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=10, choices=LineState.choices)
    present = models.PositiveSmallIntegerField()
    # Refilled with so many now: rack stock by size, or a spare in the place of one that is missing or broken.
    refilled = models.PositiveSmallIntegerField(default=0)
    instead = models.ForeignKey(
        InstrumentType, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    giai = models.CharField(max_length=30, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            one_of("state", LineState, "assembly_line_state"),
            models.UniqueConstraint(fields=["assembly", "line"], name="assembly_line_once"),
        ]

    def __str__(self) -> str:
        return f"{self.assembly_id}: {self.line_id} {self.state}"


class ShortfallCause(models.TextChoices):
    MISSING = "missing", _("Missing")
    BROKEN = "broken", _("Broken")


class ShortfallEnd(models.TextChoices):
    FOUND = "found", _("Found")
    REPLACED = "replaced", _("Replaced")
    WRITTEN_OFF = "written_off", _("Written off")


class Shortfall(models.Model):
    """Pieces of one contents line that a pack lacks, from when it was noticed until it is ended with a
    reason.
    """

    Cause = ShortfallCause
    End = ShortfallEnd

    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="shortfalls")
    line = models.ForeignKey(ContentsLine, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveSmallIntegerField()
    cause = models.CharField(max_length=10, choices=ShortfallCause.choices)
    round = models.PositiveIntegerField()
    noticed_at = models.DateTimeField()
    noticed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    noticed_where = models.CharField(max_length=12, choices=PackState.choices)
    note = models.CharField(max_length=200, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    ended_how = models.CharField(max_length=12, choices=ShortfallEnd.choices, blank=True)

    class Meta:
        constraints = [
            one_of("cause", ShortfallCause, "shortfall_cause"),
            at_least("quantity", 1, "shortfall_quantity"),
            models.UniqueConstraint(
                fields=["pack", "line", "cause"],
                condition=Q(ended_at__isnull=True),
                name="shortfall_one_open",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, ended_how="")
                | Q(ended_at__isnull=False, ended_how__in=ShortfallEnd.values, ended_by__isnull=False),
                name="shortfall_ended_somehow",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.line_id} in {self.pack_id}"
