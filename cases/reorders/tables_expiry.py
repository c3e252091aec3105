"""The table of units that will expire, on screen and as a file."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.reorders.expiry import Expiring, How, Offer
from cases.reorders.tables import item_words, size_label
from trays.web.table import CodeColumn, Column, Lines, NumberColumn, WhenColumn
from trays.web.wording import likely


@dataclass(frozen=True, slots=True)
class ExpiryLine:
    """One unit as the table sorts, draws and files it."""

    expires: date
    code: str
    name: str
    lot: str
    tenure: str
    owner: str
    place: str
    chance: float
    likely: str
    one: Expiring
    may_act: bool


def expiry_lines(found: Iterable[Expiring], *, may_act: bool) -> list[ExpiryLine]:
    """One line for each unit."""
    return [
        ExpiryLine(
            expires=one.unit.expires or date.max,
            code=one.unit.component.code,
            name=one.unit.component.name,
            lot=one.unit.serial or one.unit.lot,
            tenure=str(one.unit.get_tenure_display()).lower(),
            owner=one.unit.owner.name,
            place=one.unit.place.name,
            chance=one.chance,
            likely=likely(one.chance),
            one=one,
            may_act=may_act,
        )
        for one in found
    ]


class ExpiryTable(Lines):
    """First to expire first."""

    name = gettext_lazy("Units that will expire")
    row_head = "item"
    looks = ("flat",)
    empty = (
        gettext_lazy("No unit here will expire before it is likely to be used."),
        gettext_lazy("Next check: when a case is booked or changed, or stock moves."),
    )

    expires = WhenColumn(form="date", verbose_name=gettext_lazy("Usable until"))
    code = Column(verbose_name=gettext_lazy("Code"), visible=False)
    item = Column(accessor="name", verbose_name=gettext_lazy("Size, item"), order_by=("name", "expires"))
    lot = CodeColumn(verbose_name=gettext_lazy("Lot or serial"))
    tenure = Column(verbose_name=gettext_lazy("Whose"))
    owner = Column(verbose_name=gettext_lazy("Owner"), visible=False)
    place = Column(verbose_name=gettext_lazy("Where"))
    used = NumberColumn(accessor="chance", verbose_name=gettext_lazy("Used by then, in 100"))
    act = Column(
        accessor="chance", verbose_name=gettext_lazy("What can be done"), orderable=False,
        exclude_from_export=True,
    )  # fmt: skip

    def row_class(self, record: ExpiryLine) -> str:
        return "needs" if record.one.likely_lost else ""

    def render_item(self, record: ExpiryLine) -> str:
        component = record.one.unit.component
        size = size_label(component)
        return format_html(
            '{}<span class="under">{}</span>',
            format_html('<b class="size">{}</b>', size) if size else "",
            item_words(component),
        )

    def value_item(self, record: ExpiryLine) -> str:
        return record.name

    def render_used(self, record: ExpiryLine) -> str:
        if record.one.held:
            return format_html('<span class="soft">{}</span>', _("held"))
        if not record.one.forecast:
            return format_html('0<span class="soft under">{}</span>', _("no use known"))
        return format_html("{}", record.likely)

    def value_used(self, record: ExpiryLine) -> float:
        return round(record.chance, 3)

    def render_act(self, record: ExpiryLine) -> str:
        if record.one.marked:
            return _("marked to be used first")
        if not record.one.likely_lost:
            return format_html('<span class="soft">{}</span>', _("nothing: it will be used"))
        if not record.one.offers:
            return _("nothing here: ask whether anybody takes it")
        if not record.may_act:
            return "; ".join(_words(offer) for offer in record.one.offers)
        buttons = ((_button(record, offer),) for offer in record.one.offers)
        return format_html_join("", "{}", buttons)


def _words(offer: Offer) -> str:
    if offer.how is How.FIRST:
        return _("Use first")
    if offer.how is How.EXCHANGE:
        return _("Exchange")
    return _("Send to %(site)s") % {"site": offer.site}


def _button(record: ExpiryLine, offer: Offer) -> SafeString:
    value = f"{offer.how}.{record.one.unit.pk}" + (f".{offer.site.pk}" if offer.site else "")
    gain = _("then used in %(n)s of 100") % {"n": likely(offer.chance)}
    if offer.how is How.EXCHANGE:
        gain = _("within the agreement’s window")
    return format_html(
        '<button class="btn" form="expiry" name="do" value="{}">{}'
        '<span class="unseen">: {}, {}</span></button>'
        '<span class="soft under">{}</span>',
        value,
        _words(offer),
        record.name,
        record.lot,
        gain,
    )
