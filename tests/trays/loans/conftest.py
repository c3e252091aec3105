"""A supplier that lends: an offer of one set with sealed units, and a loan taken through its steps."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from tests.trays.processing.conftest import Department, department  # noqa: F401 - a fixture
from tests.world import NOW, TODAY, World
from trays.instruments.models import Pack, PackState
from trays.loans import arriving, asking, checking, counting_out
from trays.loans.arriving import SetCame
from trays.loans.asking import LoanWish
from trays.loans.checking import Findings
from trays.loans.models import Loan, LoanSet
from trays.loans.models_agreements import LoanOffer, LoanOfferSet, LoanOfferUnit
from trays.parties.models import Tenure
from trays.processing.models_policy import WorkingHours
from trays.stock.arriving import Goods

NEEDED = NOW + timedelta(days=7)
WHOLE = Findings(
    instructions=True, certificate=True, undamaged=True, weight_grams=6200, certificate_number="DC-81"
)


@dataclass
class Lending:
    """The department of the world, and a supplier's offer: the large blocks with two tibial sizes."""

    department: Department
    offer: LoanOffer
    at: datetime = NOW

    @property
    def world(self) -> World:
        return self.department.world

    @property
    def stores(self) -> Any:
        return self.world.cast.stores

    def wish(self, **changes: Any) -> LoanWish:
        given: dict[str, Any] = {
            "supplier": self.world.supplier,
            "offer": self.offer,
            "needed_from": NEEDED,
            "needed_until": NEEDED + timedelta(hours=2),
            "case_key": "17",
        }
        return LoanWish(**given | changes)

    def asked(self, **changes: Any) -> Loan:
        return asking.loan_ask(
            by=self.world.cast.coordinator, site=self.world.site, wish=self.wish(**changes), at=self.at
        )

    def confirmed(self, **changes: Any) -> Loan:
        loan = self.asked(**changes)
        return asking.loan_confirm(
            by=self.stores,
            loan=loan,
            arrives_at=self.at + timedelta(days=2),
            supplier_reference="MF-1",
            at=self.at,
        )

    def goods(self, size: str, lot: str = "LT-1", expires: date | None = None) -> Goods:
        return Goods(
            component=self.world.component("tibial", size),
            owner=self.world.supplier,
            tenure=Tenure.LOANED,
            place=self.world.shelf,
            lot=lot,
            expires=expires or TODAY + timedelta(days=400),
        )

    def set_arrives(
        self, loan: Loan, *, code: str = "MF-07", number: int = 1, at: datetime | None = None
    ) -> LoanSet:
        row = loan.sets.get(number=number)
        arriving.loan_arrive(
            by=self.stores, loan=loan, came=[SetCame(row, code)], place=self.department.hall, at=at or self.at
        )
        row.refresh_from_db()
        return row

    def units_arrive(self, loan: Loan, size: str = "2", count: int = 1) -> None:
        arriving.loan_units_arrive(by=self.stores, loan=loan, goods=self.goods(size), count=count, at=self.at)

    def arrived(self, *, code: str = "MF-07", **changes: Any) -> Loan:
        loan = self.confirmed(**changes)
        self.set_arrives(loan, code=code)
        self.units_arrive(loan, "2", 1)
        self.units_arrive(loan, "3", 1)
        return fresh(loan)

    def check(self, loan: Loan, outcome: str = "accepted", reason: str = "", **found: Any) -> Loan:
        row = loan.sets.filter(open=True, set__isnull=False).order_by("number")[0]
        findings = Findings(**{name: getattr(WHOLE, name) for name in WHOLE.__dataclass_fields__} | found)
        return checking.loan_check(
            by=self.world.cast.technician, loan_set=row, findings=findings, outcome=outcome, reason=reason,
            at=self.at,
        )  # fmt: skip

    def checked(self, **changes: Any) -> Loan:
        return self.check(self.arrived(**changes))

    def packs(self, loan: Loan) -> list[Pack]:
        rows = Pack.objects.filter(set__loan_sets__loan=loan).select_related("set__site", "place")
        return list(rows.order_by("pk"))

    def processed(self, **changes: Any) -> Loan:
        """A loan whose packs have been washed, assembled, packed and released."""
        loan = self.checked(**changes)
        self.make_sterile(loan)
        return loan

    def make_sterile(self, loan: Loan) -> None:
        self.department.test_machines()
        packs = self.packs(loan)
        self.department.washed(*packs)
        self.department.released(*[self.department.packed(pack) for pack in self.packs(loan)])

    def used(self, loan: Loan) -> None:
        self.to(loan, PackState.OPENED)

    def cleaned(self, loan: Loan) -> None:
        self.to(loan, PackState.RECEIVED)
        self.department.washed(*self.packs(loan))

    def to(self, loan: Loan, state: str) -> None:
        self.world.take_to(self.packs(loan), state)

    def count_out(self, loan: Loan, seen: Collection[int] | None = None, **more: Any) -> Loan:
        ids = loan.units.values_list("pk", flat=True) if seen is None else seen
        return counting_out.loan_count_out(
            by=self.world.cast.technician, loan=loan, units_seen=list(ids), at=self.at, **more
        )

    def send_home(self, loan: Loan, **more: Any) -> Loan:
        return counting_out.loan_return(by=self.stores, loan=loan, at=self.at, **more)


def fresh(loan: Loan) -> Loan:
    """The loan as the database has it."""
    return Loan.objects.select_related("site", "supplier", "offer").get(pk=loan.pk)


@pytest.fixture
def lending(department: Department) -> Lending:  # noqa: F811 - the fixture above
    world = department.world
    WorkingHours.objects.bulk_create(
        [WorkingHours(site=world.site, weekday=day, opens="08:00", closes="18:00") for day in range(5)]
    )
    offer = LoanOffer.objects.create(
        code="mf-large", name="Large blocks with trays", supplier=world.supplier, fee=Decimal("320.00"),
        currency="GBP", lead_working_days=2, valid_from=TODAY - timedelta(days=30),
    )  # fmt: skip
    LoanOfferSet.objects.create(offer=offer, design=world.designs["blocks-large"])
    for size in ("2", "3"):
        LoanOfferUnit.objects.create(offer=offer, component=world.component("tibial", size))
    return Lending(department, offer)
