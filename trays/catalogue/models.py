"""Component families, components, pack levels and fit rules, all from the hospital's own import."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from trays.ledger.laws import at_least, one_of
from trays.parties.models import Party


class Side(models.TextChoices):
    """Of the patient's body; "none" for a component that is the same on both."""

    LEFT = "left", _("Left")
    RIGHT = "right", _("Right")
    NONE = "none", _("None")


class FamilyKind(models.TextChoices):
    IMPLANT = "implant", _("Implant")
    CONSUMABLE = "consumable", _("Consumable")
    RACK = "rack", _("Rack")


class Family(models.Model):
    """Components that differ by size (and second measure, and side) only."""

    Kind = FamilyKind

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=20, choices=Kind.choices, default=Kind.IMPLANT)
    slot = models.CharField(max_length=40, blank=True)
    sided = models.BooleanField(default=False)
    constraint = models.CharField(max_length=60, blank=True)
    fixation = models.CharField(max_length=60, blank=True)
    material = models.CharField(max_length=60, blank=True)
    second_measure = models.CharField(max_length=40, blank=True)

    class Meta:
        verbose_name_plural = "families"
        constraints = [one_of("kind", FamilyKind, "family_kind")]

    def __str__(self) -> str:
        return self.name


class ComponentCountClass(models.TextChoices):
    NONE = "none", _("None")
    SOFT = "soft", _("Soft")
    SHARP = "sharp", _("Sharp")
    SMALL = "small", _("Small")


class Component(models.Model):
    """One thing that can be ordered: a family's size, second measure and side.

    `size_rank` counts from 0 in the family's order of sizes; `second_rank` likewise, 0 where there is none.
    """

    CountClass = ComponentCountClass

    family = models.ForeignKey(Family, on_delete=models.PROTECT, related_name="components")
    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=160)
    size = models.CharField(max_length=20, blank=True)
    size_rank = models.PositiveSmallIntegerField(default=0)
    second = models.CharField(max_length=20, blank=True)
    second_rank = models.PositiveSmallIntegerField(default=0)
    side = models.CharField(max_length=5, choices=Side.choices, default=Side.NONE)
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="components")
    price = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, default="GBP")
    order_multiple = models.PositiveSmallIntegerField(default=1)
    count_class = models.CharField(max_length=5, choices=CountClass.choices, default=CountClass.NONE)
    count_multiple = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["family", "side", "size_rank", "second_rank"]
        constraints = [
            one_of("side", Side, "component_side"),
            one_of("count_class", ComponentCountClass, "component_count_class"),
            at_least("order_multiple", 1, "component_order_multiple"),
            at_least("count_multiple", 1, "component_count_multiple"),
            models.CheckConstraint(
                condition=Q(price__isnull=True) | Q(price__gte=0), name="component_price_not_negative"
            ),
            models.UniqueConstraint(
                fields=["family", "side", "size_rank", "second_rank"], name="component_size_once"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class PackLevel(models.Model):
    """A trade code (GTIN-14) and what it stands for: so many of one component."""

    code = models.CharField(max_length=40, unique=True)
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="pack_levels")
    quantity = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [at_least("quantity", 1, "pack_level_quantity")]

    def __str__(self) -> str:
        return self.code


class FitRuleVerdict(models.TextChoices):
    ALLOWED = "allowed", _("Allowed")
    CAUTION = "caution", _("Caution")
    REFUSED = "refused", _("Refused")


class FitRule(models.Model):
    """Whether a size of one family may stand with a size of another. No rule on file is not known."""

    Verdict = FitRuleVerdict

    family_a = models.ForeignKey(Family, on_delete=models.PROTECT, related_name="rules_first")
    rank_a = models.PositiveSmallIntegerField()
    family_b = models.ForeignKey(Family, on_delete=models.PROTECT, related_name="rules_second")
    rank_b = models.PositiveSmallIntegerField()
    verdict = models.CharField(max_length=10, choices=Verdict.choices)
    source = models.CharField(max_length=120)
    valid_from = models.DateField()

    class Meta:
        constraints = [
            one_of("verdict", FitRuleVerdict, "fit_rule_verdict"),
            models.UniqueConstraint(
                fields=["family_a", "rank_a", "family_b", "rank_b", "valid_from"], name="fit_rule_once"
            ),
            models.CheckConstraint(condition=~Q(family_a=F("family_b")), name="fit_rule_two_families"),
            models.CheckConstraint(condition=~Q(source=""), name="fit_rule_has_source"),
        ]

    def __str__(self) -> str:
        return f"{self.family_a_id}:{self.rank_a} with {self.family_b_id}:{self.rank_b} {self.verdict}"
