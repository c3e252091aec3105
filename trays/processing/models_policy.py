"""What a site has decided about its sterile services, each from a day on, and the hours it works."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.instruments.models import PackState
from trays.ledger.laws import between, one_of
from trays.parties.models import Site


class Policy(models.Model):
    """Limits and rules from a day on; a later row takes the earlier one's place.

    `shelf_life_days` empty: sterile until opened, wet, torn or dropped. `biological_for_implants`: a load
    with implants (rack stock too) waits for its biological indicator. `another_releases`: not who packed any
    of it.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="processing_policies")
    valid_from = models.DateField()
    shelf_life_days = models.PositiveSmallIntegerField(null=True, blank=True)
    weight_limit_grams = models.PositiveIntegerField(default=10_000)
    biological_for_implants = models.BooleanField(default=True)
    another_releases = models.BooleanField(default=True)
    second_check = models.BooleanField(default=False)

    class Meta:
        ordering = ["site", "valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["site", "valid_from"], name="processing_policy_once_from_a_day"),
            between("weight_limit_grams", 1, 40_000, "processing_policy_weight"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} from {self.valid_from}"


class StageAllowance(models.Model):
    """How long a stage takes as the site reckons it, until its own records say: half of them, and nine in
    ten.

    The stage is what follows on `state`: "cleaned" is the time from clean to packed, for example. In minutes
    of working time, waiting included.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="stage_allowances")
    state = models.CharField(max_length=12, choices=PackState.choices)
    half_minutes = models.PositiveSmallIntegerField()
    nine_in_ten_minutes = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "state"], name="stage_allowance_once"),
            models.CheckConstraint(
                condition=Q(nine_in_ten_minutes__gte=F("half_minutes")), name="stage_allowance_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.state}: {self.half_minutes} min"


class WorkingHours(models.Model):
    """When sterile services of a site work on one day of the week (0 = Monday), by the site's clock."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="working_hours")
    weekday = models.PositiveSmallIntegerField()
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering = ["site", "weekday", "opens"]
        constraints = [
            between("weekday", 0, 6, "working_hours_weekday"),
            models.CheckConstraint(condition=Q(closes__gt=F("opens")), name="working_hours_have_length"),
            models.UniqueConstraint(fields=["site", "weekday", "opens"], name="working_hours_once"),
        ]

    def __str__(self) -> str:
        return f"{self.weekday} {self.opens} to {self.closes}"


class TripKind(models.TextChoices):
    COLLECTION = "collection", _("Collection from theatres")
    DELIVERY = "delivery", _("Delivery to theatres")


class Trip(models.Model):
    """A run of the timetable: what has been used is fetched, what is sterile is brought."""

    Kind = TripKind

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="trips")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    weekday = models.PositiveSmallIntegerField()
    leaves = models.TimeField()
    minutes = models.PositiveSmallIntegerField(default=15)

    class Meta:
        ordering = ["site", "kind", "weekday", "leaves"]
        constraints = [
            one_of("kind", TripKind, "trip_kind"),
            between("weekday", 0, 6, "trip_weekday"),
            models.UniqueConstraint(fields=["site", "kind", "weekday", "leaves"], name="trip_once"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.weekday} {self.leaves}"
