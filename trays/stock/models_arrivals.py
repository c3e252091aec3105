"""What came in: each receipt by scan or form, with the label as it was read."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.catalogue.models_drafts import CatalogueDraft
from trays.ledger.laws import at_least, exactly_one, one_of
from trays.parties.models import Party, Site, Tenure
from trays.places.models import Place
from trays.staff.models import Person
from trays.stock.models import Pile, Unit


class Condition(models.TextChoices):
    """How goods arrived, and what was decided about it."""

    GOOD = "good", _("Good")
    DAMAGED = "damaged", _("Damaged: set apart")
    SHORT_ACCEPTED = "short_accepted", _("Short-dated: accepted, to be used first")
    SHORT_APART = "short_apart", _("Short-dated: set apart for exchange")


class Arrival(models.Model):
    """So many of one lot, or one serial, that came in together. Never changed afterwards.

    Either of a component on file, or of a draft that nobody has approved yet. `raw` is the label as the
    scanner sent it, empty where it was typed.
    """

    Condition = Condition

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="arrivals")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    component = models.ForeignKey(Component, null=True, on_delete=models.PROTECT, related_name="arrivals")
    draft = models.ForeignKey(CatalogueDraft, null=True, on_delete=models.PROTECT, related_name="arrivals")
    pile = models.ForeignKey(Pile, null=True, on_delete=models.PROTECT, related_name="arrivals")
    lot = models.CharField(max_length=20, blank=True)
    serial = models.CharField(max_length=20, blank=True)
    expires = models.DateField(null=True)
    count = models.PositiveIntegerField()
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+")
    tenure = models.CharField(max_length=10, choices=Tenure.choices)
    condition = models.CharField(max_length=16, choices=Condition.choices, default=Condition.GOOD)
    note = models.CharField(max_length=200, blank=True)
    raw = models.BinaryField(default=b"")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            one_of("tenure", Tenure, "arrival_tenure"),
            one_of("condition", Condition, "arrival_condition"),
            at_least("count", 1, "arrival_of_something"),
            exactly_one("arrival_of_one_kind", "component", "draft"),
            models.CheckConstraint(condition=~(Q(lot="") & Q(serial="")), name="arrival_lot_or_serial"),
            models.CheckConstraint(condition=Q(serial="") | Q(count=1), name="arrival_serial_of_one"),
        ]
        # For the newest arrivals of a site.
        indexes = [models.Index(fields=["site", "-at"], name="arrival_recent")]

    def __str__(self) -> str:
        return f"{self.count} × {self.component_id or self.draft_id} {self.serial or self.lot}"


class ArrivalUnit(models.Model):
    """A unit and the arrival with which it came; one that came back has two."""

    arrival = models.ForeignKey(Arrival, on_delete=models.PROTECT, related_name="units")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="arrivals")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["arrival", "unit"], name="arrival_unit_once")]

    def __str__(self) -> str:
        return f"{self.unit_id}"
