"""What a site has decided about its stock."""

from decimal import Decimal

from django.db import models
from django.db.models import F, Q

from trays.ledger.laws import between
from trays.parties.models import Site

SHORT_DATED_DAYS = 90
WARNING_DAYS = 180
ADJUSTMENT_LIMIT = Decimal(500)


class StockPolicy(models.Model):
    """One row for each site; a site without one keeps to the values that stand here.

    `adjustment_limit`, in the site's currency: a stock take that changes more, or something without a price,
    is signed by two. `short_dated_days`: what has less left on arrival is asked about. `warning_days`: what
    will expire within them is listed to be exchanged, moved or used first.
    """

    site = models.OneToOneField(Site, on_delete=models.PROTECT, related_name="stock_policy")
    adjustment_limit = models.DecimalField(max_digits=10, decimal_places=2, default=ADJUSTMENT_LIMIT)
    short_dated_days = models.PositiveSmallIntegerField(default=SHORT_DATED_DAYS)
    warning_days = models.PositiveSmallIntegerField(default=WARNING_DAYS)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(adjustment_limit__gte=0), name="stock_policy_limit"),
            between("short_dated_days", 0, 1_000, "stock_policy_short_dated"),
            models.CheckConstraint(
                condition=Q(warning_days__gte=F("short_dated_days"), warning_days__lte=2_000),
                name="stock_policy_warning",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site_id}"
