"""Organisations, suppliers and sites."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.ledger.laws import at_least, between, one_of


def default_owner_order() -> list[str]:
    return ["consigned", "owned", "loaned"]


def default_count_stages() -> list[str]:
    """None: a site counts by its count template. Words given here are where its first template begins."""
    return []


class Tenure(models.TextChoices):
    """Whose a thing is, as the theatre sees it."""

    OWNED = "owned", _("Owned")
    CONSIGNED = "consigned", _("Consigned")
    LOANED = "loaned", _("Loaned")


class PartyKind(models.TextChoices):
    HOSPITAL = "hospital", _("Hospital")
    SUPPLIER = "supplier", _("Supplier")


class Party(models.Model):
    """An organisation: the hospital itself, or a supplier."""

    Kind = PartyKind

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    gln = models.CharField(max_length=13, blank=True)
    # Two letters of ISO 3166-1; an electronic order names it.
    country = models.CharField(max_length=2, blank=True)
    lead_working_days = models.PositiveSmallIntegerField(default=2)

    class Meta:
        constraints = [
            one_of("kind", PartyKind, "party_kind"),
            between("lead_working_days", 0, 120, "party_lead_days"),
        ]

    def __str__(self) -> str:
        return self.name


class Site(models.Model):
    """A place of the hospital with its own clock, lists, shelves and policy."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    party = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="sites")
    zone = models.CharField(max_length=60, default="Europe/London")
    gln = models.CharField(max_length=13, blank=True)
    currency = models.CharField(max_length=3, default="GBP")
    wanted_in_room = models.FloatField(default=0.95)
    wanted_on_site = models.FloatField(default=0.99)
    margin = models.FloatField(default=0.03)
    sizes_each_way = models.PositiveSmallIntegerField(default=1)
    owner_order = models.JSONField(default=default_owner_order)
    count_stages = models.JSONField(default=default_count_stages)
    added_rows = models.PositiveSmallIntegerField(default=4)
    turnaround_minutes = models.PositiveIntegerField(default=360)

    class Meta:
        constraints = [
            between("wanted_in_room", 0, 1, "site_wanted_in_room"),
            between("wanted_on_site", 0, 1, "site_wanted_on_site"),
            between("margin", 0, 1, "site_margin"),
            at_least("turnaround_minutes", 1, "site_turnaround"),
            models.CheckConstraint(condition=~Q(zone=""), name="site_zone_named"),
        ]

    def __str__(self) -> str:
        return self.name
