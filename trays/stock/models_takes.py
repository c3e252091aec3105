"""Stock takes by place: what was seen by scan, what the record holds, and the adjustment that is signed."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.ledger.laws import exactly_one, one_of
from trays.parties.models import Site
from trays.places.models import Place
from trays.staff.models import Person, Signature
from trays.stock.models import Pile, Unit


class TakeStatus(models.TextChoices):
    COUNTING = "counting", _("Counting")
    AGREED = "agreed", _("Agreed with the record")
    ADJUSTED = "adjusted", _("Record adjusted")
    BROKEN_OFF = "broken_off", _("Broken off")


class StockTake(models.Model):
    """One count of one place; a recount begins a new round, and only what is seen in the latest counts."""

    Status = TakeStatus

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="stock_takes")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="stock_takes")
    number = models.CharField(max_length=20, unique=True)
    status = models.CharField(max_length=12, choices=TakeStatus.choices, default=TakeStatus.COUNTING)
    round = models.PositiveSmallIntegerField(default=1)
    begun_at = models.DateTimeField()
    begun_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    # What the count came to when it ended.
    expected = models.PositiveIntegerField(null=True, blank=True)
    seen = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["-begun_at", "-pk"]
        constraints = [
            one_of("status", TakeStatus, "stock_take_status"),
            models.UniqueConstraint(
                fields=["place"], condition=Q(status="counting"), name="stock_take_one_open_for_a_place"
            ),
            models.CheckConstraint(
                condition=Q(status="counting", ended_at__isnull=True)
                | ~Q(status="counting") & Q(ended_at__isnull=False, ended_by__isnull=False),
                name="stock_take_ended_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class SightingKind(models.TextChoices):
    HERE = "here", _("Here, as on record")
    MOVED = "moved", _("Here; the record held it elsewhere")
    FOUND = "found", _("Found again")
    MORE = "more", _("More of this lot than on record")
    NOT_STOCK = "not_stock", _("By the record no longer stock")
    TAKEN_BACK = "taken_back", _("Taken back")


class Sighting(models.Model):
    """One thing that was scanned in a round of a count. Never changed; one that was wrong is taken back."""

    Kind = SightingKind

    take = models.ForeignKey(StockTake, on_delete=models.PROTECT, related_name="sightings")
    round = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=SightingKind.choices)
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="+")
    lot = models.CharField(max_length=20, blank=True)
    serial = models.CharField(max_length=20, blank=True)
    unit = models.ForeignKey(Unit, null=True, on_delete=models.PROTECT, related_name="sightings")
    of = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="taken_back")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            one_of("kind", SightingKind, "sighting_kind"),
            models.CheckConstraint(
                condition=Q(kind="taken_back", of__isnull=False)
                | ~Q(kind="taken_back") & Q(of__isnull=True),
                name="sighting_takes_back_one",
            ),
        ]
        # For what was seen in a round, in order.
        indexes = [models.Index(fields=["take", "round", "id"], name="sighting_in_order")]

    def __str__(self) -> str:
        return f"{self.kind} {self.serial or self.lot}"


class PileCount(models.Model):
    """How many pieces of a pile were counted in a round; the latest row counts. Never changed."""

    take = models.ForeignKey(StockTake, on_delete=models.PROTECT, related_name="pile_counts")
    round = models.PositiveSmallIntegerField()
    pile = models.ForeignKey(Pile, on_delete=models.PROTECT, related_name="counts")
    pieces = models.PositiveIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.pieces} of {self.pile_id}"


class AdjustmentReason(models.TextChoices):
    NOT_FOUND = "not_found", _("Looked for, not found")
    USED_UNRECORDED = "used_unrecorded", _("Probably used without a record")
    MISCOUNTED = "miscounted", _("Counted wrongly on receipt")
    FOUND = "found", _("More found than on record")
    OTHER = "other", _("Other: see the note")


class Adjustment(models.Model):
    """What a count changed in the record: signed, and by two above the site's limit. Never changed.

    `value` is the sum of the prices of all that was added and taken off; `unpriced` how many things have no
    price on file, which counts as above the limit.
    """

    Reason = AdjustmentReason

    take = models.OneToOneField(StockTake, on_delete=models.PROTECT, related_name="adjustment")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="adjustments")
    reason = models.CharField(max_length=16, choices=AdjustmentReason.choices)
    note = models.CharField(max_length=200, blank=True)
    value = models.DecimalField(max_digits=12, decimal_places=2)
    limit = models.DecimalField(max_digits=12, decimal_places=2)
    currency = models.CharField(max_length=3)
    unpriced = models.PositiveIntegerField(default=0)
    at = models.DateTimeField()
    signature = models.ForeignKey(Signature, on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey(Signature, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            one_of("reason", AdjustmentReason, "adjustment_reason"),
            models.CheckConstraint(
                condition=Q(value__lte=F("limit"), unpriced=0) | Q(second__isnull=False),
                name="adjustment_by_two_above_the_limit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.take_id}"


class AdjustmentLine(models.Model):
    """One unit, or the pieces of one pile, added or taken off. Never changed."""

    adjustment = models.ForeignKey(Adjustment, on_delete=models.PROTECT, related_name="lines")
    unit = models.ForeignKey(Unit, null=True, on_delete=models.PROTECT, related_name="adjustments")
    pile = models.ForeignKey(Pile, null=True, on_delete=models.PROTECT, related_name="adjustments")
    quantity = models.IntegerField()
    price = models.DecimalField(max_digits=10, decimal_places=2, null=True)

    class Meta:
        constraints = [
            exactly_one("adjustment_line_of_one_thing", "unit", "pile"),
            models.CheckConstraint(condition=~Q(quantity=0), name="adjustment_line_changes_something"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity}"
