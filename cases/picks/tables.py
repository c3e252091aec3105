"""The lists in force, and the lines of one list."""

from typing import Any, ClassVar

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from cases.picks.kinds import PickRow, PickSheet
from cases.picks.progress import Picking
from cases.picks.said import level_from
from cases.readiness.figures import figures
from trays.web.table import CodeColumn, Column, Lines, NoColumn, NumberColumn, SecondLineColumn, WhenColumn
from trays.web.wording import verdict_word


class PickListLines(Lines):
    """Lists in force, the earliest case first."""

    name: ClassVar[str | Promise] = _("Pick lists")
    row_head: ClassVar[str] = "number"
    looks: ClassVar[tuple[str, ...]] = ("flat",)
    empty: ClassVar[tuple[str | Promise, str | Promise]] = (
        _("No list is waiting to be picked."),
        _("Open a case in the fortnight and make its pick list."),
    )

    number = CodeColumn(verbose_name=_("List"), linkify=lambda record: reverse("pick-list", args=[record.pk]))
    starts = WhenColumn(verbose_name=_("About"), accessor="case__starts_at")
    reference = CodeColumn(
        verbose_name=_("Case"),
        accessor="case__reference",
        linkify=lambda record: reverse("case", args=[record.case_id]),
    )
    procedure = SecondLineColumn(
        verbose_name=_("Operation"), accessor="case__procedure__name", under="case__list__theatre__name"
    )
    lines = NumberColumn(verbose_name=_("Lines"), accessor="line_count")
    word = Column(verbose_name=_("In the room"), accessor="said__in_room", orderable=False)
    made = WhenColumn(verbose_name=_("Made"), accessor="made_at")

    class Meta(Lines.Meta):
        pass

    def render_word(self, value: dict[str, Any]) -> str:
        level = level_from(value)
        facts = {"state": level.word, "word": verdict_word(level.word), "figures": figures(level)}
        return render_to_string("parts/verdict.html", facts)

    def value_word(self, value: dict[str, Any]) -> str:
        level = level_from(value)
        return f"{verdict_word(level.word)}, {figures(level)}"


class PickLines(Lines):
    """The lines of one list as they are walked; nothing to sort, since the order is the walk."""

    name: ClassVar[str | Promise] = _("Pick list")
    row_head: ClassVar[str] = "what"
    looks: ClassVar[tuple[str, ...]] = ("flat", "pickt")
    empty: ClassVar[tuple[str | Promise, str | Promise]] = (_("Nothing could be found for this list."), "")

    number = NoColumn(verbose_name=_("Line"))
    size = Column(verbose_name=_("Size or set"), attrs={"td": {"class": "size"}}, default="")
    what = Column(verbose_name=_("What"), accessor="name")
    detail = Column(verbose_name=_("Lot or pack, date"))
    take = NumberColumn(verbose_name=_("Take"))
    bin = CodeColumn(verbose_name=_("Bin"))
    text = CodeColumn(verbose_name=_("Line code"))
    state = Column(verbose_name=_("State"), empty_values=())

    class Meta(Lines.Meta):
        orderable = False

    def __init__(self, sheet: PickSheet, picking: Picking, *, loose: bool = False, **kwargs: Any) -> None:
        """`loose`: whether lines of consumables show a button that ticks them."""
        self.picking, self.loose = picking, loose
        self.places = {row.number: place for place in sheet.places for row in place.rows}
        rows = [row for place in sheet.places for row in place.rows]
        super().__init__(rows, **kwargs)

    def group(self, record: PickRow) -> str:
        place = self.places[record.number]
        words = _("%(number)s  %(place)s") % {"number": place.number, "place": place.name}
        return f"{words}, {place.hint}" if place.hint else words

    def row_class(self, record: PickRow) -> str:
        if self.picking.lines[record.number].state != "open":
            return "past"
        return "here" if self.picking.next is record else ""

    def render_state(self, record: PickRow) -> str:
        one = self.picking.lines[record.number]
        facts = {"one": one, "row": record, "next": self.picking.next is record, "loose": self.loose}
        return render_to_string("cases/picks/_state.html", facts)

    def value_state(self, record: PickRow) -> str:
        return self.picking.lines[record.number].word

    def render_what(self, value: str, record: PickRow) -> str:
        return render_to_string("cases/picks/_what.html", {"row": record})

    def value_what(self, value: str, record: PickRow) -> str:
        return " ".join(part for part in (value, record.side, record.group_word) if part)
