"""Single instruments with a mark of their own, spares, and the care that things of use are due."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.instruments.models import InstrumentSet, InstrumentType, Pack
from trays.ledger.laws import at_least, exactly_one, one_of
from trays.parties.models import Site
from trays.places.models import Place


class PieceState(models.TextChoices):
    IN_SET = "in_set", _("In a set")
    SPARE = "spare", _("Spare")
    REPAIR = "repair", _("In repair")
    CONDEMNED = "condemned", _("Condemned")
    LOST = "lost", _("Lost")


class Piece(models.Model):
    """One instrument that carries its own code (GIAI, or whatever its maker marked)."""

    State = PieceState

    type = models.ForeignKey(InstrumentType, on_delete=models.PROTECT, related_name="pieces")
    mark = models.CharField(max_length=60, unique=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="pieces")
    pack = models.ForeignKey(Pack, null=True, blank=True, on_delete=models.PROTECT, related_name="pieces")
    state = models.CharField(max_length=10, choices=State.choices)

    class Meta:
        constraints = [
            one_of("state", PieceState, "piece_state"),
            models.CheckConstraint(
                condition=Q(state="in_set", pack__isnull=False) | Q(~Q(state="in_set"), pack__isnull=True),
                name="piece_in_a_pack_or_not",
            ),
        ]

    def __str__(self) -> str:
        return self.mark


class Spare(models.Model):
    """Spare instruments of one type at one place, without marks of their own."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="spares")
    type = models.ForeignKey(InstrumentType, on_delete=models.PROTECT, related_name="spares")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    bin = models.CharField(max_length=20, blank=True)
    quantity = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["type", "place"], name="spare_once_at_place"),
            at_least("quantity", 0, "spare_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.type_id}"


class Care(models.Model):
    """Maintenance that a set or a single instrument is due after so many uses, or so many days.

    `done_round` is the round (of the set's first pack) or the count of uses at which it was last done.
    """

    set = models.ForeignKey(
        InstrumentSet, null=True, blank=True, on_delete=models.PROTECT, related_name="care"
    )
    piece = models.ForeignKey(Piece, null=True, blank=True, on_delete=models.PROTECT, related_name="care")
    what = models.CharField(max_length=120)
    every_uses = models.PositiveIntegerField(null=True, blank=True)
    every_days = models.PositiveIntegerField(null=True, blank=True)
    done_on = models.DateField()
    done_round = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            exactly_one("care_of_one_thing", "set", "piece"),
            models.CheckConstraint(
                condition=Q(every_uses__gte=1) | Q(every_days__gte=1), name="care_is_due_sometime"
            ),
        ]

    def __str__(self) -> str:
        return self.what
