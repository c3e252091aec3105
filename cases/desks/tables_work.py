"""The packs of sterile services as lines, by latest start."""

from datetime import datetime
from typing import Any

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext_lazy as _

from cases.desks import work_words
from cases.desks.work import WorkLine
from cases.readiness.shelf import moment
from cases.readiness.way_words import because_words
from trays.templatetags.look import icon
from trays.web.table import Column, Lines, NoColumn
from trays.web.wording import in_hundred, sitetime, verdict_line, verdict_word


class WorkTable(Lines):
    """One line per pack; the order is that of the latest starts."""

    name = _("Packs")
    row_head = "what"
    looks = ("flat", "work")
    empty = (_("Nothing is waiting."), _("Receive what comes back from the theatres."))

    start_by = NoColumn(verbose_name=_("Start by"), empty_values=())
    pack = Column(verbose_name=_("Pack"))
    what = Column(verbose_name=_("What and where"), accessor="pack__set__version__design__name")
    act = Column(verbose_name=_("Next act"))
    wanted = Column(verbose_name=_("Wanted for"), empty_values=())
    chance = Column(verbose_name=_("In time, in 100"), empty_values=())
    ready = Column(verbose_name=_("Ready by, 90 in 100"), empty_values=(), visible=False)
    why = Column(verbose_name=_("Because"), empty_values=(), visible=False)

    class Meta(Lines.Meta):
        orderable = False

    def __init__(self, lines: list[WorkLine], *, at: datetime, **kwargs: Any) -> None:
        self.at = at
        super().__init__(lines, **kwargs)

    def row_class(self, record: WorkLine) -> str:
        return "needs" if record.late or record.comes_late else ""

    def render_start_by(self, record: WorkLine) -> str:
        start_by = record.start_by
        if start_by is None:
            return "–"
        if sitetime(start_by, "day") == sitetime(self.at, "day"):
            return sitetime(start_by, "time")
        return format_html(
            '{}<span class="soft under nowrap">{}</span>',
            sitetime(start_by, "time"), sitetime(start_by, "day"),
        )  # fmt: skip

    def value_start_by(self, record: WorkLine) -> str:
        return sitetime(record.start_by, "full") if record.start_by else ""

    def render_pack(self, record: WorkLine) -> str:
        number = _("%(n)d of %(all)d") % {"n": record.pack.tray, "all": record.packs}
        return format_html(
            '<a class="code" href="{}"><b>{}</b></a><span class="soft under nowrap">{}</span>',
            reverse("pack", args=[record.pack.pk]), record.pack.set.code, number,
        )  # fmt: skip

    def value_pack(self, record: WorkLine) -> str:
        return f"{record.pack.set.code} {record.pack.number}"

    def render_what(self, record: WorkLine, value: str) -> str:
        urgent = format_html("<b>{}</b> ", _("urgent")) if record.pack.urgent else ""
        return format_html(
            '{}<span class="soft under">{}{}</span>', value, urgent, work_words.where_words(record, self.at)
        )

    def value_what(self, record: WorkLine, value: str) -> str:
        return f"{value}, {work_words.where_words(record, self.at)}"

    def render_act(self, record: WorkLine) -> str:
        late = work_words.late_words(record)
        under = format_html('<span class="under">{} {}</span>', icon("late"), late) if late else ""
        return format_html('<a class="do" href="{}"><b>{}</b>{}</a>', record.act.url, record.act.label, under)

    def value_act(self, record: WorkLine) -> str:
        return ", ".join(part for part in (record.act.label, work_words.late_words(record)) if part)

    def render_wanted(self, record: WorkLine) -> str:
        if record.wanted is None:
            return format_html('<span class="soft">{}</span>', _("no case of these two weeks"))
        address = reverse("case", args=[record.wanted.case.id])
        return format_html(
            '<a class="code" href="{}">{}</a><span class="soft under nowrap">{}</span>',
            address, record.wanted.case.reference, sitetime(record.starts),
        )  # fmt: skip

    def value_wanted(self, record: WorkLine) -> str:
        return f"{record.wanted.case.reference}, {sitetime(record.starts)}" if record.wanted else ""

    def render_chance(self, record: WorkLine) -> str:
        parts = []
        if record.word is not None:
            figures = in_hundred(record.chance) if record.chance is not None else ""
            facts = {"state": record.word.value, "word": verdict_word(record.word), "figures": figures}
            parts.append(render_to_string("parts/verdict.html", facts))
        if record.estimate is not None:
            facts = {
                "ready": work_words.ready_words(record.estimate, self.at),
                "why": because_words(record.estimate),
            }
            parts.append(render_to_string("cases/desks/_ready.html", facts))
        return format_html_join("", "{}", ((part,) for part in parts)) or "–"

    def value_chance(self, record: WorkLine) -> str:
        return verdict_line(record.word, record.chance) if record.word is not None else ""

    def value_ready(self, record: WorkLine) -> str:
        return sitetime(moment(record.estimate.at), "full") if record.estimate and record.estimate.at else ""

    def value_why(self, record: WorkLine) -> str:
        return because_words(record.estimate) if record.estimate is not None else ""
