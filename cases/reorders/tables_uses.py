"""The table of uses that wait for their bill."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.reorders.uses import UseLine
from cases.usage.queries import piece_name
from trays.web.table import CodeColumn, Column, Lines, NumberColumn, WhenColumn


@dataclass(frozen=True, slots=True)
class UseRow:
    """One use as the table sorts, draws and files it."""

    at: datetime | None
    item: str
    code: str
    lot: str
    fate: str
    case: str
    supplier: str
    follows: str
    agreed: bool
    price: Decimal | None
    currency: str


def use_rows(lines: Iterable[UseLine]) -> list[UseRow]:
    """One row for each use, the oldest first."""
    return [
        UseRow(
            at=line.brought.fate_at,
            item=piece_name(line.brought),
            code=line.brought.component.code if line.brought.component else "",
            lot=line.brought.serial or line.brought.lot,
            fate=line.brought.get_fate_display(),
            case=line.brought.case.reference,
            supplier=line.brought.component.supplier.name if line.brought.component else "",
            follows=_("pay 1, send 1") if line.replaces else _("pay 1, send 0"),
            agreed=line.agreed,
            price=line.price.price if line.price else None,
            currency=line.price.currency if line.price else "",
        )
        for line in lines
    ]


class UseTable(Lines):
    """The oldest first."""

    name = gettext_lazy("Used, not billed yet")
    row_head = "item"
    looks = ("flat",)
    empty = (
        gettext_lazy("Every use of supplier’s stock has its bill."),
        gettext_lazy("The next one comes when a case’s record says that something was used."),
    )

    at = WhenColumn(verbose_name=gettext_lazy("Used"))
    item = Column(verbose_name=gettext_lazy("Item"))
    code = Column(verbose_name=gettext_lazy("Code"), visible=False)
    lot = CodeColumn(verbose_name=gettext_lazy("Lot or serial"))
    fate = Column(verbose_name=gettext_lazy("How"))
    case = Column(verbose_name=gettext_lazy("Case"))
    supplier = Column(verbose_name=gettext_lazy("Supplier"))
    follows = Column(verbose_name=gettext_lazy("Follows"))
    price = NumberColumn(verbose_name=gettext_lazy("Price"))
    currency = Column(verbose_name=gettext_lazy("Currency"), visible=False)

    def row_class(self, record: UseRow) -> str:
        return "needs" if record.price is None else ""

    def render_follows(self, record: UseRow) -> str:
        if record.agreed:
            return record.follows
        return format_html(
            '{}<span class="soft under">{}</span>', record.follows, _("no agreement line names it")
        )

    def value_follows(self, record: UseRow) -> str:
        return record.follows

    def render_price(self, record: UseRow) -> str:
        return f"{record.price:.2f} {record.currency}"

    def value_price(self, record: UseRow) -> Decimal | None:
        return record.price
