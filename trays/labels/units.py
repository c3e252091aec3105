"""Labels of boxes whose own code does not scan: the maker's identity of them again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.catalogue.models import PackLevel, Side
from trays.identifiers import gs1
from trays.identifiers.gs1 import Malformed
from trays.labels.kinds import LabelKind, Refused, UnitLabel
from trays.labels.sources import Made, Source, refusing, register
from trays.labels.wording import day_words
from trays.stock.models import Unit
from trays.symbols import lettering


def units() -> QuerySet[Unit]:
    """Units on hand whose own code does not scan, by component and date."""
    rows = Unit.objects.filter(state__in=Unit.ON_HAND, code_reads=False)
    return rows.select_related("component__supplier").order_by("component__code", "expires", "pk")


def unit_labels(rows: QuerySet[Unit]) -> Made:
    """Their labels, or why there is none. Two queries."""
    chosen = list(rows)
    codes: dict[int, list[str]] = defaultdict(list)
    levels = PackLevel.objects.filter(component_id__in={row.component_id for row in chosen}, quantity=1)
    for component_id, code in levels.order_by("code").values_list("component_id", "code"):
        codes[component_id].append(code)
    return tuple(_unit_label(row, codes[row.component_id]) for row in chosen)


def _unit_label(row: Unit, codes: Sequence[str]) -> UnitLabel | Refused:
    component = row.component
    marks = " ".join(word for word in (row.lot, row.serial) if word)
    refuse = refusing(row.pk, f"{component.name}, {marks}")
    if not codes:
        return refuse(_("No trade code for a single unit is on file, so the maker’s identity is not known."))
    if len(codes) > 1:
        return refuse(
            _("Two trade codes for a single unit are on file; which one the box bears is not known.")
        )
    try:
        payload = gs1.build(_identity(row, codes[0]))
    except Malformed as why:
        return refuse(str(why))
    size = f"{component.size} × {component.second}" if component.second else component.size
    side = "" if component.side == Side.NONE else str(component.get_side_display()).upper()
    return UnitLabel(
        row_id=row.pk,
        called=f"{component.name}, {marks}",
        payload=payload,
        name=lettering.bare_name(component.name, size, _("size %(size)s") % {"size": size}, side),
        size=size,
        side=side,
        maker=component.supplier.name,
        lot=row.lot,
        serial=row.serial,
        use_by=day_words(row.expires),
    )


def _identity(row: Unit, gtin: str) -> list[tuple[str, str]]:
    """The maker's own elements: GTIN, use-by, lot, serial, as far as the unit has them."""
    elements = [("01", gtin.rjust(14, "0"))]
    if row.expires:
        elements.append(("17", f"{row.expires:%y%m%d}"))
    elements += [(ai, value) for ai, value in (("10", row.lot), ("21", row.serial)) if value]
    return elements


register(
    Source(
        kind=LabelKind.UNIT,
        words=gettext_lazy("Units that do not scan"),
        act="print_labels",
        subject="unit",
        site="site",
        rows=units,
        labels=unit_labels,
        caution=gettext_lazy(
            "Stick it beside the maker’s label, never over it, and compare both: the maker’s label counts."
        ),
    )
)
