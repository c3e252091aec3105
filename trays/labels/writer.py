"""Labels one after the other into one PDF: a page each on a roll, place after place on sheets.

A writer keeps nothing of a label but its page, so that a run of any length takes the memory of one file.
"""

from __future__ import annotations

from django.utils.translation import gettext as _

from trays.labels.draw import draw_copy_label, draw_label, places_of, why_not
from trays.labels.kinds import Label, PackLabel, Refused
from trays.labels.setup import Setup
from trays.symbols.labelstock import COPIES
from trays.symbols.lettering import DoesNotFit
from trays.symbols.paper import Paper, Stroke
from trays.symbols.payload import PayloadRefused
from trays.symbols.stock import GRIDS, Area
from trays.symbols.strokes import Placed

LABELS_PER_FILE = 1000
# Half the arms of the cross in the middle of a label on the test page, and the scale's length, in mm.
_CROSS = 3.0
SCALE_MM = 50.0

# A symbol as it was drawn: linear or not, X-dimension and quiet zone in mm, to the micrometre.
SymbolFacts = tuple[bool, float, float]


class LabelWriter:
    """One file of labels. `start` is the first free position of a part-used sheet."""

    def __init__(self, setup: Setup, *, start: int = 1, most: int = LABELS_PER_FILE) -> None:
        """Raises ValueError for a start that is not on the sheet."""
        self.setup = setup
        self.labels = 0
        self.symbols: set[SymbolFacts] = set()
        stock = setup.stock
        stock.area(start)
        self._place = start - 1
        self._end = most if most < stock.per_page else most - most % stock.per_page
        self._page = 0
        self._paper = Paper(
            stock.page(GRIDS[setup.dpi]), title=_("Labels"), shift=(stock.shift_x, stock.shift_y)
        )

    def has_room(self, label: Label) -> bool:
        """Whether the label still belongs into this file; a file of sheets ends with a full sheet."""
        return not self.labels or self._place + places_of(label, self.setup) <= self._end

    def add(self, label: Label) -> Refused | None:
        """Draw a label with its copies, or say why not; then nothing of it is drawn."""
        before = len(self._paper.symbols)
        try:
            self._draw(label)
        except (PayloadRefused, DoesNotFit) as fault:
            del self._paper.symbols[before:]
            return Refused(label.row_id, label.called, why_not(fault, self.setup))
        self.symbols.update(_facts(placed) for placed in self._paper.symbols)
        self._paper.symbols.clear()
        self.labels += 1
        return None

    def _draw(self, label: Label) -> None:
        copied = isinstance(label, PackLabel) and places_of(label, self.setup) > 1
        if isinstance(label, PackLabel) and copied:
            # Whole or not at all, also where the three places lie on two sheets: each is tried first.
            for number in range(COPIES):
                with self._paper.within(self.setup.stock.area(1), keep=False) as area:
                    draw_copy_label(self._paper, label, area, self.setup, number)
        draw_label(self._paper, label, self.setup, self._next(after=0))
        self._place += 1
        if isinstance(label, PackLabel) and copied:
            for number in range(COPIES):
                with self._paper.within(self.setup.stock.area(self._next())) as area:
                    draw_copy_label(self._paper, label, area, self.setup, number)
                self._place += 1

    def _next(self, after: int = 0) -> int:
        """The position of the next place, on a new page where the last is full."""
        page, place = divmod(self._place + after, self.setup.stock.per_page)
        while self._page < page:
            self._paper.next_page()
            self._page += 1
        return place + 1

    @property
    def pages(self) -> int:
        """Pages begun so far."""
        return self._page + 1

    def pdf(self, *, cautions: str = "", test_page: bool = True) -> bytes:
        """The finished file; after the last sheet a test page to hold against it, with `cautions`."""
        if self.setup.stock.sheet and test_page:
            self._paper.next_page()
            _test_page(self._paper, self.setup, cautions)
        return self._paper.pdf()


def _facts(placed: Placed) -> SymbolFacts:
    return placed.linear, round(placed.x_mm, 3), round(placed.quiet_mm, 3)


def _test_page(paper: Paper, setup: Setup, cautions: str) -> None:
    """Plain paper to hold over the label sheet against the light: outlines, centres, a scale, cautions."""
    stock = setup.stock
    words = _("Test page: plain paper, 100 %, held over the label sheet")
    x_words = _("X %(x)s mm, offset %(right)s mm right, %(down)s mm down") % {
        "x": f"{setup.matrix_x:.3f}",
        "right": f"{stock.shift_x:g}",
        "down": f"{stock.shift_y:g}",
    }
    said = {1: f"{words}. {x_words}."}
    if cautions:
        said[stock.columns + 1] = cautions
    for position in range(1, stock.per_page + 1):
        area = stock.area(position)
        paper.box(area, Stroke(0.2, dashed=True))
        paper.text(area.x + 3, area.y + 5.8, str(position), 9)
        if sentence := said.get(position):
            y = area.y + 9.6
            paper.paragraph(area.x + 3, y, sentence, 7.5, width=area.width - 5, lines=7, pitch=3.1)
            continue
        x, y = area.x + area.width / 2, area.y + area.height / 2
        paper.line([(x - _CROSS, y), (x + _CROSS, y)], Stroke(0.15))
        paper.line([(x, y - _CROSS), (x, y + _CROSS)], Stroke(0.15))
    _scale(paper, stock.area(min(2, stock.per_page)))


def _scale(paper: Paper, area: Area) -> None:
    """Fifty millimetres to lay a ruler on; also on labels that are narrower than that."""
    x, y = area.x + 3, area.bottom - 9
    paper.line([(x, y), (x + SCALE_MM, y)], Stroke(0.25))
    for tenth in range(6):
        paper.line([(x + tenth * 10, y - 1.3), (x + tenth * 10, y + 1.3)], Stroke(0.25))
    paper.fitted(x, area.bottom - 4, _("50 mm by a ruler?"), 8, width=area.width - 5, least=7)
