"""What a site wants of a component beyond what the forecast says."""

from django.db import models

from trays.catalogue.models import Component
from trays.ledger.laws import at_least, between
from trays.parties.models import Site


class StockRule(models.Model):
    """A site's own wish for one component: the chance wanted, and the least to keep."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="stock_rules")
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="stock_rules")
    wanted = models.FloatField(default=0.98)
    least = models.PositiveSmallIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "component"], name="stock_rule_once"),
            between("wanted", 0, 1, "stock_rule_wanted"),
            at_least("least", 0, "stock_rule_least"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id}: {self.component_id}"
