"""Any label on any stock: what it says flows down it, in the largest letters with which all of it fits."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from trays.identifiers import gs1
from trays.labels.draw_parts import short, sterile_until
from trays.labels.draw_signs import draw_signs
from trays.labels.hri import draw_hri, hri_lines
from trays.labels.kinds import Fact, Label, PackLabel, PlainLabel, ShelfLabel
from trays.symbols import code128, datamatrix, lettering
from trays.symbols.lettering import DoesNotFit, Face
from trays.symbols.paper import Align, Paper, Stroke
from trays.symbols.payload import Carrier, SymbolTooLarge
from trays.symbols.stock import LINEAR_QUIET_MODULES, MATRIX_QUIET_MODULES, Area, widest_module

# Sizes of type at full scale, in points, and the scales that are tried.
_HEAD, _NUMBER, _NAME, _WORD, _VALUE, _UNTIL = 8.0, 16.0, 11.0, 8.0, 9.5, 12.0
_SCALES = (1.6, 1.3, 1.0, 0.85, 0.7, 0.55)
_HRI = 7.0
# From baseline to baseline, and from the top of a line to its baseline, in mm per point.
_PITCH, _CAPITAL = 0.385, 0.28
# Left and right of what is drawn: a large label has room for a cut that is a little off.
_INSET, _LARGE_INSET, _LARGE = 2.0, 3.0, 60.0
_GAP = 2.2
_SIGNS_HIGH = 3.6
_BARS_MOST, _BARS_LEAST = 12.0, 5.0


@dataclass(frozen=True)
class Plate:
    """What flows: the parts of a label in their order; `pack` brings its shortage, date and symbols."""

    payload: str
    head: str
    number: str
    name: str
    facts: tuple[Fact, ...]
    note: str = ""
    pack: PackLabel | None = None
    signs: bool = True


def draw_flow(paper: Paper, label: Label, area: Area, dots: int, carrier: Carrier) -> None:
    """Draw any label; raises DoesNotFit, SymbolTooLarge or PayloadRefused."""
    _draw_plate(paper, _plate(label), area, dots, carrier)


def draw_flow_copy(
    paper: Paper, label: PackLabel, area: Area, dots: int, carrier: Carrier, head: str
) -> None:
    """What the record needs of a pack, as a label of its own."""
    facts = (_fact(label.tray), Fact(_("list"), label.contents_list), Fact(_("load"), label.load))
    plate = Plate(label.payload, head, label.number, label.name, facts, pack=label, signs=False)
    _draw_plate(paper, plate, area, dots, carrier)


def _fact(value: str) -> Fact:
    return Fact("", value)


def _plate(label: Label) -> Plate:
    if isinstance(label, PlainLabel):
        return Plate(label.payload, label.head, label.number, label.name, label.facts, label.note)
    if isinstance(label, ShelfLabel):
        where = (_fact(label.size), Fact("", label.room, name=True))
        return Plate(label.payload, "", label.place, label.what, where)
    if isinstance(label, PackLabel):
        told = (
            Fact(_("set"), label.set_code),
            _fact(label.tray),
            Fact(_("list"), label.contents_list),
            Fact(_("load"), label.load),
            _fact(label.weight),
            Fact(_("packed"), label.packed_on),
            Fact(_("by"), label.packed_by, name=True),
        )
        return Plate(label.payload, "", label.number, label.name, told, pack=label)
    size = _("size %(size)s") % {"size": label.size} if label.size else ""
    number = ", ".join(word for word in (size, label.side) if word) or label.lot or label.serial
    facts = (
        Fact(_("lot"), label.lot),
        Fact(_("use by"), label.use_by),
        Fact(_("serial"), label.serial),
        Fact("", label.maker, name=True),
    )
    note = _("The maker’s code does not scan; its label counts.")
    return Plate(label.payload, "", number, label.name, facts, note)


def _draw_plate(paper: Paper, plate: Plate, area: Area, dots: int, carrier: Carrier) -> None:
    # A pack has much to say: its letters are not tried larger than they are elsewhere.
    full = plate.pack is not None and plate.signs
    inset = _INSET if full or area.width < _LARGE else _LARGE_INSET
    for scale in _SCALES if plate.pack is None else _SCALES[2:]:
        try:
            with paper.within(area):
                flow = _Flow(paper, area, scale, inset)
                if carrier is Carrier.LINEAR:
                    flow.write(plate)
                    flow.bars(plate.payload)
                else:
                    flow.matrix(plate.payload, dots)
                    flow.write(plate)
                    flow.hri(plate.payload)
            return
        except DoesNotFit:
            if scale == _SCALES[-1]:
                raise


class _Flow:
    """One try at one scale: where the next line goes, right of the code at first and below it then."""

    def __init__(self, paper: Paper, area: Area, scale: float, inset: float) -> None:
        self.paper, self.area, self.scale, self.inset = paper, area, scale, inset
        self.right = area.width - inset
        self.y = _INSET
        self.beside, self.beside_until = inset, 0.0

    def size(self, full: float) -> float:
        return max(lettering.LEAST_SIZE, round(full * self.scale * 2) / 2)

    @property
    def left(self) -> float:
        return self.beside if self.y < self.beside_until - 0.5 else self.inset

    def line(self, size: float) -> float:
        """The baseline of the next line, which is then taken."""
        y = self.y + size * _CAPITAL
        self.y += size * _PITCH
        return y

    def matrix(self, payload: str, dots: int) -> None:
        quiet = self.paper.grid.mm(MATRIX_QUIET_MODULES * dots)
        at = max(self.inset, quiet)
        code = self.paper.matrix(at, at, datamatrix.modules(payload), dots)
        self.beside, self.beside_until = code.right + max(quiet, 1.6), code.bottom + quiet

    def write(self, plate: Plate) -> None:
        """All but the code and its text, from the top."""
        number = self.size(_NUMBER)
        if plate.head:
            head = self.size(_HEAD)
            self.paper.words(self.left, self.line(head), plate.head, head, width=self.right - self.left)
        if plate.pack is not None and not plate.pack.released:
            self.mark()
        left, y = self.left, self.line(number)
        # The number leads: at a scale where it would be smaller than the name all is tried smaller.
        least = self.size(_NAME)
        room = self.right - left
        self.paper.exact(left, y, plate.number, number, width=room, least=least, face=Face.BOLD)
        self.name(plate.name)
        self.facts(plate.facts)
        if plate.pack is not None:
            self.of_pack(plate.pack, signs=plate.signs)
        if plate.note:
            size = self.size(_WORD)
            self.below_code()
            y, room = self.line(size), self.right - self.inset
            pitch = size * _PITCH
            made = self.paper.words(self.inset, y, plate.note, size, width=room, lines=3, pitch=pitch)
            self.y += (len(made.lines) - 1) * pitch

    def mark(self) -> None:
        size = self.size(_WORD)
        said = _("NOT RELEASED when printed")
        wide = lettering.width(said, size, Face.BOLD) + 2
        self.paper.box(Area(self.left, self.y, wide, size * 0.42), Stroke(0.3))
        self.paper.text(self.left + 1, self.y + size * 0.31, said, size, Face.BOLD)
        self.y += size * 0.42 + 0.5

    def name(self, name: str) -> None:
        if not name:
            return
        size = self.size(_NAME)
        room, left, y = self.right - self.left, self.left, self.line(size)
        made = self.paper.fitted(
            left,
            y,
            name,
            size,
            width=room,
            least=min(size, 8.0),
            lines=2,
            pitch=size * _PITCH,
            face=Face.BOLD,
        )
        self.y += (len(made.lines) - 1) * size * _PITCH

    def facts(self, facts: tuple[Fact, ...]) -> None:
        """Word and value side by side, each whole; what has no room begins the next line."""
        small, large = self.size(_WORD), self.size(_VALUE)
        x, y = self.right, 0.0
        for fact in facts:
            if not fact.value:
                continue
            word = lettering.width(fact.word, small) + 1.0 if fact.word else 0.0
            if x + word + lettering.width(fact.value, large, Face.BOLD) > self.right:
                x, y = self.left, self.line(large)
            if fact.word:
                self.paper.text(x, y, fact.word, small)
            x += word
            room = self.right - x
            if fact.name:
                made = self.paper.fitted(x, y, fact.value, large, width=room, least=7, face=Face.BOLD)
                x += lettering.width(made.lines[0], made.size, Face.BOLD) + _GAP
            else:
                x += self.paper.exact(x, y, fact.value, large, width=room, least=7, face=Face.BOLD) + _GAP

    def of_pack(self, label: PackLabel, *, signs: bool) -> None:
        self.below_code()
        left, room = self.inset, self.right - self.inset
        if signs:
            short(self.paper, label, Area(left, self.y, room, 4.0))
            self.y += 4.5
        size = self.size(_UNTIL)
        sterile_until(self.paper, label, left, self.line(size), self.right, size)
        if signs:
            self.y += 0.6
            draw_signs(self.paper, label, left, self.y, room=room, high=_SIGNS_HIGH, size=7.5)
            self.y += _SIGNS_HIGH + 0.6

    def below_code(self) -> None:
        self.y = max(self.y, self.beside_until)

    def hri(self, payload: str) -> None:
        """The code in words, at the foot."""
        self.below_code()
        room = self.right - self.inset
        pitch = _HRI * _PITCH
        lines = len(hri_lines(payload, room, _HRI))
        last = self.area.height - 1.4
        y = last - (lines - 1) * pitch
        if y - _HRI * _CAPITAL < self.y - 0.3:
            raise DoesNotFit(gs1.hri(payload), room)
        draw_hri(self.paper, self.inset, y, payload, width=room, size=_HRI, pitch=pitch)

    def bars(self, payload: str) -> None:
        """The bars and the code in words at the foot; as high as there is room."""
        symbol, grid = code128.bars(payload), self.paper.grid
        module = widest_module(symbol.size, self.area.width, grid)
        if not module:
            raise SymbolTooLarge(
                _("As a GS1-128 the identifier is too long for a label %(width)s mm wide. Use a DataMatrix.")
                % {"width": f"{self.area.width:g}"}
            )
        wide, quiet = grid.mm(symbol.size * module), grid.mm(LINEAR_QUIET_MODULES * module)
        room, pitch = self.right - self.inset, _HRI * _PITCH
        lines = len(hri_lines(payload, room, _HRI))
        foot = self.area.height - 1.4 - lines * pitch
        high = min(_BARS_MOST, foot - self.y - 0.6)
        if high < _BARS_LEAST:
            raise DoesNotFit(gs1.hri(payload), room)
        x = max(quiet, (self.area.width - wide) / 2)
        self.paper.bars(x, foot - high - 0.2, symbol, module, high)
        y, middle = foot + pitch, self.area.width / 2
        draw_hri(self.paper, middle, y, payload, width=room, size=_HRI, pitch=pitch, align=Align.CENTRE)
