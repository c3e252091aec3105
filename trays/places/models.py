"""Stores, shelves, theatres."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.ledger.laws import one_of
from trays.parties.models import Site


class PlaceKind(models.TextChoices):
    STORE = "store", _("Store")
    SHELF = "shelf", _("Shelf")
    STERILE_STORE = "sterile_store", _("Sterile store")
    THEATRE = "theatre", _("Theatre")
    STERILE_SERVICES = "sterile_services", _("Sterile services")
    TROLLEY = "trolley", _("Trolley")


class Place(models.Model):
    """Somewhere a thing can be. `walk` is the order in which a picker passes it."""

    Kind = PlaceKind

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="places")
    code = models.CharField(max_length=20)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    room = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="inside")
    walk = models.PositiveIntegerField(default=0)
    gln = models.CharField(max_length=13, blank=True)
    extension = models.CharField(max_length=20, blank=True)

    class Meta:
        ordering = ["site", "walk", "code"]
        constraints = [
            one_of("kind", PlaceKind, "place_kind"),
            models.UniqueConstraint(fields=["site", "code"], name="place_once_at_site"),
            # A scanned location code leads to one place.
            models.UniqueConstraint(
                fields=["gln", "extension"], condition=~Q(gln=""), name="place_scan_once"
            ),
        ]

    def __str__(self) -> str:
        return self.name
