"""The tables of loans and of agreements, on screen and as files."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.loans.deadlines import Lateness
from trays.loans.models_agreements import Replacement
from trays.loans.queries import Standing
from trays.loans.queries_agreements import AgainstAgreement
from trays.loans.saying import lateness_word, left_says
from trays.loans.ways import LoanStatus
from trays.loans.words import contents_word, reason_word, step_word
from trays.web.table import Column, Lines, NumberColumn, SecondLineColumn, WhenColumn


@dataclass(frozen=True, slots=True)
class LoanRow:
    """One loan as the table sorts, draws and files it."""

    pk: int
    by: datetime | None
    late: str
    left: str
    needs: bool
    act: str
    number: str
    supplier: str
    contents: str
    needed: datetime
    status: str
    status_order: int
    why: str


def loan_rows(standings: Iterable[Standing]) -> list[LoanRow]:
    """Loans as rows, in the order given: the earliest deadline first."""
    return [
        LoanRow(
            pk=one.loan.pk,
            by=one.next.by if one.next else None,
            late=lateness_word(one) if one.next else "",
            left=left_says(one),
            needs=one.next is not None and one.lateness is not Lateness.IN_TIME,
            act=step_word(one.next.status) if one.next else "",
            number=one.loan.number,
            supplier=one.loan.supplier.name,
            contents=contents_word(one.sets, one.units),
            needed=one.loan.needed_from,
            status=str(LoanStatus(one.status).label),
            status_order=list(LoanStatus).index(LoanStatus(one.status)),
            why=reason_word(one.loan.end_reason) if one.loan.end_reason else _asked_late(one),
        )
        for one in standings
    ]


def _asked_late(one: Standing) -> str:
    return _("asked late") if one.asked_late and one.next else ""


class LoanTable(Lines):
    """One line for each loan."""

    name = gettext_lazy("Loans")
    row_head = "number"
    looks = ("flat",)
    empty = (
        gettext_lazy("No such loan."),
        gettext_lazy("A loan is asked for from a case that is short, or by hand."),
    )

    by = WhenColumn(verbose_name=gettext_lazy("By"))
    act = SecondLineColumn(under="left", orderable=False, default="", verbose_name=gettext_lazy("Next step"))
    number = SecondLineColumn(under="supplier", verbose_name=gettext_lazy("Loan"))
    contents = Column(orderable=False, verbose_name=gettext_lazy("What"))
    needed = WhenColumn(verbose_name=gettext_lazy("Case starts"))
    status = SecondLineColumn(under="why", order_by=("status_order",), verbose_name=gettext_lazy("State"))

    def row_class(self, record: LoanRow) -> str:
        return "needs" if record.needs else "" if record.act else "past"

    def render_by(self, value: datetime, record: LoanRow) -> str:
        shown = self.columns["by"].column.render(value)
        return (
            format_html('{}<span class="under"><b>{}</b></span>', shown, record.late)
            if record.late
            else shown
        )

    def render_act(self, value: str, record: LoanRow) -> str:
        link = format_html('<a class="do" href="{}"><b>{}</b></a>', reverse("loan", args=[record.pk]), value)
        return format_html('{}<span class="soft under">{}</span>', link, record.left)

    def render_number(self, value: str, record: LoanRow) -> str:
        link = format_html('<a class="do" href="{}"><b>{}</b></a>', reverse("loan", args=[record.pk]), value)
        return format_html('{}<span class="soft under">{}</span>', link, record.supplier)


@dataclass(frozen=True, slots=True)
class AgreementRow:
    """One item of an agreement as the table sorts, draws and files it."""

    item: str
    code: str
    family: str
    agreed: int
    there: int
    used: int
    differs: int
    exchange: int
    price: Decimal | None
    currency: str
    after_use: str


def agreement_rows(lines: Iterable[AgainstAgreement], used: dict[int, int]) -> list[AgreementRow]:
    """The items of one agreement as rows; `used` by component since its last count."""
    words = dict(Replacement.choices)
    return [
        AgreementRow(
            item=one.component.name,
            code=one.component.code,
            family=one.component.family.name,
            agreed=one.agreed,
            there=one.there,
            used=used.get(one.component.pk, 0),
            differs=one.there - one.agreed,
            exchange=one.to_exchange,
            price=one.price.price if one.price else None,
            currency=one.price.currency if one.price else "",
            after_use=str(words.get(one.replacement, _("not in the agreement"))),
        )
        for one in lines
    ]


class AgreementTable(Lines):
    """One line for each item of an agreement."""

    name = gettext_lazy("Items of the agreement")
    row_head = "item"
    looks = ("flat",)
    empty = (gettext_lazy("No item is agreed."), gettext_lazy("Import the agreement’s items."))

    item = SecondLineColumn(under="code", verbose_name=gettext_lazy("Item"))
    agreed = NumberColumn(verbose_name=gettext_lazy("Agreed"))
    there = NumberColumn(verbose_name=gettext_lazy("On the shelf"))
    differs = NumberColumn(verbose_name=gettext_lazy("Short or over"))
    used = NumberColumn(verbose_name=gettext_lazy("Used since the last count"))
    exchange = NumberColumn(verbose_name=gettext_lazy("To exchange"))
    price = NumberColumn(verbose_name=gettext_lazy("Price of one"))
    after_use = Column(orderable=False, verbose_name=gettext_lazy("After a use"))

    def row_class(self, record: AgreementRow) -> str:
        return "needs" if record.differs < 0 or record.exchange else ""

    def render_differs(self, value: int) -> str:
        if not value:
            return _("as agreed")
        said = _("%(n)s short") if value < 0 else _("%(n)s over")
        return format_html("<b>{}</b>", said % {"n": abs(value)})

    def value_differs(self, value: int) -> int:
        return value

    def render_price(self, value: Decimal, record: AgreementRow) -> str:
        return format_html("{} {}", value, record.currency)

    def value_price(self, value: Decimal) -> Decimal:
        return value
