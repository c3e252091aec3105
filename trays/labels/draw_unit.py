"""The unit label: the maker's own identity again, for a box whose own code does not scan."""

from django.utils.translation import gettext as _

from trays.identifiers import gs1
from trays.labels.hri import draw_hri
from trays.labels.kinds import UnitLabel
from trays.symbols import datamatrix, iso, lettering
from trays.symbols.lettering import Face
from trays.symbols.paper import Paper
from trays.symbols.stock import Area

_INSET = 3.0


def draw_unit(paper: Paper, label: UnitLabel, area: Area, dots: int) -> None:
    """In 100 × 50 mm at least."""
    left, right = _INSET, area.width - _INSET
    if lettering.width(label.name, 14, Face.BOLD) <= right - left:
        paper.text(left, 8.4, label.name, 14, Face.BOLD)
    else:
        paper.fitted(left, 5.6, label.name, 11, width=right - left, lines=2, pitch=4.5, face=Face.BOLD)
    paper.rule(left, right, 11.9, 0.4)
    symbol = datamatrix.modules(label.payload)
    code = paper.matrix(left, 13.6, symbol, dots)
    x = code.right + 4.0
    _size_and_side(paper, label, x, 19.0, right, 20.0)
    paper.fitted(x, 23.2, label.maker, 8.5, width=right - x, least=7)
    low = _fields(paper, label, x, 27.2, right)
    y = max(34.0, code.bottom + 4.4, low + 3.2)
    draw_hri(paper, left, y, label.payload, width=right - left, pitch=2.8)
    paper.rule(left, right, 42.6, 0.2)
    paper.paragraph(left, 45.7, _sentence(), 7.5, width=right - left, lines=2, pitch=3.0)


def _sentence() -> str:
    return _(
        "Label of this hospital, because the maker’s code does not scan. The maker’s label is the one that "
        "counts: leave it uncovered and compare."
    )


def _size_and_side(paper: Paper, label: UnitLabel, x: float, y: float, right: float, size: float) -> None:
    words = ", ".join(
        word for word in (_("size %(size)s") % {"size": label.size} if label.size else "", label.side) if word
    )
    if words:
        paper.exact(x, y, words, size, width=right - x, least=8, face=Face.BOLD)


def _fields(paper: Paper, label: UnitLabel, x: float, y: float, right: float) -> float:
    """Lot, date and serial as words, each whole with its name; what has no room goes to the next line."""
    start = x
    for word, value in ((_("lot"), label.lot), (_("use by"), label.use_by), (_("serial"), label.serial)):
        if not value:
            continue
        sign = 3.6 if value is label.use_by else 0.0
        wide = sign + lettering.width(word, 8) + 1.3 + lettering.width(value, 10, Face.BOLD)
        if start > x and start + wide > right:
            start, y = x, y + 4.0
        if sign:
            start += iso.use_by(paper, start, y - 3.0, 3.3) + 1.3
        start += paper.text(start, y, word, 8) + 1.3
        start += paper.exact(start, y, value, 10, width=right - start, least=7, face=Face.BOLD) + 4
    return y


def draw_unit_small(paper: Paper, label: UnitLabel, area: Area, dots: int) -> None:
    """The same in 63.5 × 33.9 mm at least."""
    left, right, top = 4.0, area.width - 3.0, 0.0
    room = right - left
    code = paper.matrix(left, top + 1.8, datamatrix.modules(label.payload), dots)
    x = code.right + 2.4
    _size_and_side(paper, label, x, top + 5.8, right, 12.0)
    y = top + 9.3
    for word, value in ((_("use by"), label.use_by), (_("lot"), label.lot), (_("serial"), label.serial)):
        if value:
            wide = paper.text(x, y, word, 7) + 1.2
            paper.exact(x + wide, y, value, 8.5, width=right - x - wide, least=7, face=Face.BOLD)
            y += 3.0
    y = max(top + 18.6, code.bottom + 3.0)
    paper.fitted(left, y, label.name, 8.5, width=room, least=7.5, face=Face.BOLD)
    paper.fitted(left, y + 2.9, label.maker, 7, width=room)
    y += 5.7
    y += 2.6 * (draw_hri(paper, left, y, label.payload, width=room, pitch=2.6) - 1)
    if y > area.height - 3.6:
        raise lettering.DoesNotFit(gs1.hri(label.payload), room)
    note = _("The maker’s code does not scan; its label counts.")
    paper.fitted(left, area.height - 1.2, note, 7, width=room)
