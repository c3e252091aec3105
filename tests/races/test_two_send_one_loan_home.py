"""Several people at one loan at once: one cause asks once, one sends it home, and a use is paid for once."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from tests.world import NOW, TODAY, World
from trays.ledger.models import Event
from trays.loans.arriving import loan_units_arrive
from trays.loans.asking import LoanWish, loan_ask
from trays.loans.charging import charge_accept, charge_claim
from trays.loans.checking import loan_units_check
from trays.loans.counting_out import loan_count_out, loan_return
from trays.loans.models import Loan
from trays.loans.models_charges import LoanCharge, LoanChargeUse
from trays.parties.models import Tenure
from trays.stock.arriving import Goods
from trays.stock.models import Pile
from trays.stock.verify import stock_faults
from trays.web.errors import Refusal

pytestmark = pytest.mark.race

WORKERS = 6


def wish(world: World, cause: str = "") -> LoanWish:
    start = NOW + timedelta(days=5)
    return LoanWish(
        supplier=world.supplier, items=[(world.component("tibial", "2"), 1)], needed_from=start,
        needed_until=start, cause=cause,
    )  # fmt: skip


def here(world: World) -> Loan:
    """A loan of one sealed unit that has been checked."""
    by = world.cast.stores
    loan = loan_ask(by=by, site=world.site, wish=wish(world), at=NOW)
    goods = Goods(
        component=world.component("tibial", "2"), owner=world.supplier, tenure=Tenure.LOANED,
        place=world.shelf, lot="LT-1", expires=TODAY + timedelta(days=400),
    )  # fmt: skip
    loan_units_arrive(by=by, loan=loan, goods=goods, at=NOW)
    return loan_units_check(by=by, loan=loan, at=NOW)


def refused(answers: list[Any]) -> int:
    assert all(isinstance(one, Refusal | Loan) for one in answers), answers
    return sum(1 for one in answers if isinstance(one, Refusal))


def test_one_cause_has_one_loan_and_it_goes_home_and_is_paid_once(
    race_world: World, at_once: Callable[..., list[Any]]
) -> None:
    world, by = race_world, race_world.cast.stores
    Pile.objects.all().delete()

    def ask() -> Loan:
        return loan_ask(by=by, site=world.site, wish=wish(world, "case 17"), at=NOW)

    assert refused(at_once(*[ask] * WORKERS)) == WORKERS - 1
    assert Loan.objects.filter(cause="case 17").count() == 1

    loan = here(world)
    loan_count_out(by=by, loan=loan, units_seen=[loan.units.get().pk], at=NOW)
    events = Event.objects.count()
    home = at_once(*[lambda: loan_return(by=by, loan=loan, at=NOW)] * WORKERS)
    assert refused(home) == WORKERS - 1
    assert Event.objects.count() == events + 1
    assert stock_faults() == []

    for _claim in range(WORKERS):
        charge_claim(
            by=by, loan=loan, kind="used", component=world.component("tibial", "2"), amount=Decimal(1), at=NOW
        )
    pays = [
        lambda row=row: charge_accept(by=by, charge=row, use_keys=["unit-1"], at=NOW)
        for row in LoanCharge.objects.select_related("loan__site")
    ]
    assert refused(at_once(*pays)) == WORKERS - 1
    assert LoanChargeUse.objects.count() == 1
