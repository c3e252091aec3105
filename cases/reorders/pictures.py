"""The size range of a family on its stock page: wanted units above, what is on site below."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from cases.readiness.picture import Column, Picture, cells_in_order, family_picture, on_order_cells
from cases.reorders.queries import SizeLine
from trays.catalogue.models import FamilyKind, Side
from trays.parties.models import Site


def family_pictures(lines: Sequence[SizeLine], *, site: Site, day: date) -> list[Picture]:
    """One picture per side; none for a family of one size, nor for pieces: too many to draw."""
    pictures = []
    if any(line.component.family.kind != FamilyKind.IMPLANT for line in lines):
        return []
    for number, side in enumerate((Side.LEFT, Side.RIGHT, Side.NONE), start=1):
        of_side = [line for line in lines if line.component.side == side]
        if len(of_side) > 1:
            title = str(side.label).upper() if side != Side.NONE else _("All sizes")
            columns = [_column(line, site, day) for line in of_side]
            pictures.append(family_picture(title=title, columns=columns, key=f"family-{number}"))
    return pictures


def _column(line: SizeLine, site: Site, day: date) -> Column:
    component = line.component
    cells = cells_in_order(line.units, owner_order=site.owner_order, day=day)
    cells += on_order_cells(line.coming)
    if component.second:
        group = _("Size %(size)s") % {"size": component.size}
        return Column(component.second, line.wanted, cells, group=group, asked=line.level)
    return Column(component.size, line.wanted, cells, asked=line.level)
