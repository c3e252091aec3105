"""What is marked on facts of cases and not looked into yet, as lines."""

from typing import Any

from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from cases.usage.models import Mark
from cases.usage.queries import piece_name
from trays.web.table import Column, Lines, WhenColumn


class ChaseLines(Lines):
    """One line for each mark, the oldest first."""

    name = _("To chase")
    row_head = "kind"
    looks = ("flat", "mid")
    empty = (_("Nothing is to be chased. That is good."), "")

    made_at = WhenColumn(verbose_name=_("Since"))
    case = Column(verbose_name=_("Case"))
    kind = Column(verbose_name=_("What is marked"))
    about = Column(verbose_name=_("About"), empty_values=())
    by = Column(verbose_name=_("Taken down by"), accessor="by__name")
    act = Column(verbose_name=_("Next act"), empty_values=(), exclude_from_export=True)

    class Meta(Lines.Meta):
        orderable = False

    def row_class(self, record: Mark) -> str:
        return "needs"

    def render_case(self, record: Mark) -> str:
        case = record.case
        return format_html(
            '<a class="code" href="{}">{}</a><span class="soft under nowrap">{}</span>',
            reverse("theatre-record", args=[case.pk]), case.reference, case.list.theatre.name,
        )  # fmt: skip

    def value_case(self, record: Mark) -> str:
        return record.case.reference

    def render_kind(self, record: Mark) -> str:
        return str(record.get_kind_display())

    def render_about(self, record: Mark) -> str:
        words = self.value_about(record)
        return words or "–"

    def value_about(self, record: Mark) -> str:
        piece = piece_name(record.brought) if record.brought is not None else ""
        return ": ".join(dict.fromkeys(part for part in (piece, record.words) if part))

    def render_act(self, record: Mark) -> Any:
        return format_html(
            '<a class="do" href="{}"><b>{}</b><span class="unseen"> {}</span></a>',
            reverse("chase-mark", args=[record.pk]), _("Say what came of it"), record.case.reference,
        )  # fmt: skip
