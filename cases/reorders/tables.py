"""The table of alerts, on screen and as a file."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.reorders.alerts import AlertRow
from cases.reorders.cells import cells
from cases.reorders.models import SetAside
from cases.reorders.reasons import act, day_word, reason, references
from trays.catalogue.models import Component, Side
from trays.web.table import Column, Lines, NoColumn, NumberColumn, WhenColumn
from trays.web.wording import sitetime


@dataclass(frozen=True, slots=True)
class AlertLine:
    """One alert as the table sorts, draws and files it."""

    number: int
    code: str
    name: str
    size: str
    supplier: str
    supplier_code: str
    usable: int
    held: int
    short_dated: int
    wanted: int
    missing: int
    suggested: int
    order_by: date
    today: date
    late: str
    why: str
    cases: str
    row: AlertRow
    on_order: int
    site: str
    aside: SetAside | None
    may_act: bool


def alert_lines(
    rows: Sequence[AlertRow],
    day: date,
    *,
    site: str = "",
    asides: Mapping[int, SetAside] | None = None,
    may_act: bool = False,
) -> list[AlertLine]:
    """Alerts numbered in the order in which they must be ordered; `asides` by component, in force or not."""
    return [
        AlertLine(
            number=number,
            code=row.component.code,
            name=row.component.name,
            size=size_label(row.component),
            supplier=row.component.supplier.name,
            supplier_code=row.component.supplier.code,
            usable=row.usable,
            held=row.held,
            short_dated=row.short_dated,
            wanted=row.wanted,
            missing=row.missing,
            suggested=row.suggested,
            order_by=row.order_by,
            today=day,
            late=_("too late for the first case") if row.late else "",
            why=reason(row),
            cases=references(row),
            row=row,
            on_order=row.on_order,
            site=site,
            aside=(asides or {}).get(row.component.pk),
            may_act=may_act,
        )
        for number, row in enumerate(rows, start=1)
    ]


def size_label(component: Component) -> str:
    """Size and second measure: "5 × 14"; "" for a component without sizes."""
    return " × ".join(part for part in (component.size, component.second) if part)


def item_words(component: Component) -> str:
    """What it is besides its size: the family and, where it has one, the side in capitals as a word."""
    if not component.size:
        return component.name
    side = "" if component.side == Side.NONE else f", {component.get_side_display().upper()}"
    return f"{component.family.name}{side}"


class AlertTable(Lines):
    """First to be ordered first."""

    name = gettext_lazy("Reorder alerts")
    row_head = "item"
    looks = ("flat", "reorder")
    empty = (
        gettext_lazy("Nothing here must be ordered."),
        gettext_lazy("Next check: when a case is booked or changed, or stock moves."),
    )

    number = NoColumn(verbose_name=gettext_lazy("No."))
    code = Column(verbose_name=gettext_lazy("Code"), visible=False)
    item = Column(
        accessor="name",
        verbose_name=gettext_lazy("Size, item"),
        order_by=("name", "code"),
        attrs={"th": {"class": "c-it"}},
    )
    supplier = Column(verbose_name=gettext_lazy("Supplier"), visible=False)
    cells = Column(
        accessor="missing",
        verbose_name=gettext_lazy("Usable, on order, wanted"),
        attrs={"th": {"class": "c-mi"}},
        exclude_from_export=True,
    )
    usable = NumberColumn(verbose_name=gettext_lazy("Usable"), visible=False)
    held = NumberColumn(verbose_name=gettext_lazy("Of these held"), visible=False)
    short_dated = NumberColumn(verbose_name=gettext_lazy("Short-dated"), visible=False)
    on_order = NumberColumn(verbose_name=gettext_lazy("On order"), visible=False)
    wanted = NumberColumn(verbose_name=gettext_lazy("Wanted"), visible=False)
    missing = NumberColumn(verbose_name=gettext_lazy("Missing"), visible=False)
    why = Column(verbose_name=gettext_lazy("Why, and for which cases"), orderable=False)
    cases = Column(verbose_name=gettext_lazy("Cases"), visible=False)
    suggested = NumberColumn(verbose_name=gettext_lazy("Suggested quantity"), visible=False)
    by = WhenColumn(accessor="order_by", form="day", verbose_name=gettext_lazy("Order by"), visible=False)
    late = Column(verbose_name=gettext_lazy("Late"), visible=False)
    act = Column(
        accessor="order_by",
        verbose_name=gettext_lazy("Next act"),
        order_by=("order_by", "number"),
        attrs={"th": {"class": "c-do"}},
        exclude_from_export=True,
    )

    def row_class(self, record: AlertLine) -> str:
        return "needs" if record.row.late else ""

    def render_item(self, record: AlertLine) -> str:
        component = record.row.component
        address = reverse("stock-family", args=[component.family.code])
        return format_html(
            '{}<a class="under" href="{}">{}</a><span class="soft under">{}</span>',
            format_html('<b class="size">{}</b>', record.size) if record.size else "",
            address,
            item_words(component),
            record.supplier,
        )

    def value_item(self, record: AlertLine) -> str:
        return record.name

    def render_cells(self, record: AlertLine) -> str:
        drawing = "" if record.row.pieces else cells(record.row.tenures, record.wanted, record.on_order)
        values = {"usable": record.usable, "on_order": record.on_order, "wanted": record.wanted}
        figures = _("%(usable)s usable, %(wanted)s wanted") % values
        if record.on_order:
            figures = _("%(usable)s usable, %(on_order)s on order, %(wanted)s wanted") % values
        return format_html('{}<span class="soft under">{}</span>', drawing, figures)

    def render_why(self, record: AlertLine) -> str:
        cases = format_html_join(
            ", ", '<span class="nowrap">{}</span>', ((part,) for part in record.cases.split(", ") if part)
        )
        return format_html('{}<span class="soft under">{}</span>{}', record.why, cases, self._aside(record))

    def _aside(self, record: AlertLine) -> str:
        """Why it was set aside; or that it was, and what has changed since."""
        if record.aside is None:
            return ""
        words = {
            "day": sitetime(record.aside.at, "day"),
            "by": record.aside.by.name,
            "reason": record.aside.get_reason_display(),
            "note": f" ({record.aside.note})" if record.aside.note else "",
        }
        said = _("Set aside on %(day)s by %(by)s: %(reason)s%(note)s.") % words
        if record.aside.digest != record.row.digest:
            said += " " + _(
                "It is back: then %(usable)s usable, %(on_order)s on order and %(wanted)s wanted."
            ) % {
                "usable": record.aside.usable,
                "on_order": record.aside.on_order,
                "wanted": record.aside.wanted,
            }
        return format_html('<span class="under">{}</span>', said)

    def value_why(self, record: AlertLine) -> str:
        return record.why

    def render_act(self, record: AlertLine) -> str:
        if record.row.on_its_way:
            return format_html('<span class="soft">{}</span>', act(record.row))
        by = day_word(record.order_by, record.today)
        late = record.late and format_html('<span class="soft under">{}</span>', record.late)
        if not record.may_act:
            return format_html('<b>{}</b><span class="soft under">{}</span>{}', act(record.row), by, late)
        if record.aside is not None and record.aside.digest == record.row.digest:
            return format_html(
                '<button class="btn" form="take-up" name="aside" value="{}">{}<span class="unseen"> {}</span>'
                "</button>",
                record.aside.pk,
                _("Take it up again"),
                record.name,
            )
        address = reverse("reorder-set-aside", args=[record.row.component.pk])
        return format_html(
            '<button class="btn" form="order" name="wanted" value="{}">{}'
            '<span class="unseen"> {}</span></button>'
            '<span class="soft under">{}</span>{}<a class="do" href="{}?site={}"><b>{}</b>'
            '<span class="unseen">: {}</span></a>',
            wanted_text(record.row),
            act(record.row),
            record.name,
            by,
            late,
            address,
            record.site,
            _("Set aside"),
            record.name,
        )


def wanted_text(row: AlertRow) -> str:
    """An alert as its button sends it: the component, and how many the page showed."""
    return f"{row.component.pk}:{row.suggested}"
