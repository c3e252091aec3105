"""Instrument types, set designs with versioned contents lists, sets and their packs."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component, Family
from trays.ledger.laws import at_least, exactly_one, one_of, one_of_or_none
from trays.parties.models import Party, Site, Tenure
from trays.places.models import Place


class InstrumentType(models.Model):
    """A kind of instrument, as it stands on a contents list."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    parts = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [at_least("parts", 1, "instrument_parts")]

    def __str__(self) -> str:
        return self.name


class Barrier(models.TextChoices):
    SINGLE = "single", _("Single barrier")
    DOUBLE = "double", _("Double barrier")


class Method(models.TextChoices):
    STEAM = "steam", _("steam")
    ETHYLENE_OXIDE = "eo", _("ethylene oxide")
    HYDROGEN_PEROXIDE = "vh2o2", _("hydrogen peroxide")


class SetDesign(models.Model):
    """What a kind of set is for. `asset_type` is the GRAI's thirteen digits, check digit included.

    `barrier` and `method` are how its packs are packed and sterilized, "" where not on file: labels then
    leave the symbols away.
    """

    Barrier = Barrier
    Method = Method

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    asset_type = models.CharField(max_length=13, blank=True)
    barrier = models.CharField(max_length=10, choices=Barrier.choices, blank=True)
    method = models.CharField(max_length=10, choices=Method.choices, blank=True)

    class Meta:
        constraints = [
            one_of_or_none("barrier", Barrier, "design_barrier"),
            one_of_or_none("method", Method, "design_method"),
        ]

    def __str__(self) -> str:
        return self.name


class DesignServes(models.Model):
    """The run of sizes of one family that a design serves, both ends included.

    A design without rows serves any size; with rows for one family it leaves the others alone.
    """

    design = models.ForeignKey(SetDesign, on_delete=models.CASCADE, related_name="serves")
    family = models.ForeignKey(Family, on_delete=models.PROTECT, related_name="served_by")
    first_rank = models.PositiveSmallIntegerField()
    last_rank = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["design", "family"], name="design_serves_once"),
            models.CheckConstraint(condition=Q(last_rank__gte=F("first_rank")), name="design_serves_a_run"),
        ]

    def __str__(self) -> str:
        return f"{self.design_id} serves {self.family_id} {self.first_rank}–{self.last_rank}"


class DesignVersion(models.Model):
    """One issue of a design's contents list. Sets are built to a version."""

    design = models.ForeignKey(SetDesign, on_delete=models.PROTECT, related_name="versions")
    version = models.PositiveSmallIntegerField()
    valid_from = models.DateField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["design", "version"], name="design_version_once"),
            at_least("version", 1, "design_version_from_one"),
        ]

    def __str__(self) -> str:
        return f"{self.design} list {self.version}"


class ContentsLine(models.Model):
    """One line of a contents list: an instrument, or rack stock, in one tray and section."""

    version = models.ForeignKey(DesignVersion, on_delete=models.PROTECT, related_name="lines")
    tray = models.PositiveSmallIntegerField(default=1)
    number = models.PositiveSmallIntegerField()
    section = models.CharField(max_length=80, blank=True)
    instrument = models.ForeignKey(
        InstrumentType, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    rack_stock = models.ForeignKey(
        Component, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    quantity = models.PositiveSmallIntegerField(default=1)
    critical = models.BooleanField(default=False)

    class Meta:
        ordering = ["version", "tray", "number"]
        constraints = [
            exactly_one("contents_line_one_thing", "instrument", "rack_stock"),
            models.UniqueConstraint(fields=["version", "tray", "number"], name="contents_line_once"),
            at_least("quantity", 1, "contents_line_quantity"),
        ]

    def __str__(self) -> str:
        return f"line {self.number}"


class InstrumentSet(models.Model):
    """One physical set, built to one version of its design, made of one or more packs."""

    version = models.ForeignKey(DesignVersion, on_delete=models.PROTECT, related_name="sets")
    code = models.CharField(max_length=40, unique=True)
    grai = models.CharField(max_length=30, unique=True, null=True, blank=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="sets")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+")
    tenure = models.CharField(max_length=10, choices=Tenure.choices, default=Tenure.OWNED)

    class Meta:
        constraints = [one_of("tenure", Tenure, "set_tenure")]

    def __str__(self) -> str:
        return self.code


class PackState(models.TextChoices):
    USED = "used", _("Used")
    RECEIVED = "received", _("Received")
    CLEANED = "cleaned", _("Cleaned")
    ASSEMBLED = "assembled", _("Assembled")
    PACKED = "packed", _("Packed")
    IN_LOAD = "in_load", _("In load")
    QUARANTINED = "quarantined", _("Quarantined")
    RELEASED = "released", _("Released")
    STORED = "stored", _("Stored")
    ISSUED = "issued", _("Issued")
    OPENED = "opened", _("Opened")
    REPAIR = "repair", _("Repair")
    LENT = "lent", _("Lent out")
    SENT_BACK = "sent_back", _("Sent back")
    CONDEMNED = "condemned", _("Condemned")
    LOST = "lost", _("Lost")


class Pack(models.Model):
    """One tray of a set, wrapped by itself. `round` counts the times it has been through."""

    State = PackState

    IN_USE = (State.OPENED, State.USED)
    READY = (State.RELEASED, State.STORED, State.ISSUED)
    GONE = (State.CONDEMNED, State.LOST, State.SENT_BACK)

    set = models.ForeignKey(InstrumentSet, on_delete=models.PROTECT, related_name="packs")
    tray = models.PositiveSmallIntegerField(default=1)
    number = models.CharField(max_length=20, unique=True)
    giai = models.CharField(max_length=30, unique=True, null=True, blank=True)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="packs")
    bin = models.CharField(max_length=20, blank=True)
    state = models.CharField(max_length=12, choices=State.choices)
    # When it came into its state; None where it was entered with it and that is not known.
    since = models.DateTimeField(null=True, blank=True)
    urgent = models.BooleanField(default=False)
    # Sterilized for use at once: never put on a shelf.
    immediate_use = models.BooleanField(default=False)
    sterile_until = models.DateField(null=True, blank=True)
    load = models.CharField(max_length=30, blank=True)
    packed_at = models.DateTimeField(null=True, blank=True)
    packed_by = models.ForeignKey(
        "trays.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    round = models.PositiveIntegerField(default=1)
    weight_grams = models.PositiveIntegerField(null=True, blank=True)
    container = models.BooleanField(default=False)

    class Meta:
        ordering = ["set", "tray"]
        constraints = [
            one_of("state", PackState, "pack_state"),
            models.UniqueConstraint(fields=["set", "tray"], name="pack_once_in_set"),
            at_least("round", 1, "pack_round"),
            models.CheckConstraint(
                condition=~Q(immediate_use=True, state="stored"), name="pack_immediate_use_not_stored"
            ),
        ]
        # For what waits at each stage, among many that are put away.
        indexes = [models.Index(fields=["state", "since"], name="pack_waiting")]

    def __str__(self) -> str:
        return self.number


class PackLine(models.Model):
    """What one pack really holds of one contents line."""

    pack = models.ForeignKey(Pack, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(ContentsLine, on_delete=models.PROTECT, related_name="+")
    present = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["pack", "line"], name="pack_line_once"),
            at_least("present", 0, "pack_line_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.pack_id}: {self.present}"
