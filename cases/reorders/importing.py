"""Files of stock rules."""

from collections.abc import Hashable
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.reorders.models import LevelBy, StockRule
from trays.catalogue.importing import components_by_code
from trays.exchange.columns import Choice, Code, Money, Number, Whole
from trays.exchange.kinds import ModelKind, Row


class StockRules(ModelKind):
    """One component at one site a row."""

    code = "stock-rules"
    title = gettext_lazy("Stock rules")
    about = gettext_lazy("Components for which a site wants more than the forecast alone would say.")
    house = False
    model = StockRule
    subject = "stock_rule"
    key_column = "component"
    columns = (
        Code("site", gettext_lazy("The site."), "larkmere"),
        Code("component", gettext_lazy("Its code or GTIN."), "swab-10"),
        Number("wanted", gettext_lazy("Chance wanted that it lasts until delivery."), "0.98", False, 0.98),
        Choice(
            "level_by",
            gettext_lazy("Whether the level follows that chance, or what a shortage and one too many cost."),
            "service",
            False,
            LevelBy.SERVICE,
            words=tuple(LevelBy.values),
        ),
        Money("short_cost", gettext_lazy("By cost: what one unit short costs."), "400.00", False),
        Money("keep_cost", gettext_lazy("By cost: what one unit kept for a year costs."), "90.00", False),
        Whole("least", gettext_lazy("Never fewer than this."), "20", False, 0, 0, 30_000),
    )

    def prepare(self) -> None:
        self.components = components_by_code()
        self.known = set(StockRule.objects.values_list("site_id", "component_id"))

    def check(self, row: Row) -> dict[str, Any] | None:
        site = self.site(row)
        component = row.find("component", self.components)
        by_cost = row["level_by"] == LevelBy.COST
        for column in ("short_cost", "keep_cost"):
            if by_cost and not row[column]:
                row.fault(
                    column,
                    _("A level by cost needs both costs, each more than nought."),
                    _("Fill both in, or write service."),
                )
        if row.faults or site is None or component is None:
            return None
        return {
            "site_id": site.id,
            "component_id": component.pk,
            "wanted": row["wanted"],
            "level_by": row["level_by"],
            "short_cost": row["short_cost"],
            "keep_cost": row["keep_cost"],
            "least": row["least"],
        }

    def key(self, values: dict[str, Any]) -> Hashable:
        return values["site_id"], values["component_id"]
