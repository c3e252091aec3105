"""Parts that labels of packs share: what is short, until when it is sterile, the symbols of ISO 15223-1."""

from django.utils.translation import gettext as _

from trays.labels.kinds import PackLabel
from trays.symbols import iso, lettering
from trays.symbols.lettering import Face
from trays.symbols.paper import Align, Paper, Stroke
from trays.symbols.stock import Area


def short(paper: Paper, label: PackLabel, area: Area) -> None:
    """SHORT with the number first, then whole names as far as they fit; or that nothing lacks."""
    large = area.height > 5
    size = 9.5 if large else 8.0
    y = area.y + area.height * 0.72
    if not label.short_count:
        paper.text(area.x + 0.2, y, _("complete to the list"), size - 0.5)
        return
    paper.box(area, Stroke(0.4 if large else 0.3))
    x = area.x + 1.3
    number = _("SHORT %(count)s") % {"count": label.short_count}
    x += paper.exact(x, y, number, size, width=area.width - 4, face=Face.BOLD) + 2
    small = size - 1
    names = lettering.name_list(
        list(label.short), area.right - x - 1.0, small, lambda left: _("+%(count)s more") % {"count": left}
    )
    paper.text(x, y, names, small)


def sterile_until(paper: Paper, label: PackLabel, left: float, y: float, right: float, size: float) -> None:
    """Hourglass and date; where sterility does not end by date, the sentence of what ends it."""
    if not label.sterile_until:
        sentence = _("Sterile unless opened, wet, torn or dropped")
        if label.by_date:
            sentence = _("The end date is set at release: see the record")
        size = max(7.0, size * 0.75)
        if lettering.width(sentence, 7, Face.BOLD) > right - left:
            y -= 1.2
        pitch = lettering.LEAST_SIZE * 0.36
        paper.words(left, y - 0.8, sentence, size, width=right - left, lines=2, pitch=pitch, face=Face.BOLD)
        return
    high = size * 0.34
    x = left + iso.use_by(paper, left, y - high + 0.2, high) + size * 0.11
    x += paper.text(x, y, _("sterile until"), max(7.0, size * 0.64)) + size * 0.14
    paper.exact(x, y, label.sterile_until, size, width=right - x, least=7, face=Face.BOLD)


def not_released(paper: Paper, right: float, top: float) -> float:
    """The boxed words of a pack that was not released when its label was printed; returns their width."""
    high, wide = 8.2, 24.0
    area = Area(right - wide, top, wide, high)
    paper.box(area, Stroke(0.4))
    middle, room = area.x + wide / 2, wide - 2
    said = _("NOT RELEASED")
    paper.exact(middle, top + 3.7, said, 9, width=room, least=7, face=Face.BOLD, align=Align.CENTRE)
    when = _("when printed")
    paper.exact(middle, top + 6.9, when, 7.5, width=room, least=7, align=Align.CENTRE)
    return wide
