"""The pack label as it is on a large label: the main part, and a peel-off copy of it."""

from django.utils.translation import gettext as _

from trays.identifiers import gs1
from trays.labels.draw_parts import not_released, short, sterile_until
from trays.labels.draw_signs import draw_signs
from trays.labels.hri import draw_hri, hri_lines
from trays.labels.kinds import PackLabel
from trays.symbols import datamatrix, lettering
from trays.symbols.lettering import Face
from trays.symbols.paper import Align, Paper
from trays.symbols.stock import Area

_INSET = 2.5
# Between a code, which grows with its payload, and the facts beside it.
_CODE_GAP = 2.6
_VALUE = 9.5
# Where the symbols stand in their row.
_SIGNS = (0.0, 22.6, 46.0)
# Below this a long load moves the weight to the next line.
_LOAD_LEAST = 8.0
# A name with less room than this says nothing.
_NAME_LEAST = 8.0


def draw_pack(paper: Paper, label: PackLabel, area: Area, dots: int) -> None:
    """The main part, in 70 × 50 mm at least. Every field keeps its place when others are absent."""
    left, right = _INSET, area.width - _INSET
    marked = 0.0 if label.released else not_released(paper, right, 2.6) + 2.0
    _name(paper, label.name, left, right - marked)
    paper.rule(left, right, 11.9, 0.4)
    code = paper.matrix(2.8, 13.6, datamatrix.modules(label.payload), dots)
    _facts(paper, label, max(left + 10.3, code.right + _CODE_GAP), right)
    y = max(29.4, code.bottom + 4.0)
    if len(hri_lines(label.payload, right - left, 7)) == 1:
        draw_hri(paper, left, y, label.payload, width=right - left)
        short(paper, label, Area(left - 0.2, y + 1.3, right - left + 0.4, 5.3))
    else:
        lines = draw_hri(paper, left, y - 0.2, label.payload, width=right - left, pitch=2.6)
        y += 2.6 * (lines - 1)
        short(paper, label, Area(left - 0.2, y + 0.6, right - left + 0.4, 4.2))
    sterile_until(paper, label, left, 41.4, right, 14.0)
    draw_signs(paper, label, left, 43.4, room=right - left, high=4.0, size=7.5, places=_SIGNS)


def _name(paper: Paper, name: str, left: float, right: float) -> None:
    if lettering.width(name, 14, Face.BOLD) <= right - left:
        paper.text(left, 8.4, name, 14, Face.BOLD)
    else:
        paper.fitted(left, 5.6, name, 11, width=right - left, lines=2, pitch=4.5, face=Face.BOLD)


def _facts(paper: Paper, label: PackLabel, x: float, right: float) -> None:
    """Number and tray; list, load, weight; packed by, on. Each keeps its place without the others."""
    of_set = _("set %(code)s") % {"code": label.set_code}
    half = (right - x) / 2
    beside = paper.exact(right, 15.5, of_set, 8.5, width=half, least=7, face=Face.BOLD, align=Align.RIGHT)
    beside = max(beside, paper.exact(right, 18.9, label.tray, 8.5, width=half, least=7, align=Align.RIGHT))
    paper.exact(x, 18.0, label.number, 15, width=right - x - beside - 2, least=7, face=Face.BOLD)
    wide = _fact(paper, x, 22.4, _("list"), label.contents_list, right - x)
    load_x = x + max(17.0, wide + 3)
    weight = lettering.width(label.weight, _VALUE, Face.BOLD)
    room = right - load_x - weight - 2
    beside = not label.load or _fact_width(_("load"), label.load, _LOAD_LEAST) <= room
    if label.load and beside:
        _fact(paper, load_x, 22.4, _("load"), label.load, room)
    elif label.load:
        _fact(paper, x + wide + 2.5, 22.4, _("load"), label.load, right - x - wide - 2.5)
    on = paper.text(right, 26.4, label.packed_on, _VALUE, Face.BOLD, Align.RIGHT)
    weight_at = (right, 22.4) if beside else (right - on - 2.5, 26.4)
    paper.text(*weight_at, label.weight, _VALUE, Face.BOLD, Align.RIGHT)
    if label.packed_by:
        # A long load leaves the packer's name less room: names give way, numbers do not.
        taken = on + (1.5 if beside else weight + 4.5)
        word = lettering.width(_("packed by"), 8)
        room = right - x - word - taken - 1.5
        if room >= _NAME_LEAST:
            paper.text(x, 26.4, _("packed by"), 8)
            paper.fitted(x + word + 1.5, 26.4, label.packed_by, _VALUE, width=room, least=7, face=Face.BOLD)


