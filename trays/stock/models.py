"""Sealed units and piles."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.ledger.laws import at_least, one_of
from trays.parties.models import Party, Site, Tenure
from trays.places.models import Place


class UnitState(models.TextChoices):
    SHELF = "shelf", _("Shelf")
    PICKED = "picked", _("Picked")
    QUARANTINE = "quarantine", _("Quarantine")
    TRANSIT = "transit", _("Transit")
    OPENED = "opened", _("Opened")
    IMPLANTED = "implanted", _("Implanted")
    WASTED = "wasted", _("Wasted")
    # Sent back to the supplier.
    RETURNED = "returned", _("Returned")
    # Not found where it should be, at a count or on its way.
    MISSING = "missing", _("Missing")
    DISPOSED = "disposed", _("Disposed of")


class Unit(models.Model):
    """One sealed pack of one component. Usable on its expiry day, not after it."""

    State = UnitState

    ON_HAND = (State.SHELF, State.PICKED)

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="units")
    lot = models.CharField(max_length=20, blank=True)
    serial = models.CharField(max_length=20, blank=True)
    expires = models.DateField(null=True, blank=True)
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+")
    tenure = models.CharField(max_length=10, choices=Tenure.choices)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="units")
    bin = models.CharField(max_length=20, blank=True)
    state = models.CharField(max_length=12, choices=State.choices, default=State.SHELF)
    code_reads = models.BooleanField(default=True)
    # Taken before all others that are alike, whoever owns them: it will not be usable for long.
    use_first = models.BooleanField(default=False)
    received_at = models.DateTimeField()

    class Meta:
        constraints = [
            one_of("state", UnitState, "unit_state"),
            one_of("tenure", Tenure, "unit_tenure"),
            models.UniqueConstraint(
                fields=["component", "serial"], condition=~Q(serial=""), name="unit_serial_once"
            ),
            models.CheckConstraint(condition=~(Q(lot="") & Q(serial="")), name="unit_lot_or_serial"),
        ]
        indexes = [
            # For readiness and picking: what of a site's components can be used, first expired first.
            models.Index(fields=["site", "state", "component", "expires"], name="unit_usable"),
            # For a scan: the unit that a lot or serial names.
            models.Index(fields=["component", "lot"], name="unit_by_lot"),
        ]

    def __str__(self) -> str:
        return f"{self.component} {self.serial or self.lot}"


class Pile(models.Model):
    """Consumables of one lot, owner and place, counted in whole pieces."""

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="piles")
    lot = models.CharField(max_length=20)
    expires = models.DateField(null=True, blank=True)
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+")
    tenure = models.CharField(max_length=10, choices=Tenure.choices)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="piles")
    bin = models.CharField(max_length=20, blank=True)
    quantity = models.IntegerField()

    class Meta:
        constraints = [
            at_least("quantity", 0, "pile_not_negative"),
            one_of("tenure", Tenure, "pile_tenure"),
            models.UniqueConstraint(
                fields=["component", "lot", "expires", "owner", "place"], name="pile_once"
            ),
            models.UniqueConstraint(
                fields=["component", "lot", "owner", "place"],
                condition=Q(expires__isnull=True),
                name="pile_once_without_expiry",
            ),
        ]
        # For reorders and picking: what is left of a component at a site.
        indexes = [models.Index(fields=["site", "component", "expires"], name="pile_usable")]

    def __str__(self) -> str:
        return f"{self.component} {self.lot}"
