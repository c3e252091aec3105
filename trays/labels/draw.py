"""One label onto its place: which drawing suits the stock, and the reason when none does."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils.translation import gettext as _

from trays.labels.draw_flow import draw_flow, draw_flow_copy
from trays.labels.draw_pack import draw_copy, draw_pack
from trays.labels.draw_pack_small import draw_pack_small
from trays.labels.draw_shelf import draw_shelf, draw_shelf_small
from trays.labels.draw_unit import draw_unit, draw_unit_small
from trays.labels.kinds import Label, LabelKind, PackLabel
from trays.labels.setup import Setup
from trays.symbols.labelstock import COPIES
from trays.symbols.lettering import DoesNotFit
from trays.symbols.paper import Paper
from trays.symbols.payload import Carrier, PayloadRefused, checked, elements
from trays.symbols.stock import LABEL_DOTS, Area

# (width, height) that a drawing needs, and the drawing, the largest first; elsewhere the label flows.
_Drawing = Callable[[Paper, Any, Area, int], None]
_LAYOUTS: dict[LabelKind, tuple[tuple[float, float, _Drawing], ...]] = {
    LabelKind.PACK: ((70.0, 50.0, draw_pack), (63.5, 33.9, draw_pack_small)),
    LabelKind.INSTRUMENT: ((70.0, 50.0, draw_pack), (63.5, 33.9, draw_pack_small)),
    LabelKind.SHELF: ((100.0, 50.0, draw_shelf), (63.5, 33.9, draw_shelf_small)),
    LabelKind.UNIT: ((100.0, 50.0, draw_unit), (63.5, 33.9, draw_unit_small)),
}
_COPY_MM = (30.0, 25.0)
# Letters of what does not fit that a refusal quotes.
_QUOTED = 60

# The AIs that each kind of label may carry, and no other: a pack's label never names a place.
_PACK = (frozenset({"8004", "91"}),)
_HOLDER = (frozenset({"8003"}),)
_SHEET = (frozenset({"253"}),)
_SHAPES: dict[LabelKind, tuple[frozenset[str], ...]] = {
    LabelKind.PACK: _PACK,
    LabelKind.INSTRUMENT: _PACK,
    LabelKind.SHELF: (frozenset({"414"}), frozenset({"414", "254"})),
    LabelKind.CONTAINER: _HOLDER,
    LabelKind.UNIT: (frozenset({"01", "10"}), frozenset({"01", "21"}), frozenset({"01", "10", "21"})),
    LabelKind.TAG: _HOLDER,
    LabelKind.BADGE: (frozenset({"8017"}),),
    LabelKind.CASE: _SHEET,
    LabelKind.PICK_LIST: _SHEET,
    LabelKind.COUNT_SHEET: _SHEET,
}


def places_of(label: Label, setup: Setup) -> int:
    """Labels of the stock that it takes: a pack's copies are labels of their own where none peel off."""
    return 1 + COPIES if isinstance(label, PackLabel) and not setup.stock.copies else 1


def draw_label(paper: Paper, label: Label, setup: Setup, position: int) -> None:
    """Draw a label whole onto one place, with the copies that peel off there.

    Raises PayloadRefused (also when the symbol is too large) or DoesNotFit; then nothing of it is drawn.
    """
    stock = setup.stock
    dots = LABEL_DOTS[setup.grid.dpi]
    with paper.within(stock.area(position)) as whole:
        _check_shape(label)
        main = Area(0, 0, whole.width - stock.copy_width, whole.height)
        _draw_main(paper, label, main, setup.carrier, dots.main)
        if isinstance(label, PackLabel) and stock.copies:
            for number in range(stock.copies):
                at = Area(main.width, number * stock.copy_height, stock.copy_width, stock.copy_height)
                with paper.within(at):
                    draw_copy_label(paper, label, Area(0, 0, at.width, at.height), setup, number)


def draw_copy_label(paper: Paper, label: PackLabel, area: Area, setup: Setup, number: int) -> None:
    """One of the two copies: the first for the count sheet, the second for the patient's record."""
    dots = LABEL_DOTS[setup.grid.dpi].copy
    # A copy that peels off is small; as a label of its own it has the room to say what it is for.
    peels = bool(setup.stock.copies)
    if peels and area.width >= _COPY_MM[0] and area.height >= _COPY_MM[1]:
        draw_copy(paper, label, area, dots)
        return
    head = (_("copy for the count sheet"), _("copy for the patient’s record"))[number]
    carrier = Carrier.MATRIX if peels else setup.carrier
    draw_flow_copy(paper, label, area, dots, carrier, head)


def _draw_main(paper: Paper, label: Label, area: Area, carrier: Carrier, dots: int) -> None:
    """By the drawing for a label of this size; flowing where there is none, or where it has no room."""
    for width, height, drawing in _LAYOUTS.get(label.kind, ()):
        # The large shelf label has both symbols.
        suits = carrier is Carrier.MATRIX or drawing is draw_shelf
        if suits and area.width >= width and area.height >= height:
            try:
                with paper.within(area):
                    drawing(paper, label, area, dots)
                return
            except DoesNotFit:
                break
    draw_flow(paper, label, area, dots, carrier)


def _check_shape(label: Label) -> None:
    """Refuse a payload that is right by itself but names another kind of thing."""
    payload = checked(label.payload)
    ais = {element.ai for element in elements(payload)}
    if label.kind is LabelKind.UNIT:
        # Not every unit has a date.
        ais.discard("17")
    if ais not in _SHAPES[label.kind]:
        raise PayloadRefused(_("The identifier names another kind of thing than the label is for."))


def why_not(fault: DoesNotFit | PayloadRefused, setup: Setup) -> str:
    """The reason of a label that cannot be drawn, in one sentence."""
    if isinstance(fault, PayloadRefused):
        return str(fault)
    stock = setup.stock
    size = f"{stock.label_width:g} × {stock.label_height:g} mm"
    sentence = _(
        "Not all that must stand on it fits on a label of %(size)s, “%(text)s” for one: choose a larger one."
    )
    return sentence % {
        "text": fault.text if len(fault.text) <= _QUOTED else f"{fault.text[:_QUOTED]}…",
        "size": size,
    }
