"""The pack label on one label of a sheet."""

from django.utils.translation import gettext as _

from trays.identifiers import gs1
from trays.labels.draw_parts import short, sterile_until
from trays.labels.draw_signs import draw_signs
from trays.labels.hri import draw_hri
from trays.labels.kinds import PackLabel
from trays.symbols import datamatrix, lettering
from trays.symbols.lettering import Face
from trays.symbols.paper import Align, Paper, Stroke
from trays.symbols.stock import Area

# Where the symbols stand in their row.
_SIGNS = (0.0, 20.6, 40.4)


def draw_pack_small(paper: Paper, label: PackLabel, area: Area, dots: int) -> None:
    """Every field of the pack label in 63.5 × 33.9 mm at least."""
    left, right, top = 4.0, area.width - 3.0, 0.0
    room = right - left
    code = paper.matrix(left, top + 1.8, datamatrix.modules(label.payload), dots)
    x = code.right + 2.0
    wide = paper.exact(right, top + 5.4, label.tray, 7.5, width=right - x, align=Align.RIGHT)
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
    marked = 0.0 if label.released else _mark(paper, right, y + 6.4) + 1.0
    short(paper, label, Area(left - 0.2, y + 6.4, room + 0.4 - marked, 3.9))
    if y + 14.0 > top + 28.6:
        raise lettering.DoesNotFit(gs1.hri(label.payload), room)
    sterile_until(paper, label, left, y + 13.9, right, 10.5)
    low = max(top + 28.4, y + 14.8)
    draw_signs(paper, label, left, low, room=room, high=3.4, size=7.0, places=_SIGNS)


def _facts(label: PackLabel, room: float) -> tuple[list[str], list[str]]:
    """What stands beside the code, as far as it has room there, and what goes down to the day of packing."""
    facts = [_("list %(version)s") % {"version": label.contents_list}]
    packed = [label.packed_on] if label.packed_on else []
    of_set = _("set %(code)s") % {"code": label.set_code}
    load = _("load %(load)s") % {"load": label.load} if label.load else ""
    for fact in (load, of_set, label.weight):
        if fact and lettering.width(" · ".join([*facts, fact]), 7) <= room:
            facts.append(fact)
        elif fact:
            packed.insert(0, fact)
    return facts, packed


def _mark(paper: Paper, right: float, top: float) -> float:
    """The boxed words of a pack that was not released when printed; returns their width."""
    wide = 22.0
    paper.box(Area(right - wide, top, wide, 3.9), Stroke(0.4))
    said = _("NOT RELEASED")
    middle = right - wide / 2
    paper.exact(middle, top + 2.9, said, 8, width=wide - 1, least=7, face=Face.BOLD, align=Align.CENTRE)
    return wide
