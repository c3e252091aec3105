"""Loans of the demo, each at another stage: asked, promised too late, waiting for its check, gone home with
charges to settle, closed; and the counts of two agreements.

All of it goes through the services, at moments before the demo was started. It is the same each time.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction

from cases.bookings.models import Case
from cases.reorders.accepting import key_of_case
from trays.loans.agreeing import agreement_count, counted_components
from trays.loans.arriving import SetCame, loan_arrive, loan_units_arrive
from trays.loans.asking import LoanWish, loan_ask, loan_cancel, loan_confirm
from trays.loans.charging import charge_accept, charge_claim
from trays.loans.checking import Findings, loan_check, loan_units_check
from trays.loans.counting_out import loan_close, loan_count_out, loan_return
from trays.loans.models import Loan
from trays.loans.models_agreements import Agreement, LoanOffer
from trays.parties.models import Site, Tenure
from trays.parties.workdays import DAY, earlier, later
from trays.places.models import Place
from trays.staff.models import Person
from trays.stock.arriving import Goods
from trays.stock.models import Unit

SITE = "larkmere"
STORES, COORDINATOR, STERILE = "ossett", "addlestrop", "wickstead"
WHOLE = Findings(
    instructions=True, certificate=True, undamaged=True, weight_grams=7400, certificate_number="DC-2207"
)


@transaction.atomic
def loans_act(*, base_day: date) -> None:
    """Act out what was lent in the weeks before the base day, and what is under way on it."""
    desk = _desk(base_day)
    _counts(desk)
    _closed(desk)
    _to_settle(desk)
    _given_up(desk)
    _to_check(desk)
    _too_late(desk)
    _asked(desk)


@dataclass
class _Desk:
    """Who asks, takes in and checks; the day on which the demo begins."""

    site: Site
    stores: Person
    coordinator: Person
    technician: Person
    base_day: date

    def moment(self, days: int, hour: int, minute: int = 0) -> datetime:
        """So many working days before the base day, by the site's clock."""
        day = earlier(self.base_day - DAY, days - 1)
        return datetime.combine(day, time(hour, minute), ZoneInfo(self.site.zone))

    def ahead(self, days: int, hour: int) -> datetime:
        """So many working days after the base day."""
        return datetime.combine(later(self.base_day, days), time(hour), ZoneInfo(self.site.zone))

    def asked(
        self,
        offer: str,
        start: datetime,
        at: datetime,
        *,
        case_key: str = "",
        sets_only: bool = False,
        note: str = "",
    ) -> Loan:
        row = LoanOffer.objects.select_related("supplier").get(code=offer)
        designs = [(one.design, one.quantity) for one in row.sets.select_related("design")]
        wish = LoanWish(
            supplier=row.supplier, offer=row, designs=designs if sets_only else (), needed_from=start,
            needed_until=start + timedelta(hours=2), case_key=case_key, note=note,
        )  # fmt: skip
        return loan_ask(by=self.coordinator, site=self.site, wish=wish, at=at)

    def confirmed(self, loan: Loan, arrives: datetime, number: str, at: datetime) -> None:
        loan_confirm(by=self.stores, loan=loan, arrives_at=arrives, supplier_reference=number, at=at)

    def sets_come(self, loan: Loan, codes: list[str], at: datetime) -> None:
        hall = Place.objects.filter(site=self.site, kind=Place.Kind.STERILE_SERVICES).order_by("walk")[0]
        rows = list(loan.sets.select_related("design").order_by("number"))
        came = [
            SetCame(row, code, f"0{row.design.asset_type}{code.replace('-', '')}")
            for row, code in zip(rows, codes, strict=True)
        ]
        loan_arrive(by=self.stores, loan=loan, came=came, place=hall, at=at)

    def units_come(self, loan: Loan, at: datetime) -> None:
        """Each sealed item that was asked for, beside others of its kind."""
        for turn, item in enumerate(loan.items.select_related("component__family", "component__supplier")):
            shelf = Unit.objects.filter(site=self.site, component__family=item.component.family)[0].place
            goods = Goods(
                component=item.component, owner=loan.supplier, tenure=Tenure.LOANED, place=shelf,
                lot=f"LN{loan.pk:02d}{turn:02d}", expires=self.base_day + timedelta(days=600),
            )  # fmt: skip
            loan_units_arrive(
                by=self.stores, loan=loan, goods=goods, count=item.quantity, at=at + timedelta(minutes=turn)
            )

    def checked(self, loan: Loan, at: datetime) -> None:
        for turn, row in enumerate(loan.sets.select_related("loan__site").order_by("number")):
            loan_check(
                by=self.technician, loan_set=row, findings=WHOLE, outcome="accepted",
                at=at + timedelta(minutes=20 * turn),
            )  # fmt: skip

    def gone_home(self, loan: Loan, at: datetime, number: str) -> None:
        seen = loan.units.values_list("pk", flat=True)
        loan_count_out(by=self.technician, loan=loan, units_seen=list(seen), at=at)
        loan_return(by=self.stores, loan=loan, carrier_reference=number, at=at + timedelta(minutes=40))

    def hire(self, loan: Loan, number: str, at: datetime) -> None:
        charge_claim(
            by=self.stores, loan=loan, kind="hire", amount=loan.fee or Decimal(0), reference=number, at=at
        )


