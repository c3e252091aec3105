"""Holds of units and sets: promises, each made once."""

from django.db import models
from django.db.models import F, Q

from cases.bookings.models import Case, TheatreList
from trays.instruments.models import InstrumentSet
from trays.ledger.laws import exactly_one
from trays.staff.models import Person
from trays.stock.models import Unit


class Hold(models.Model):
    """A unit kept for one case, or for a list whose cases share it. One open hold per unit."""

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="holds")
    case = models.ForeignKey(Case, null=True, blank=True, on_delete=models.PROTECT, related_name="holds")
    list = models.ForeignKey(
        TheatreList, null=True, blank=True, on_delete=models.PROTECT, related_name="holds"
    )
    placed_at = models.DateTimeField()
    placed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_reason = models.CharField(max_length=40, blank=True)

    class Meta:
        constraints = [
            exactly_one("hold_for_case_or_list", "case", "list"),
            models.UniqueConstraint(
                fields=["unit"], condition=Q(ended_at__isnull=True), name="hold_one_open_per_unit"
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | ~Q(ended_reason=""), name="hold_ended_with_reason"
            ),
        ]
        # For readiness: the open holds of the cases shown.
        indexes = [
            models.Index(fields=["case"], condition=Q(ended_at__isnull=True), name="hold_open_by_case")
        ]

    def __str__(self) -> str:
        return f"unit {self.unit_id}"


class SetHold(models.Model):
    """A set kept for a case or a list from one moment to another; no two open ones overlap.

    The end includes the time the set needs to come back ready. The overlap is refused by the
    database: an exclusion constraint on PostgreSQL, triggers on SQLite (see guards).
    """

    set = models.ForeignKey(InstrumentSet, on_delete=models.PROTECT, related_name="holds")
    case = models.ForeignKey(
        Case, null=True, blank=True, on_delete=models.PROTECT, related_name="set_holds"
    )
    list = models.ForeignKey(
        TheatreList, null=True, blank=True, on_delete=models.PROTECT, related_name="set_holds"
    )
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    placed_at = models.DateTimeField()
    placed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_reason = models.CharField(max_length=40, blank=True)

    class Meta:
        constraints = [
            exactly_one("set_hold_for_case_or_list", "case", "list"),
            models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="set_hold_has_length"),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | ~Q(ended_reason=""), name="set_hold_ended_with_reason"
            ),
        ]
        # For the overlap guard and for a set's diary.
        indexes = [models.Index(fields=["set", "starts_at"], name="set_hold_diary")]

    def __str__(self) -> str:
        return f"set {self.set_id}"
