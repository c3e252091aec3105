"""The fortnight's lines as a file."""

from typing import Any

from django.utils.translation import gettext_lazy as _

from cases.readiness import figures
from cases.readiness.fortnight import Line
from trays.web.table import CodeColumn, Column, Lines, NumberColumn, WhenColumn
from trays.web.wording import verdict_word


class FortnightLines(Lines):
    """One line per case; on screen the lists stand by day and theatre instead."""

    name = _("The fortnight")
    row_head = "reference"
    day = WhenColumn(accessor="case__list__day", form="day", verbose_name=_("Day"))
    theatre = Column(accessor="case__list__theatre__name", verbose_name=_("Theatre"))
    position = NumberColumn(accessor="case__position", verbose_name=_("Position"))
    start = WhenColumn(accessor="case__starts_at", form="time", verbose_name=_("Start"))
    reference = CodeColumn(accessor="case__reference", verbose_name=_("Case"))
    operation = Column(accessor="case__procedure__name", verbose_name=_("Operation"))
    sides = Column(verbose_name=_("Side"), empty_values=())
    in_room = Column(verbose_name=_("In the room"), empty_values=())
    on_site = Column(verbose_name=_("On site"), empty_values=())
    reason = Column(verbose_name=_("Sizes, or the reason"))
    act = Column(verbose_name=_("Next act"))

    class Meta(Lines.Meta):
        orderable = False

    def render_sides(self, record: Line) -> str:
        return " + ".join(side for side in record.sides if side != "none")

    def render_in_room(self, record: Line) -> str:
        return self._level(record, "in_room")

    def render_on_site(self, record: Line) -> str:
        return self._level(record, "on_site")

    def _level(self, record: Line, name: str) -> str:
        if record.verdict is None:
            return ""
        level: Any = getattr(record.verdict, name)
        return f"{verdict_word(level.word)}, {figures.figures(level)}"
