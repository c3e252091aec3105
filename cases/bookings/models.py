"""Theatre lists, cases and their constructs, procedure plans, predictions."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component, Family, Side
from trays.instruments.models import SetDesign
from trays.ledger.laws import at_least, between, one_of
from trays.parties.models import Site
from trays.places.models import Place
from trays.staff.models import Person


class Procedure(models.Model):
    """A kind of operation, by the hospital's own code."""

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    sided = models.BooleanField(default=True)
    minutes = models.PositiveSmallIntegerField(default=105)

    class Meta:
        constraints = [at_least("minutes", 1, "procedure_minutes")]

    def __str__(self) -> str:
        return self.name


class ProcedurePlan(models.Model):
    """What a procedure needs, for one surgeon or for all (surgeon empty)."""

    code = models.CharField(max_length=40, unique=True)
    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="plans")
    surgeon = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="plans"
    )
    detail = models.CharField(max_length=120, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["procedure", "surgeon"], condition=Q(surgeon__isnull=False), name="plan_of_surgeon"
            ),
            models.UniqueConstraint(
                fields=["procedure"], condition=Q(surgeon__isnull=True), name="plan_for_all"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class PlanSlot(models.Model):
    """A part of the construct: how surely it is used, whether all its second measures are brought."""

    plan = models.ForeignKey(ProcedurePlan, on_delete=models.CASCADE, related_name="slots")
    number = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=60)
    use = models.FloatField(default=1.0)
    waste = models.FloatField(default=0.0)
    predicted = models.BooleanField(default=True)
    bring_all_seconds = models.BooleanField(default=False)

    class Meta:
        ordering = ["plan", "number"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "code"], name="plan_slot_once"),
            models.UniqueConstraint(fields=["plan", "number"], name="plan_slot_number_once"),
            between("use", 0, 1, "plan_slot_use"),
            between("waste", 0, 1, "plan_slot_waste"),
        ]

    def __str__(self) -> str:
        return self.name


class PlanFamily(models.Model):
    """A family that may fill the slot; a contingency family is brought for the given chance only."""

    slot = models.ForeignKey(PlanSlot, on_delete=models.CASCADE, related_name="families")
    family = models.ForeignKey(Family, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveSmallIntegerField(default=1)
    contingency = models.BooleanField(default=False)
    chance = models.FloatField(default=0.0)

    class Meta:
        ordering = ["slot", "number"]
        constraints = [
            models.UniqueConstraint(fields=["slot", "family"], name="plan_family_once"),
            between("chance", 0, 1, "plan_family_chance"),
        ]

    def __str__(self) -> str:
        return f"{self.slot_id}: {self.family_id}"


class PlanLink(models.Model):
    """Two slots whose sizes must fit each other; every pair of their sizes needs a rule on file."""

    plan = models.ForeignKey(ProcedurePlan, on_delete=models.CASCADE, related_name="links")
    slot_a = models.ForeignKey(PlanSlot, on_delete=models.CASCADE, related_name="+")
    slot_b = models.ForeignKey(PlanSlot, on_delete=models.CASCADE, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["slot_a", "slot_b"], name="plan_link_once"),
            models.CheckConstraint(condition=~Q(slot_a=F("slot_b")), name="plan_link_two_slots"),
        ]

    def __str__(self) -> str:
        return f"{self.slot_a_id} with {self.slot_b_id}"


class PlanSetNeed(models.Model):
    """A set the operation needs, met by any one of its options that serves the sizes used."""

    plan = models.ForeignKey(ProcedurePlan, on_delete=models.CASCADE, related_name="set_needs")
    number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80)
    contingency = models.BooleanField(default=False)

    class Meta:
        ordering = ["plan", "number"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "number"], name="plan_set_need_once"),
        ]

    def __str__(self) -> str:
        return self.name


class PlanSetOption(models.Model):
    """One design that may meet the need; the lower number is taken first."""

    need = models.ForeignKey(PlanSetNeed, on_delete=models.CASCADE, related_name="options")
    design = models.ForeignKey(SetDesign, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["need", "number"]
        constraints = [models.UniqueConstraint(fields=["need", "design"], name="plan_set_option_once")]

    def __str__(self) -> str:
        return f"{self.need_id}: {self.design_id}"


class PlanConsumable(models.Model):
    """A consumable and how many of it the operation takes."""

    plan = models.ForeignKey(ProcedurePlan, on_delete=models.CASCADE, related_name="consumables")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveSmallIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["plan", "component"], name="plan_consumable_once"),
            at_least("quantity", 1, "plan_consumable_quantity"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.component_id}"


class TheatreListSession(models.TextChoices):
    ALL_DAY = "all_day", _("All day")
    MORNING = "morning", _("Morning")
    AFTERNOON = "afternoon", _("Afternoon")
    EVENING = "evening", _("Evening")


