"""Tables of the stock pages: families, sizes."""

from typing import Any

from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext_lazy

from cases.reorders.queries import FamilyLine, SizeLine
from trays.catalogue.models import Side
from trays.web.table import Column, Lines, NumberColumn


class FamilyTable(Lines):
    """Families of a site; those with sizes under their level carry the bar."""

    name = gettext_lazy("Stock by family")
    row_head = "family"
    looks = ("flat", "mid", "stocked")
    empty = (gettext_lazy("No families on file."), gettext_lazy("Import the catalogue first."))

    family = Column(accessor="name", verbose_name=gettext_lazy("Family"))
    kind = Column(verbose_name=gettext_lazy("Kind"))
    on_hand = NumberColumn(verbose_name=gettext_lazy("On site"))
    free = NumberColumn(verbose_name=gettext_lazy("Free"))
    held = NumberColumn(verbose_name=gettext_lazy("Held"))
    short_dated = NumberColumn(verbose_name=gettext_lazy("Short-dated"))
    out_of_date = NumberColumn(verbose_name=gettext_lazy("Out of date"))
    sizes_there = NumberColumn(verbose_name=gettext_lazy("Sizes there"))
    sizes = NumberColumn(verbose_name=gettext_lazy("Sizes"), visible=False)
    under = Column(
        accessor="under_words",
        verbose_name=gettext_lazy("Sizes under what is asked for"),
        order_by=("-under_count", "name"),
    )

    def row_class(self, record: FamilyLine) -> str:
        return "needs" if record.under else ""

    def render_family(self, record: FamilyLine) -> str:
        address = reverse("stock-family", args=[record.code])
        return format_html('<a class="do" href="{}"><b>{}</b></a>', address, record.name)

    def value_family(self, record: FamilyLine) -> str:
        return record.name

    def render_sizes_there(self, record: FamilyLine) -> str:
        return f"{record.sizes_there} / {record.sizes}"

    def value_sizes_there(self, record: FamilyLine) -> int:
        return record.sizes_there

    def render_held(self, value: int) -> str:
        return _or_dash(value)

    def render_short_dated(self, value: int) -> str:
        return _or_dash(value)

    def render_out_of_date(self, value: int) -> str:
        return _or_dash(value)


class SizeTable(Lines):
    """A family's sizes, side by side."""

    name = gettext_lazy("Sizes")
    row_head = "size"
    looks = ("flat", "still", "mid", "stocked")
    empty = (gettext_lazy("This family has no sizes on file."), gettext_lazy("Import the components."))

    code = Column(accessor="component__code", verbose_name=gettext_lazy("Code"), visible=False)
    size = Column(verbose_name=gettext_lazy("Size"), order_by=("rank",))
    side = Column(verbose_name=gettext_lazy("Side"), order_by=("side", "rank"))
    on_hand = NumberColumn(verbose_name=gettext_lazy("On site"))
    free = NumberColumn(verbose_name=gettext_lazy("Free"))
    held = NumberColumn(verbose_name=gettext_lazy("Held"))
    short_dated = NumberColumn(verbose_name=gettext_lazy("Short-dated"))
    on_order = NumberColumn(verbose_name=gettext_lazy("On order"))
    wanted = NumberColumn(verbose_name=gettext_lazy("Wanted in two weeks"))
    asked = NumberColumn(verbose_name=gettext_lazy("Asked for by the target"))
    over = NumberColumn(verbose_name=gettext_lazy("Over or under"))

    def row_class(self, record: SizeLine) -> str:
        return "needs" if record.over < 0 else ""

    def group(self, record: SizeLine) -> str:
        if record.component.side == Side.NONE or not self._by_side():
            return ""
        return record.side

    def _by_side(self) -> bool:
        first = str(self.order_by[0]).lstrip("-") if self.order_by else "size"
        return first in ("size", "side")

    def render_size(self, value: str) -> str:
        return format_html('<b class="nowrap">{}</b>', value)

    def value_size(self, value: str) -> str:
        return value

    def render_wanted(self, value: float) -> str:
        return f"{value:.1f}" if value >= 0.05 else "–"

    def value_wanted(self, value: float) -> float:
        return round(value, 2)

    def render_over(self, value: int) -> str:
        if value < 0:
            return format_html(
                '<b><svg class="vs" aria-hidden="true"><use href="#v-short"/></svg>−{}</b>', abs(value)
            )
        return f"+{value}" if value else "0"

    def value_over(self, value: int) -> int:
        return value

    def render_held(self, value: int) -> str:
        return _or_dash(value)

    def render_short_dated(self, value: int) -> str:
        return _or_dash(value)

    def render_on_order(self, value: int) -> str:
        return _or_dash(value)


def _or_dash(value: Any) -> str:
    return str(value) if value else "–"
