"""What a site wants beyond the forecast, alerts set aside, accepted plans, uses that were billed."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case, TheatreList
from cases.usage.models import Brought
from trays.catalogue.models import Component
from trays.ledger.laws import at_least, between, exactly_one, one_of
from trays.loans.models import Loan
from trays.orders.models import OrderLine
from trays.parties.models import Site
from trays.staff.models import Person
from trays.stock.models_transfers import Transfer


class LevelBy(models.TextChoices):
    """How the level of an item is set: by a chance that it lasts, or by what a shortage and a unit cost."""

    SERVICE = "service", _("Service level")
    COST = "cost", _("Cost")


class StockRule(models.Model):
    """A site's own wish for one component: how its level is set, and the least to keep.

    By service `wanted` is the chance that it lasts. By cost the level is where one more unit costs more to
    keep for a year (`keep_cost`) than what it saves in shortages (`short_cost` each), both in one currency.
    """

    By = LevelBy

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="stock_rules")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="stock_rules")
    level_by = models.CharField(max_length=8, choices=By.choices, default=By.SERVICE)
    wanted = models.FloatField(default=0.98)
    least = models.PositiveSmallIntegerField(default=0)
    short_cost = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    keep_cost = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "component"], name="stock_rule_once"),
            between("wanted", 0, 1, "stock_rule_wanted"),
            at_least("least", 0, "stock_rule_least"),
            one_of("level_by", LevelBy, "stock_rule_level_by"),
            models.CheckConstraint(
                condition=~Q(level_by="cost")
                # A comparison with nothing is not false to a database: so it is asked for by itself.
                | Q(short_cost__isnull=False, short_cost__gt=0, keep_cost__isnull=False, keep_cost__gt=0),
                name="stock_rule_costs",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site_id}: {self.component_id}"


class SetAsideReason(models.TextChoices):
    """Why an alert was set aside."""

    ON_ITS_WAY = "on_its_way", _("It is on its way, not on file here")
    OTHER_SIZE = "other_size", _("The surgeon will not need this size")
    LENT = "lent", _("A colleague's site lends it")
    ENDING = "ending", _("It is going out of use")
    CASE_CHANGES = "case_changes", _("The case will be moved or cancelled")
    OTHER = "other", _("Another reason")


class SetAside(models.Model):
    """An alert that somebody set aside, for as long as the facts stay as they were: `digest` stands for them.

    It is no longer in force once the facts have changed, or when `ended_at` says that it was taken up again.
    """

    Reason = SetAsideReason

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=20, choices=Reason.choices)
    note = models.CharField(max_length=200, blank=True)
    digest = models.CharField(max_length=32)
    wanted = models.PositiveIntegerField()
    usable = models.PositiveIntegerField()
    on_order = models.PositiveIntegerField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "component"], condition=Q(ended_at__isnull=True), name="set_aside_once"
            ),
            one_of("reason", SetAsideReason, "set_aside_reason"),
            models.CheckConstraint(
                condition=~Q(reason="other") | ~Q(note=""), name="set_aside_other_says_what"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.component_id} at {self.site_id}: {self.reason}"


class Proposal(models.Model):
    """A plan for a case that a coordinator accepted: what it cost, and what it was to come to.

    `chance_before` and `chance_after` are the chances of being covered on site as they were computed then.
    """

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="proposals")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    cost = models.DecimalField(max_digits=12, decimal_places=2)
    currency = models.CharField(max_length=3, blank=True)
    chance_before = models.FloatField()
    chance_after = models.FloatField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["case"], condition=Q(ended_at__isnull=True), name="proposal_open_once"
            ),
            between("chance_before", 0, 1, "proposal_chance_before"),
            between("chance_after", 0, 1, "proposal_chance_after"),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}, {self.at:%Y-%m-%d}"


class ActKind(models.TextChoices):
    LOAN = "loan", _("Loan")
    ORDER = "order", _("Order")
    TRANSFER = "transfer", _("Transfer")
    LIST = "list", _("Another order of the list")


class ProposalAct(models.Model):
    """One act of an accepted proposal, and what was made of it. `arrives`: when it was to be here."""

    Kind = ActKind

    proposal = models.ForeignKey(Proposal, on_delete=models.PROTECT, related_name="acts")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=ActKind.choices)
    cost = models.DecimalField(max_digits=12, decimal_places=2)
    arrives = models.DateField()
    loan = models.OneToOneField(
        Loan, null=True, blank=True, on_delete=models.PROTECT, related_name="proposal_act"
    )
    order_line = models.OneToOneField(
        OrderLine, null=True, blank=True, on_delete=models.PROTECT, related_name="proposal_act"
    )
    transfer = models.OneToOneField(
        Transfer, null=True, blank=True, on_delete=models.PROTECT, related_name="proposal_act"
    )
    theatre_list = models.ForeignKey(
        TheatreList, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["proposal", "number"]
        constraints = [
            one_of("kind", ActKind, "proposal_act_kind"),
            models.UniqueConstraint(fields=["proposal", "number"], name="proposal_act_once"),
            at_least("cost", 0, "proposal_act_cost"),
            exactly_one("proposal_act_made_one", "loan", "order_line", "transfer", "theatre_list"),
        ]

    def __str__(self) -> str:
        return f"{self.proposal_id}/{self.number} {self.kind}"


class UseOrdered(models.Model):
    """What was used, and the line that bills it (and may replace it): one in force for each use.

    Where the line was taken off or its order given up, `ended_at` says so and the use is ordered anew.
    """

    brought = models.ForeignKey(Brought, on_delete=models.PROTECT, related_name="ordered")
    line = models.OneToOneField(OrderLine, on_delete=models.PROTECT, related_name="use")
    at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "uses ordered"
        constraints = [
            models.UniqueConstraint(
                fields=["brought"], condition=Q(ended_at__isnull=True), name="use_ordered_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.brought_id}: {self.line_id}"