def _desk(base_day: date) -> _Desk:
    people = Person.objects.in_bulk(field_name="username")
    return _Desk(
        site=Site.objects.select_related("party").get(code=SITE),
        stores=people[STORES],
        coordinator=people[COORDINATOR],
        technician=people[STERILE],
        base_day=base_day,
    )


def _counts(desk: _Desk) -> None:
    """One agreement was counted with the supplier, and one item was not there."""
    row = Agreement.objects.select_related("site", "supplier").get(code="CA-LK-T")
    on_hand = Unit.objects.filter(site=row.site, owner=row.supplier, state__in=Unit.ON_HAND)
    seen = {
        one.pk: on_hand.filter(component=one, tenure="consigned").count() for one in counted_components(row)
    }
    first = next(pk for pk, count in seen.items() if count)
    seen[first] -= 1
    agreement_count(
        by=desk.stores, agreement=row, seen=seen, with_supplier="Tarn & Ridley", at=desk.moment(12, 10)
    )  # fmt: skip


def _closed(desk: _Desk) -> None:
    """Lent for a case of some weeks ago that needed nothing of it; paid and closed."""
    loan = desk.asked("tr-cup-large", desk.moment(17, 9), desk.moment(23, 10), case_key="")
    desk.confirmed(loan, desk.moment(20, 8), "TR-L 311", desk.moment(22, 9))
    desk.sets_come(loan, ["TR-CUP-4"], desk.moment(20, 8, 30))
    desk.units_come(loan, desk.moment(20, 8, 40))
    desk.checked(loan, desk.moment(20, 10))
    desk.gone_home(loan, desk.moment(16, 14), "TRC 9011")
    desk.hire(loan, "TR-I 7781", desk.moment(10, 9))
    charge_accept(by=desk.stores, charge=loan.charges.get(), at=desk.moment(9, 9))
    loan_close(by=desk.stores, loan=loan, at=desk.moment(9, 9, 10))


def _to_settle(desk: _Desk) -> None:
    """Gone home, its hire claimed and not decided."""
    loan = desk.asked("mf-edge", desk.moment(8, 9), desk.moment(12, 10))
    desk.confirmed(loan, desk.moment(10, 8), "M-L 201", desk.moment(11, 10))
    desk.units_come(loan, desk.moment(10, 8, 30))
    loan_units_check(by=desk.stores, loan=loan, at=desk.moment(10, 9))
    desk.gone_home(loan, desk.moment(7, 15), "MC 40117")
    desk.hire(loan, "M-I 5520", desk.moment(2, 9))


def _given_up(desk: _Desk) -> None:
    """Asked for a case that was moved."""
    loan = desk.asked("mf-knee-small", desk.ahead(9, 9), desk.moment(4, 11))
    loan_cancel(by=desk.coordinator, loan=loan, reason="case-moved", at=desk.moment(3, 16))


def _to_check(desk: _Desk) -> None:
    """Came yesterday afternoon; sterile services have not looked at it yet."""
    loan = desk.asked(
        "mf-knee-con",
        desk.ahead(4, 9),
        desk.moment(6, 9),
        sets_only=True,
        note="For training, and the case after.",
    )
    desk.confirmed(loan, desk.moment(1, 13), "M-L 233", desk.moment(5, 9))
    desk.sets_come(loan, ["MF-KC-3"], desk.moment(1, 14))


def _too_late(desk: _Desk) -> None:
    """Promised for the morning of its case: too late to be made ready."""
    case = _case("LK-0521")
    loan = desk.asked(
        "tr-cup-large", case.starts_at, desk.moment(2, 11), case_key=key_of_case(case), sets_only=True
    )
    desk.confirmed(loan, desk.ahead(5, 7), "TR-L 340", desk.moment(1, 10))


def _asked(desk: _Desk) -> None:
    """Asked on the last afternoon; the supplier has not answered."""
    case = _case("LK-0613")
    desk.asked(
        "mf-knee-large", case.starts_at, desk.moment(1, 15, 30), case_key=key_of_case(case), sets_only=True
    )


def _case(reference: str) -> Case:
    return Case.objects.get(site__code=SITE, reference=reference)
