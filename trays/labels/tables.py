"""The table in which labels are ticked: what can be printed, and why the rest cannot."""

from collections.abc import Iterable, Set
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.identifiers import gs1
from trays.labels.kinds import Label, PackLabel, PlainLabel, Refused, ShelfLabel, texts_of
from trays.symbols import lettering
from trays.templatetags.look import icon
from trays.web.table import CodeColumn, Column, Lines


@dataclass(frozen=True, slots=True)
class LabelLine:
    """One row: `why` is "" where the label can be made."""

    pk: int
    called: str
    what: str
    says: str
    code: str
    why: str
    ticked: bool


def label_lines(rows: Iterable[Label | Refused], ticked: Set[int]) -> list[LabelLine]:
    """The rows as lines, `ticked` by their keys."""
    return [_line(row, row.row_id in ticked) for row in rows]


def _line(row: Label | Refused, ticked: bool) -> LabelLine:
    if isinstance(row, Refused):
        called, _comma, what = row.called.partition(", ")
        return LabelLine(row.row_id, called, what, row.why, "", row.why, False)
    called, what, says = _words(row)
    if doubtful := doubtful_in(row):
        says = " · ".join(word for word in (says, doubtful) if word)
    return LabelLine(row.row_id, called, what, says, gs1.hri(row.payload), "", ticked)


def doubtful_in(label: Label) -> str:
    """Which letters of a label will not print as they should, in words; "" for none."""
    found = "".join(dict.fromkeys(c for text in texts_of(label) for c in lettering.doubtful_letters(text)))
    return _("prints □ or wrongly for: %(letters)s") % {"letters": found} if found else ""


def _words(label: Label) -> tuple[str, str, str]:
    if isinstance(label, PackLabel):
        short = _("short %(count)s") % {"count": label.short_count} if label.short_count else ""
        until = label.sterile_until and _("sterile until %(day)s") % {"day": label.sterile_until}
        marked = "" if label.released else _("marked NOT RELEASED")
        facts = (label.tray, _("list %(version)s") % {"version": label.contents_list}, until, short, marked)
        return label.number, label.name, " · ".join(word for word in facts if word)
    if isinstance(label, ShelfLabel):
        return label.place, label.what or "–", " · ".join(word for word in (label.room, label.size) if word)
    if isinstance(label, PlainLabel):
        told = (f"{fact.word} {fact.value}".strip() for fact in label.facts if fact.value)
        return label.number, label.name or label.head, " · ".join(told)
    marks = " ".join(word for word in (label.lot, label.serial) if word)
    until = label.use_by and _("use by %(day)s") % {"day": label.use_by}
    size = _("size %(size)s") % {"size": label.size} if label.size else ""
    name = ", ".join(word for word in (label.name, size, label.side) if word)
    return marks, name, " · ".join(word for word in (label.maker, until) if word)


class LabelTable(Lines):
    """Labels to tick."""

    name = gettext_lazy("Labels")
    row_head = "called"
    looks = ("flat", "mid")
    files = False
    empty = (
        gettext_lazy("There is nothing of this kind to label here."),
        gettext_lazy("Choose another kind, or another site."),
    )

    tick = Column(accessor="pk", verbose_name=gettext_lazy("Make"), orderable=False)
    called = CodeColumn(verbose_name=gettext_lazy("Which"))
    what = Column(verbose_name=gettext_lazy("What"))
    says = Column(verbose_name=gettext_lazy("Label says"), orderable=False)
    code = Column(verbose_name=gettext_lazy("Code"), orderable=False)

    def render_tick(self, record: LabelLine) -> SafeString:
        if record.why:
            return format_html('<span class="v">{}{}</span>', icon("refused"), _("no label"))
        checked = " checked" if record.ticked else ""
        return format_html(
            '<input type="checkbox" name="ids" value="{}" aria-label="{}"{}>',
            record.pk,
            record.called,
            checked,
        )

    def render_code(self, value: str) -> SafeString:
        return format_html('<span class="code">{}</span>', value)