class TheatreList(models.Model):
    """One theatre's cases for one session of one day, in order."""

    Session = TheatreListSession

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="lists")
    theatre = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="lists")
    day = models.DateField()
    session = models.CharField(max_length=10, choices=Session.choices, default=Session.ALL_DAY)
    surgeon = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="lists"
    )

    class Meta:
        constraints = [
            one_of("session", TheatreListSession, "list_session"),
            models.UniqueConstraint(fields=["theatre", "day", "session"], name="list_once"),
        ]
        # For the fortnight: a site's lists by day.
        indexes = [models.Index(fields=["site", "day"], name="list_by_day")]

    def __str__(self) -> str:
        return f"{self.theatre} {self.day}"


class CaseStatus(models.TextChoices):
    BOOKED = "booked", _("Booked")
    OPENED = "opened", _("Opened")
    CLOSED = "closed", _("Closed")
    CANCELLED = "cancelled", _("Cancelled")


class CaseUrgency(models.TextChoices):
    PLANNED = "planned", _("Planned")
    EMERGENCY = "emergency", _("Emergency")


class Case(models.Model):
    """One planned operation. The position leads; the start is an estimate. No patient is named."""

    Status = CaseStatus

    Urgency = CaseUrgency

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="cases")
    reference = models.CharField(max_length=40)
    list = models.ForeignKey(TheatreList, on_delete=models.PROTECT, related_name="cases")
    position = models.IntegerField()
    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="cases")
    plan = models.ForeignKey(ProcedurePlan, on_delete=models.PROTECT, related_name="cases")
    surgeon = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="cases"
    )
    starts_at = models.DateTimeField()
    minutes = models.PositiveSmallIntegerField()
    urgency = models.CharField(max_length=10, choices=Urgency.choices, default=Urgency.PLANNED)
    late_entry = models.BooleanField(default=False)
    status = models.CharField(max_length=10, choices=Status.choices, default=Status.BOOKED)
    cancel_reason = models.CharField(max_length=60, blank=True)
    booked_at = models.DateTimeField()
    booked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            one_of("status", CaseStatus, "case_status"),
            one_of("urgency", CaseUrgency, "case_urgency"),
            at_least("minutes", 1, "case_minutes"),
            models.UniqueConstraint(fields=["site", "reference"], name="case_reference_once"),
            models.UniqueConstraint(
                fields=["list", "position"],
                condition=~Q(status="cancelled"),
                name="case_position_once",
            ),
            models.CheckConstraint(
                condition=~Q(status="cancelled") | ~Q(cancel_reason=""), name="case_cancelled_with_reason"
            ),
        ]
        # For the horizon: a site's cases from a moment on.
        indexes = [models.Index(fields=["site", "status", "starts_at"], name="case_by_start")]

    def __str__(self) -> str:
        return self.reference


class Construct(models.Model):
    """The components that go together in one side of one case."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="constructs")
    number = models.PositiveSmallIntegerField(default=1)
    side = models.CharField(max_length=5, choices=Side.choices)

    class Meta:
        ordering = ["case", "number"]
        constraints = [
            one_of("side", Side, "construct_side"),
            models.UniqueConstraint(fields=["case", "number"], name="construct_once"),
            models.UniqueConstraint(
                fields=["case", "side"], condition=~Q(side="none"), name="construct_side_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id} {self.side}"


class CaseSlot(models.Model):
    """A slot of one construct, with the family chosen for it; made from the plan at booking."""

    construct = models.ForeignKey(Construct, on_delete=models.CASCADE, related_name="slots")
    plan_slot = models.ForeignKey(PlanSlot, on_delete=models.PROTECT, related_name="+")
    occurrence = models.PositiveSmallIntegerField(default=1)
    family = models.ForeignKey(Family, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["construct", "plan_slot__number", "occurrence"]
        constraints = [
            models.UniqueConstraint(
                fields=["construct", "plan_slot", "occurrence"], name="case_slot_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.construct_id}: {self.plan_slot_id}"


class PredictionMethod(models.TextChoices):
    XRAY = "xray_template", _("X-ray template")
    CT = "ct_template", _("CT template")
    PATIENT_DATA = "patient_data", _("Patient data")
    OTHER_SIDE = "other_side", _("Other side")
    SURGEON = "surgeon_estimate", _("Surgeon estimate")


class Prediction(models.Model):
    """What somebody expects for a slot: one size, or a range with a confidence. Added, never overwritten."""

    Method = PredictionMethod

    slot = models.ForeignKey(CaseSlot, on_delete=models.CASCADE, related_name="predictions")
    method = models.CharField(max_length=20, choices=Method.choices)
    planner = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    low_rank = models.PositiveSmallIntegerField()
    high_rank = models.PositiveSmallIntegerField()
    confidence = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            one_of("method", PredictionMethod, "prediction_method"),
            models.CheckConstraint(condition=Q(high_rank__gte=F("low_rank")), name="prediction_a_range"),
            models.CheckConstraint(
                condition=Q(confidence__isnull=True) | (Q(confidence__gt=0) & Q(confidence__lte=1)),
                name="prediction_confidence",
            ),
        ]
        # For the newest prediction of each slot.
        indexes = [models.Index(fields=["slot", "-made_at", "-id"], name="prediction_newest")]

    def __str__(self) -> str:
        return f"{self.slot_id}: {self.low_rank}–{self.high_rank}"

