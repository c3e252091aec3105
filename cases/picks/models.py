"""Pick lists and their lines."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case
from trays.catalogue.models import Component
from trays.instruments.models import Pack
from trays.ledger.laws import at_least, exactly_one, one_of
from trays.places.models import Place
from trays.staff.models import Person
from trays.stock.models import Pile, Unit


class PickList(models.Model):
    """What to fetch for one case. A later list takes the place of the one before it."""

    number = models.CharField(max_length=20, unique=True)
    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="pick_lists")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    in_room = models.FloatField()
    wanted = models.FloatField()
    # What the list said when it was made: levels, reasons, sizes wanted, what was not on site.
    said = models.JSONField(default=dict)
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["case"], condition=Q(replaced_at__isnull=True), name="pick_list_one_in_force"
            ),
        ]

    def __str__(self) -> str:
        return self.number


class PickLineGroup(models.TextChoices):
    LIKELY = "likely", _("Likely")
    KEEP_SEALED = "keep_sealed", _("Keep sealed")
    CONTINGENCY = "contingency", _("Contingency")
    CONSUMABLE = "consumable", _("Consumable")
    SET = "set", _("Set")


class PickLine(models.Model):
    """One thing to take from one place, in walking order."""

    Group = PickLineGroup

    pick_list = models.ForeignKey(PickList, on_delete=models.CASCADE, related_name="lines")
    number = models.PositiveSmallIntegerField()
    group = models.CharField(max_length=12, choices=Group.choices)
    site_minimum = models.BooleanField(default=False)
    unit = models.ForeignKey(Unit, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    pack = models.ForeignKey(Pack, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    pile = models.ForeignKey(Pile, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    component = models.ForeignKey(
        Component, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    bin = models.CharField(max_length=20, blank=True)
    quantity = models.PositiveSmallIntegerField(default=1)
    likelihood = models.FloatField(null=True, blank=True)
    picked_at = models.DateTimeField(null=True, blank=True)
    picked_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pick_list", "number"]
        constraints = [
            one_of("group", PickLineGroup, "pick_line_group"),
            exactly_one("pick_line_one_thing", "unit", "pack", "pile"),
            models.UniqueConstraint(fields=["pick_list", "number"], name="pick_line_once"),
            at_least("quantity", 1, "pick_line_quantity"),
            models.CheckConstraint(
                condition=Q(picked_at__isnull=True) | Q(picked_by__isnull=False),
                name="pick_line_picked_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"line {self.number}"


class PackFor(models.Model):
    """A pack that left for a case, in one of its rounds: until it was opened there, or came back unopened.

    A pack may leave for several cases in one round, one after the other; it is opened for one of them.
    """

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="packs_had")
    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="cases_had")
    round = models.PositiveIntegerField()
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField(null=True, blank=True)
    opened_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    returned_at = models.DateTimeField(null=True, blank=True)
    returned_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["pack", "round"],
                condition=Q(returned_at__isnull=True),
                name="pack_for_one_case_in_round",
            ),
            models.CheckConstraint(
                condition=Q(opened_at__isnull=True) | Q(opened_by__isnull=False, returned_at__isnull=True),
                name="pack_for_opened_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(returned_at__isnull=True) | Q(returned_by__isnull=False),
                name="pack_for_returned_by_somebody",
            ),
        ]
        # For a pack's history and for recalls: whom it was with in one round.
        indexes = [models.Index(fields=["pack", "round"], name="pack_for_by_round")]

    def __str__(self) -> str:
        return f"pack {self.pack_id} round {self.round} for case {self.case_id}"
