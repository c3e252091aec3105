"""The table of what an amount buys, on screen and as a file."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.reorders.best_buys import BestBuys, Buy
from cases.reorders.reasons_budget import cases_at_least
from cases.reorders.tables import item_words, size_label
from trays.web.table import Column, Lines, NoColumn, NumberColumn, WhenColumn

NAMED = 4
"""Cases named beside a component; the others are counted."""


@dataclass(frozen=True, slots=True)
class BuyLine:
    """One component to buy as the table sorts, draws and files it."""

    number: int
    code: str
    name: str
    supplier: str
    units: int
    cost: Decimal
    arrives: date
    gain: float
    cases: str
    buy: Buy


def buy_lines(found: BestBuys | None) -> list[BuyLine]:
    """The components to buy, the one that helps most first."""
    return [
        BuyLine(
            number=number,
            code=buy.component.code,
            name=buy.component.name,
            supplier=buy.component.supplier.name,
            units=buy.units,
            cost=buy.cost,
            arrives=buy.arrives,
            gain=buy.gain,
            cases=_named(buy.references),
            buy=buy,
        )
        for number, buy in enumerate(found.buys if found else (), start=1)
    ]


def _named(references: tuple[str, ...]) -> str:
    named, more = ", ".join(references[:NAMED]), len(references) - NAMED
    return _("%(named)s and %(count)s more") % {"named": named, "count": more} if more > 0 else named


class BuyTable(Lines):
    """What helps most first."""

    name = gettext_lazy("What to buy")
    row_head = "item"
    looks = ("flat",)
    empty = (
        gettext_lazy("Nothing to buy for this amount."),
        gettext_lazy("Give a larger amount, or look at what must be ordered on the reorder page."),
    )

    number = NoColumn(verbose_name=gettext_lazy("No."))
    code = Column(verbose_name=gettext_lazy("Code"), visible=False)
    item = Column(accessor="name", verbose_name=gettext_lazy("Size, item"), order_by=("name", "code"))
    supplier = Column(verbose_name=gettext_lazy("Supplier"), visible=False)
    units = NumberColumn(verbose_name=gettext_lazy("Buy"))
    gain = NumberColumn(verbose_name=gettext_lazy("Adds, in cases"))
    cases = Column(verbose_name=gettext_lazy("For"), orderable=False)
    cost = NumberColumn(verbose_name=gettext_lazy("Cost"))
    arrives = WhenColumn(form="day", verbose_name=gettext_lazy("Here by"))

    def render_item(self, record: BuyLine) -> str:
        component = record.buy.component
        size = size_label(component)
        return format_html(
            '{}<a class="under" href="{}">{}</a><span class="soft under">{}</span>',
            format_html('<b class="size">{}</b>', size) if size else "",
            reverse("stock-family", args=[component.family.code]),
            item_words(component),
            record.supplier,
        )

    def value_item(self, record: BuyLine) -> str:
        return record.name

    def render_cases(self, value: str) -> str:
        return format_html_join(
            ", ", '<span class="nowrap">{}</span>', ((part,) for part in value.split(", "))
        )

    def value_cases(self, value: str) -> str:
        return value

    def render_gain(self, value: float) -> str:
        return f"+{cases_at_least(value, 3)}"

    def value_gain(self, value: float) -> float:
        return round(value, 4)
