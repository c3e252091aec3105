"""What was brought to the table of a case, how each piece ended, what is still to be put right of it."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case, CaseSlot, Construct
from trays.catalogue.models import Component
from trays.ledger.laws import one_of, one_of_or_none
from trays.parties.models import Party, Site, Tenure
from trays.staff.models import Person
from trays.stock.models import Pile, Unit


class Source(models.TextChoices):
    """Where the record knew it before it came to the table."""

    HELD = "held", _("Held for this case")
    BOOKED_HERE = "booked_here", _("In stock, held for nobody")
    OTHER_CASE = "other_case", _("Held for another case")
    UNBOOKED = "unbooked", _("Not on stock")
    UNKNOWN_CODE = "unknown_code", _("Code not on file")


class Fate(models.TextChoices):
    IMPLANTED = "implanted", _("Implanted")
    IMPLANTED_REMOVED = "implanted_removed", _("Implanted, then removed")
    WASTED = "wasted", _("Opened and wasted")
    RETURNED_SEALED = "returned_sealed", _("Returned sealed")


class Why(models.TextChoices):
    """Why something was wasted or taken out again."""

    WRONG_SIZE = "wrong_size", _("Another size was needed")
    DID_NOT_FIT = "did_not_fit", _("It did not fit or did not hold")
    PLAN_CHANGED = "plan_changed", _("The surgeon changed the plan")
    DROPPED = "dropped", _("Dropped")
    CONTAMINATED = "contaminated", _("No longer sterile")
    DAMAGED = "damaged", _("Damaged in use")
    # The supplier's fault: the title does not pass.
    FAULTY = "faulty", _("Faulty as delivered")
    OPENED_IN_ERROR = "opened_in_error", _("Opened in error")
    OTHER = "other", _("Another reason")


class Card(models.TextChoices):
    """Whether the patient has been given the implant card."""

    GIVEN = "given", _("Card given")
    NOT_APPLICABLE = "not_applicable", _("No card is given for this")


class Fits(models.TextChoices):
    """What the hospital's own fit rules say of a pair, or of all pairs; no rule on file is not known.

    Where no two pieces are to be compared, nothing is said to be allowed.
    """

    ALLOWED = "allowed", _("Allowed")
    CAUTION = "caution", _("Caution")
    REFUSED = "refused", _("Refused")
    NOT_KNOWN = "not_known", _("Not known")
    NO_PAIR = "no_pair", _("No pair to compare")


class Brought(models.Model):
    """One sealed thing brought to the table of a case. It ends in exactly one fate, set once.

    A mistake is put right by a further row that points at the one it corrects; `replaced_at` then ends the
    old one. `opened_at` is empty while the seal is whole. `owner` and `tenure` are as it was brought in:
    use passes the title.
    """

    Source = Source
    Fate = Fate
    Why = Why
    Card = Card

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="brought")
    number = models.PositiveSmallIntegerField()
    construct = models.ForeignKey(
        Construct, null=True, blank=True, on_delete=models.PROTECT, related_name="brought"
    )
    slot = models.ForeignKey(
        CaseSlot, null=True, blank=True, on_delete=models.PROTECT, related_name="brought"
    )
    unit = models.ForeignKey(Unit, null=True, blank=True, on_delete=models.PROTECT, related_name="brought")
    pile = models.ForeignKey(Pile, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    component = models.ForeignKey(
        Component, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # What the carrier said: byte for byte, and read.
    raw = models.BinaryField(default=b"")
    agency = models.CharField(max_length=10, blank=True)
    di = models.CharField(max_length=60, blank=True)
    pis = models.JSONField(default=list)
    lot = models.CharField(max_length=20, blank=True)
    serial = models.CharField(max_length=20, blank=True)
    expires = models.DateField(null=True, blank=True)
    made_on = models.DateField(null=True, blank=True)
    typed_reason = models.CharField(max_length=200, blank=True)
    described = models.CharField(max_length=160, blank=True)
    source = models.CharField(max_length=12, choices=Source.choices)
    owner = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    tenure = models.CharField(max_length=10, choices=Tenure.choices, blank=True)
    fits = models.CharField(max_length=10, choices=Fits.choices, blank=True)
    # Something spoke against it, and it was taken all the same: what, why, and on whose word.
    overridden = models.JSONField(default=list)
    override_reason = models.CharField(max_length=200, blank=True)
    override_name = models.CharField(max_length=120, blank=True)
    brought_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField(null=True, blank=True)
    opened_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    fate = models.CharField(max_length=18, choices=Fate.choices, blank=True)
    why = models.CharField(max_length=16, choices=Why.choices, blank=True)
    why_words = models.CharField(max_length=200, blank=True)
    fate_at = models.DateTimeField(null=True, blank=True)
    fate_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    title_passed = models.BooleanField(default=False)
    card = models.CharField(max_length=16, choices=Card.choices, blank=True)
    corrects = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["case", "number"]
        constraints = [
            one_of("source", Source, "brought_source"),
            one_of_or_none("fate", Fate, "brought_fate"),
            one_of_or_none("why", Why, "brought_why"),
            one_of_or_none("card", Card, "brought_card"),
            one_of_or_none("fits", Fits, "brought_fits"),
            one_of_or_none("tenure", Tenure, "brought_tenure"),
            models.UniqueConstraint(fields=["case", "number"], name="brought_number_once"),
            # One place at a time; what went back sealed may be brought in again.
            models.UniqueConstraint(
                fields=["unit"],
                condition=Q(replaced_at__isnull=True) & ~Q(fate="returned_sealed"),
                name="brought_unit_once",
            ),
            models.CheckConstraint(
                condition=Q(fate="", fate_at__isnull=True, fate_by__isnull=True)
                | Q(~Q(fate=""), fate_at__isnull=False, fate_by__isnull=False),
                name="brought_fate_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(fate__in=["wasted", "implanted_removed"]) | Q(why="", why_words=""),
                name="brought_why_of_waste",
            ),
            models.CheckConstraint(
                condition=~Q(fate__in=["wasted", "implanted_removed"]) | ~Q(why=""),
                name="brought_waste_has_why",
            ),
            models.CheckConstraint(
                condition=~Q(why="other") | ~Q(why_words=""), name="brought_other_says_what"
            ),
            models.CheckConstraint(
                condition=Q(opened_at__isnull=True, opened_by__isnull=True)
                | Q(opened_at__isnull=False, opened_by__isnull=False),
                name="brought_opened_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(fate__in=["implanted", "implanted_removed", "wasted"])
                | Q(opened_at__isnull=False),
                name="brought_used_was_opened",
            ),
            models.CheckConstraint(
                condition=Q(override_reason="", override_name="")
                | Q(~Q(override_reason=""), ~Q(override_name="")),
                name="brought_override_named",
            ),
            models.CheckConstraint(
                condition=Q(source="unknown_code", unit__isnull=True)
                | Q(~Q(source="unknown_code"), component__isnull=False),
                name="brought_known_has_component",
            ),
            models.CheckConstraint(
                condition=Q(title_passed=False) | Q(fate__in=["implanted", "implanted_removed", "wasted"]),
                name="brought_title_by_use",
            ),
            models.CheckConstraint(
                condition=Q(slot__isnull=True) | Q(construct__isnull=False), name="brought_slot_in_construct"
            ),
        ]
        indexes = [
            # For the work of a case: what has no fate yet.
            models.Index(fields=["case", "fate"], name="brought_of_case"),
            # For reorders: what was used since a moment.
            models.Index(fields=["fate_at"], condition=~Q(fate=""), name="brought_used_since"),
            # For a lot or a serial: where it went.
            models.Index(fields=["component", "lot"], name="brought_by_lot"),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}/{self.number} {self.fate or 'no fate yet'}"

    @property
    def opened(self) -> bool:
        return self.opened_at is not None


class MarkKind(models.TextChoices):
    """What is marked on a fact, so that somebody looks at it afterwards."""

    UNBOOKED = "unbooked", _("Not on stock when it was opened")
    UNKNOWN_CODE = "unknown_code", _("Code not on file")
    OTHER_CASE = "other_case", _("Another case’s unit")
    OWNER_NOT_KNOWN = "owner_not_known", _("Owner not known")
    TYPED = "typed", _("Typed by hand")
    NO_LOT = "no_lot", _("Neither lot nor serial")
    SEEN_BEFORE = "seen_before", _("This serial stands in another record")
    OUT_OF_DATE = "out_of_date", _("Out of date")
    NOT_RELEASED = "not_released", _("Not released for use")
    RECALLED = "recalled", _("Under a safety notice")
    WRONG_SIDE = "wrong_side", _("Other side")
    MATERIAL = "material", _("Material that the case was to avoid")
    ANOTHER_LOT = "another_lot", _("Another lot than was picked")
    NO_FIT = "no_fit", _("Against the fit rules, or not known to them")
    NOT_SEALED = "not_sealed", _("Back sealed, though it had been taken down as opened")
    NO_STOP = "no_stop", _("No stop moment before implanting")
    NO_RIGHT = "no_right", _("Taken down by somebody whose role does not include it")
    LATE = "late", _("Entered late")
    UNSIGNED = "unsigned", _("Not signed")
    CORRECTED = "corrected", _("Corrected")
    EXCEPTION = "exception", _("Closed by exception")


class Mark(models.Model):
    """A mark on a fact of a case, until somebody has looked at it and says what came of it."""

    Kind = MarkKind

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="marks")
    brought = models.ForeignKey(
        Brought, null=True, blank=True, on_delete=models.PROTECT, related_name="marks"
    )
    construct = models.ForeignKey(
        Construct, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    kind = models.CharField(max_length=16, choices=Kind.choices)
    words = models.CharField(max_length=300, blank=True)
    made_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    cleared_at = models.DateTimeField(null=True, blank=True)
    cleared_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    cleared_words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["made_at", "pk"]
        constraints = [
            one_of("kind", MarkKind, "mark_kind"),
            models.CheckConstraint(
                condition=Q(cleared_at__isnull=True, cleared_by__isnull=True, cleared_words="")
                | Q(~Q(cleared_words=""), cleared_at__isnull=False, cleared_by__isnull=False),
                name="mark_cleared_with_words",
            ),
        ]
        # For the list of what is chased.
        indexes = [
            models.Index(fields=["case"], condition=Q(cleared_at__isnull=True), name="mark_open_of_case")
        ]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.kind}"


class CardExempt(models.Model):
    """A kind of slot for which a site gives no implant card. Kept by the hospital; ended, never removed."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="card_exempt")
    slot = models.CharField(max_length=40)
    since = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "slot"], condition=Q(ended_at__isnull=True), name="card_exempt_once"
            ),
            models.CheckConstraint(condition=~Q(slot=""), name="card_exempt_slot"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id}: {self.slot}"


class MaterialConstraint(models.Model):
    """A material that is not to be used in a case, as the surgeon asked; ended, never removed.

    The word is the catalogue's own for the family's material. Nothing is said here of the patient.
    """

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="materials_avoided")
    material = models.CharField(max_length=60)
    since = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["case", "material"],
                condition=Q(ended_at__isnull=True),
                name="material_constraint_once",
            ),
            models.CheckConstraint(condition=~Q(material=""), name="material_constraint_named"),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}: no {self.material}"
