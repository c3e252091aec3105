"""Workstations: where people scan, and how the scanner there sends what it reads."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from trays.ledger.laws import between, one_of
from trays.parties.models import Site
from trays.places.models import Place
from trays.scanners.keys import SLOWEST


class Tones(models.TextChoices):
    """Whether scans are heard; by the place: not in a theatre, elsewhere yes."""

    BY_PLACE = "place", _("As the place asks: off in a theatre, on elsewhere")
    ON = "on", _("On")
    OFF = "off", _("Off")


class Workstation(models.Model):
    """One device with a scanner. Its browser carries a signed cookie with this row's key.

    `separator` is what this scanner types in place of ASCII 29, "" where it sends the real one;
    `sends_separators` says that it was seen to send one or the other, so that none is missed. `prefix`
    and `suffix` are keys before and after a scan ("" for none before, and for Enter or Tab after). `slower`
    is how many times the usual time may pass between its keys. With `by_position` keys are taken by where
    they lie on a US keyboard, whatever the computer makes of them.
    """

    Tones = Tones

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="workstations")
    name = models.CharField(max_length=60)
    place = models.ForeignKey(Place, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    separator = models.CharField(max_length=5, blank=True)
    sends_separators = models.BooleanField(default=False)
    prefix = models.CharField(max_length=10, blank=True)
    suffix = models.CharField(max_length=10, blank=True)
    slower = models.PositiveSmallIntegerField(default=1)
    by_position = models.BooleanField(default=False)
    tones = models.CharField(max_length=5, choices=Tones.choices, default=Tones.BY_PLACE)

    class Meta:
        ordering = ["site", "name"]
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="workstation_once_at_site"),
            one_of("tones", Tones, "workstation_tones"),
            between("slower", 1, SLOWEST, "workstation_slower"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def in_theatre(self) -> bool:
        return self.place is not None and self.place.kind == Place.Kind.THEATRE

    @property
    def sounds(self) -> bool:
        """Whether scans are heard here unless the person at it says otherwise."""
        if self.tones == Tones.BY_PLACE:
            return not self.in_theatre
        return self.tones == Tones.ON
