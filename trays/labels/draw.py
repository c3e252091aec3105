"""Labels to PDF: one a page on a roll, or place after place on the A4 sheet with its alignment test."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from trays.identifiers import gs1
from trays.labels.draw_pack import draw_pack
from trays.labels.draw_pack_parts import draw_pack_small
from trays.labels.draw_shelf import draw_shelf, draw_shelf_small
from trays.labels.draw_unit import draw_unit, draw_unit_small
from trays.labels.kinds import Label, LabelKind, PackLabel, Refused, ShelfLabel, Stock, roll_of
from trays.symbols.lettering import DoesNotFit
from trays.symbols.paper import Paper, Stroke
from trays.symbols.payload import PayloadRefused, checked
from trays.symbols.stock import A4, A4_LABEL_DOTS, A4_LABELS_24, ROLL_DOTS, Area, LabelSheet

# Half the arms of the cross in the middle of a label on the test page, and the scale's length, in mm.
_CROSS = 3.0
SCALE_MM = 50.0


def labels_pdf(
    labels: Sequence[Label], *, kind: LabelKind, stock: Stock, start: int = 1, cautions: str = ""
) -> bytes:
    """The PDF of labels of one kind, in their order.

    On a roll each label is a page of whole dots. On the A4 sheet they run from position `start` (1 to 24);
    a test page to hold against the sheet follows, with `cautions` in words. Raises PayloadRefused or
    DoesNotFit: ask `printable` first; ValueError for a position that is not on the sheet.
    """
    if stock is Stock.A4:
        return _sheets(labels, start, cautions)
    roll = roll_of(kind, stock)
    paper = Paper(roll.page, title=_("Labels"))
    for label in labels:
        _on_roll(paper, label, stock)
        paper.next_page()
    return paper.pdf()


def printable(label: Label, stock: Stock) -> Label | Refused:
    """The label itself when it can be printed whole on the stock, else the reason why not."""
    try:
        if stock is Stock.A4:
            _on_sheet(Paper(A4, title=""), label, A4_LABELS_24.area(1))
        else:
            kind = kind_of(label)
            _on_roll(Paper(roll_of(kind, stock).page, title=""), label, stock)
    except (PayloadRefused, DoesNotFit) as why:
        return Refused(label.row_id, label.site_id, label.called, str(why))
    return label


def kind_of(label: Label) -> LabelKind:
    if isinstance(label, PackLabel):
        return LabelKind.PACK
    return LabelKind.SHELF if isinstance(label, ShelfLabel) else LabelKind.UNIT


# The AIs that each kind of label may carry, and no other: a pack's label never names a place.
_SHAPES = {
    LabelKind.PACK: ({"8004", "91"},),
    LabelKind.SHELF: ({"414"}, {"414", "254"}),
    LabelKind.UNIT: ({"01", "10"}, {"01", "21"}, {"01", "10", "21"}),
}


def _check_shape(label: Label) -> None:
    """Refuse a payload that is right by itself but names another kind of thing."""
    payload = checked(label.payload)
    kind = kind_of(label)
    ais = {element.ai for element in gs1.parse(payload).elements}
    if kind is LabelKind.UNIT:
        # Not every unit has a date.
        ais.discard("17")
    if ais not in _SHAPES[kind]:
        raise PayloadRefused(_("The identifier names another kind of thing than the label is for."))


def x_dimensions(stock: Stock) -> tuple[float, float]:
    """True X-dimension in mm of the DataMatrix, and on a roll of the copies' DataMatrix: whole dots."""
    if stock is Stock.A4:
        x = A4.grid.mm(A4_LABEL_DOTS)
        return x, x
    grid = roll_of(LabelKind.PACK, stock).page.grid
    dots = ROLL_DOTS[grid.dpi]
    return grid.mm(dots.main), grid.mm(dots.copy)


def _on_roll(paper: Paper, label: Label, stock: Stock) -> None:
    _check_shape(label)
    roll = roll_of(kind_of(label), stock)
    if isinstance(label, PackLabel):
        draw_pack(paper, label, roll)
    elif isinstance(label, ShelfLabel):
        draw_shelf(paper, label, roll)
    else:
        draw_unit(paper, label, roll)


def _on_sheet(paper: Paper, label: Label, area: Area) -> None:
    _check_shape(label)
    if isinstance(label, PackLabel):
        draw_pack_small(paper, label, area)
    elif isinstance(label, ShelfLabel):
        draw_shelf_small(paper, label, area)
    else:
        draw_unit_small(paper, label, area)


def _sheets(labels: Sequence[Label], start: int, cautions: str) -> bytes:
    sheet = A4_LABELS_24
    paper = Paper(sheet.page, title=_("Labels"))
    page = 0
    # strict is not for an endless run of places
    for label, (number, area) in zip(labels, sheet.places(start), strict=False):
        while page < number:
            paper.next_page()
            page += 1
        _on_sheet(paper, label, area)
    paper.next_page()
    _test_page(paper, sheet, cautions)
    return paper.pdf()


def _test_page(paper: Paper, sheet: LabelSheet, cautions: str) -> None:
    """Plain paper to hold over the label sheet against the light: outlines, centres, a scale, cautions."""
    for position in range(1, sheet.per_page + 1):
        area = sheet.area(position)
        paper.box(area, Stroke(0.2, dashed=True))
        paper.text(area.x + 3, area.y + 5.8, str(position), 9)
        x, y = area.x + area.width / 2, area.y + area.height / 2
        paper.line([(x - _CROSS, y), (x + _CROSS, y)], Stroke(0.15))
        paper.line([(x, y - _CROSS), (x, y + _CROSS)], Stroke(0.15))
    first, second, third = (sheet.area(position) for position in (1, 2, 3))
    words = _("Test page: plain paper, 100 %, held over the label sheet")
    paper.paragraph(first.x + 3, first.bottom - 6.4, words, 8, width=first.width - 5, lines=2, pitch=3.4)
    _scale(paper, second)
    x_words = _("X %(x)s mm") % {"x": f"{x_dimensions(Stock.A4)[0]:.3f}"}
    paper.text(third.x + 3, third.bottom - 3, x_words, 8)
    if cautions:
        below = sheet.area(4)
        paper.paragraph(
            below.x + 3, below.bottom - 15.5, cautions, 7.5, width=below.width - 5, lines=5, pitch=3.1
        )


def _scale(paper: Paper, area: Area) -> None:
    x, y = area.x + 3, area.bottom - 9
    paper.line([(x, y), (x + SCALE_MM, y)], Stroke(0.25))
    for tenth in range(6):
        paper.line([(x + tenth * 10, y - 1.3), (x + tenth * 10, y + 1.3)], Stroke(0.25))
    paper.fitted(x, area.bottom - 4, _("50 mm by a ruler?"), 8, width=area.width - 5, least=7)