def _fact_width(word: str, value: str, size: float) -> float:
    return lettering.width(word, 8) + 1.5 + lettering.width(value, size, Face.BOLD)


def _fact(paper: Paper, x: float, y: float, word: str, value: str, room: float) -> float:
    wide = paper.text(x, y, word, 8) + 1.5
    face = Face.BOLD if lettering.width(value, 7, Face.BOLD) <= room - wide else Face.REGULAR
    return wide + paper.exact(x + wide, y, value, _VALUE, width=room - wide, least=7, face=face)


def draw_copy(paper: Paper, label: PackLabel, area: Area, dots: int) -> None:
    """What the record needs of the pack, small enough to peel off: in 30 × 25 mm at least."""
    left, right = 2.3, area.width - 1.6
    room = right - left
    code = paper.matrix(left, 2.4, datamatrix.modules(label.payload), dots)
    x = code.right + 1.8
    top = max(_copy_number(paper, label, x, 0.0, right - x), code.bottom + 3.2)
    if top > 15.7:
        raise lettering.DoesNotFit(gs1.hri(label.payload), room)
    load = _load_lines(label, room)
    names = 1 if len(load) == 2 or top > 14.3 or not label.released else 2
    if not label.released:
        # Where the load takes two lines the name gives way altogether.
        low = top + 2.9 if len(load) < 2 and top <= 14.3 else top
        names = 0 if low == top else 1
        paper.exact(left, low, _("NOT RELEASED"), 7.5, width=room, least=7, face=Face.BOLD)
    if names:
        paper.fitted(left, top, label.name, 7.5, width=room, lines=names, pitch=2.9, face=Face.BOLD)
    for number, line in enumerate(reversed(load)):
        low, size = (20.1, 7.5) if len(load) == 1 else (20.5, 7.0)
        paper.text(left, low - number * 2.5, line, size)
    paper.exact(left, 23.1, _until(label), 8, width=room, least=7, face=Face.BOLD)


def _until(label: PackLabel) -> str:
    if label.sterile_until:
        return _("until %(day)s") % {"day": label.sterile_until}
    return _("end date: see record") if label.by_date else _("no end date")


def _load_lines(label: PackLabel, room: float) -> list[str]:
    """The load with its word, broken anywhere when it needs two lines: no letter of it is lost."""
    words = _("load %(load)s") % {"load": label.load} if label.load else ""
    if lettering.width(words, 7.5) <= room:
        return [words] if words else []
    cut = next(n for n in range(len(words), 0, -1) if lettering.width(words[:n], 7) <= room)
    return [words[:cut], *lettering.exact(words[cut:], room, 7).lines]


def _copy_number(paper: Paper, label: PackLabel, x: float, top: float, room: float) -> float:
    """Number, tray and list beside the copy's code; a long number takes two lines. Next free baseline."""
    numbers = [label.number]
    y, pitch, size = top + 4.9, 3.1, 8.0
    if lettering.width(label.number, 7, Face.BOLD) > room:
        numbers = lettering.wrap(label.number, room, 7, Face.BOLD)
        y, pitch, size = top + 4.4, 2.8, 7.0
        if len(numbers) > 2:
            raise lettering.DoesNotFit(label.number, room)
    for number in numbers:
        paper.exact(x, y, number, 10 if len(numbers) == 1 else 7, width=room, least=7, face=Face.BOLD)
        y += pitch
    paper.fitted(x, y, label.tray, size, width=room, least=7)
    listed = _("list %(version)s") % {"version": label.contents_list}
    paper.exact(x, y + pitch, listed, size, width=room, least=7)
    return max(top + 14.2, y + 2 * pitch)
