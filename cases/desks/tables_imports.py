"""Tables of the import pages."""

from typing import Any

from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from cases.desks.imports import BY_CODE
from trays.exchange.models import ImportRun
from trays.templatetags.look import icon
from trays.web.table import CodeColumn, Column, Lines, NumberColumn, WhenColumn

State = ImportRun.State
STATE_ICONS = {
    State.CHECKING: "open",
    State.CHECKED: "accepted",
    State.APPLYING: "open",
    State.FAULTY: "differs",
    State.APPLIED: "ok",
    State.SET_ASIDE: "missing",
}


def run_address(record: Any) -> str:
    return reverse("import-run", args=[record.pk])


class RunLines(Lines):
    """Files handed in, the newest first."""

    name = _("Files handed in")
    row_head = "file_name"
    looks = ("mid",)
    empty = (_("No file has been handed in yet."), _("Hand in the first one, or take a template."))
    files = False

    at = WhenColumn(verbose_name=_("Handed in"), order_by=("at", "pk"))
    file_name = Column(verbose_name=_("File"), linkify=run_address)
    kind = Column(verbose_name=_("Kind"))
    rows_read = NumberColumn(verbose_name=_("Rows"))
    by = Column(verbose_name=_("By"), order_by=("by__name",))
    state = Column(verbose_name=_("State"))

    class Meta(Lines.Meta):
        order_by = ("-at",)

    def row_class(self, record: Any) -> str:
        waits = record.state in (State.CHECKED, State.FAULTY)
        return "needs" if waits else ""

    def render_state(self, record: Any) -> str:
        return format_html("{} {}", icon(STATE_ICONS[record.state]), record.get_state_display())

    def value_state(self, record: Any) -> str:
        return str(record.get_state_display())

    def render_kind(self, value: str) -> str:
        return str(BY_CODE[value].title) if value in BY_CODE else value


class FaultLines(Lines):
    """What is wrong in a file: row as in the spreadsheet, column, what, what to do."""

    name = _("Faults")
    row_head = "number"
    looks = ("flat", "still")
    empty = (_("The file has no faults."), "")

    number = NumberColumn(verbose_name=_("Row"))
    column = CodeColumn(verbose_name=_("Column"), default="–")
    sentence = Column(verbose_name=_("What is wrong"), orderable=False)
    next_step = Column(verbose_name=_("What to do"), orderable=False)

    class Meta(Lines.Meta):
        order_by = ("number",)
