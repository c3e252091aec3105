"""Parts of the pack label that roll and A4 sheet share, and the label of the A4 sheet."""

from django.utils.translation import gettext as _

from trays.identifiers import gs1
from trays.labels.hri import draw_hri
from trays.labels.kinds import PackLabel
from trays.symbols import datamatrix, iso, lettering
from trays.symbols.lettering import Face
from trays.symbols.paper import Align, Paper, Stroke
from trays.symbols.stock import A4_LABEL_DOTS, Area


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
        paper.fitted(left, y - 0.8, sentence, size * 0.75, width=right - left, least=7, face=Face.BOLD)
        return
    high = size * 0.34
    x = left + iso.use_by(paper, left, y - high + 0.2, high) + size * 0.11
    x += paper.text(x, y, _("sterile until"), max(7.0, size * 0.64)) + size * 0.14
    paper.exact(x, y, label.sterile_until, size, width=right - x, least=7, face=Face.BOLD)


def barrier(paper: Paper, label: PackLabel, x: float, top: float, high: float, size: float) -> None:
    """The sterile barrier's symbol with its words on two lines."""
    if label.barrier.double:
        wide, word = iso.double_barrier(paper, x, top, high), _("double barrier")
    else:
        wide, word = iso.single_barrier(paper, x, top, high), _("single barrier")
    pitch = size * 0.373
    room = 12.0 if size > 7 else 10.5
    paper.fitted(x + wide + 1.0, top + high * 0.35, word, size, width=room, least=7, lines=2, pitch=pitch)


def draw_pack_small(paper: Paper, label: PackLabel, area: Area) -> None:
    """The pack label on one label of the A4 sheet: every field, no copies."""
    left, right, top = area.x + 4.0, area.right - 3.0, area.y
    room = right - left
    code = paper.matrix(left, top + 1.8, datamatrix.modules(label.payload), A4_LABEL_DOTS)
    x = code.right + 2.0
    wide = paper.text(right, top + 5.4, label.tray, 7.5, align=Align.RIGHT)
    paper.exact(x, top + 5.4, label.number, 13, width=right - x - wide - 1.5, least=7, face=Face.BOLD)
    facts, packed = _facts(label, right - x)
    paper.exact(x, top + 9.0, " · ".join(facts), 7.5, width=right - x, least=7)
    y = max(top + 12.7, code.bottom + 3.2)
    paper.fitted(left, y, label.name, 9, width=room, least=7.5, face=Face.BOLD)
    wide = paper.exact(left, y + 2.9, " · ".join(packed), 7, width=room)
    if label.packed_by:
        by = f"· {label.packed_by}" if packed else label.packed_by
        gap = 0.8 if packed else 0.0
        paper.fitted(left + wide + gap, y + 2.9, by, 7, width=room - wide - gap)
    y += 2.6 * (draw_hri(paper, left, y + 5.7, label.payload, width=room, pitch=2.6) - 1)
    short(paper, label, Area(left - 0.2, y + 6.4, room + 0.4, 3.9))
    if y + 14.0 > top + 28.6:
        raise lettering.DoesNotFit(gs1.hri(label.payload), room)
    sterile_until(paper, label, left, y + 13.9, right, 10.5)
    _small_symbols(paper, label, left, max(top + 28.1, y + 14.5))


def _facts(label: PackLabel, room: float) -> tuple[list[str], list[str]]:
    """List, load and weight on one line; the weight beside the day of packing when they fill it."""
    facts = [_("list %(version)s") % {"version": label.contents_list}]
    facts += [_("load %(load)s") % {"load": label.load}] if label.load else []
    packed = [label.packed_on] if label.packed_on else []
    if label.weight and lettering.width(" · ".join([*facts, label.weight]), 7) <= room:
        facts.append(label.weight)
    elif label.weight:
        packed.insert(0, label.weight)
    return facts, packed


def _small_symbols(paper: Paper, label: PackLabel, left: float, top: float) -> None:
    x = left + iso.sterile_steam(paper, left, top + 0.3, 3.4) + 0.8
    paper.text(x, top + 2.6, _("steam"), 7)
    x = left + 20.6
    x += iso.package_damaged(paper, x, top, 4.0) + 0.9
    paper.fitted(x, top + 1.4, _("do not use if damaged"), 7, width=14.8, lines=2, pitch=2.6)
    barrier(paper, label, left + 40.4, top + 0.3, 3.4, 7.0)
