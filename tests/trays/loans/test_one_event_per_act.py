"""Each act on a loan or an agreement writes exactly one event that names nobody and no case."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from tests.trays.ledger.acts import left_out, verbs_of, writes_one_event
from tests.trays.loans.conftest import WHOLE, Lending, fresh
from tests.world import NOW, TODAY
from trays.ledger.models import Event
from trays.loans import agreeing, arriving, asking, charging, checking, counting_out, policies
from trays.loans.arriving import SetCame
from trays.loans.models import Loan
from trays.loans.models_agreements import Agreement, AgreementLine

CASE_KEY = "LK-REFERENCE-9"
# Halves that run inside an act.
NO_WHOLE_ACT = {"ask_within", "loan_step_within", "step_write"}


class Desk:
    """A loan at each stage, taken there when an act asks for it."""

    def __init__(self, lending: Lending) -> None:
        self.at = lending
        self.world = lending.world
        self.stores = lending.stores

    def confirmed(self) -> Loan:
        return self.at.confirmed(case_key=CASE_KEY)

    def returned(self) -> Loan:
        loan = self.at.checked(case_key=CASE_KEY)
        self.at.count_out(loan)
        return self.at.send_home(loan)

    def claimed(self) -> Any:
        loan = self.returned()
        charging.charge_claim(
            by=self.stores, loan=loan, kind="hire", amount=Decimal(320), reference="INV-1", at=NOW
        )
        return loan.charges.get()

    def agreement(self) -> Agreement:
        made = Agreement.objects.create(
            code="CA-1", site=self.world.site, supplier=self.world.supplier, valid_from=TODAY
        )
        AgreementLine.objects.create(
            agreement=made, component=self.world.component("tibial", "2"), quantity=2
        )
        return made


Act = Callable[[Desk, dict[str, Any]], Callable[[], Any]]
"""Makes ready what the act needs, and gives back the act."""


def _ask(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    wish = d.at.wish(case_key=CASE_KEY, note="for the second case")
    return lambda: asking.loan_ask(by=d.stores, site=d.world.site, wish=wish, at=NOW, **key)


def _confirm(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    loan = d.at.asked(case_key=CASE_KEY)
    later = NOW + timedelta(days=1)
    return lambda: asking.loan_confirm(by=d.stores, loan=loan, arrives_at=later, at=NOW, **key)


def _refuse(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    loan = d.confirmed()
    return lambda: asking.loan_refuse(by=d.stores, loan=loan, reason="supplier-declined", at=NOW, **key)


def _cancel(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    loan = d.confirmed()
    return lambda: asking.loan_cancel(by=d.stores, loan=loan, reason="not-needed", at=NOW, **key)


def _arrive(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    loan = d.confirmed()
    came = [SetCame(loan.sets.get(), "MF-07")]
    return lambda: arriving.loan_arrive(
        by=d.stores, loan=loan, came=came, place=d.at.department.hall, at=NOW, **key
    )


def _units_arrive(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    loan = d.confirmed()
    return lambda: arriving.loan_units_arrive(
        by=d.stores, loan=loan, goods=d.at.goods("2"), count=3, at=NOW, **key
    )


def _check(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    row = d.at.arrived(case_key=CASE_KEY).sets.get()
    return lambda: checking.loan_check(
        by=d.stores, loan_set=row, findings=WHOLE, outcome="accepted", note="seen", at=NOW, **key
    )


def _units_check(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    loan = d.at.confirmed(offer=None, items=[(d.world.component("tibial", "2"), 1)])
    d.at.units_arrive(loan)
    return lambda: checking.loan_units_check(by=d.stores, loan=fresh(loan), at=NOW, **key)


def _count_out(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    # What its packs went through meanwhile is written down by the same event.
    loan = d.at.processed(case_key=CASE_KEY)
    return lambda: counting_out.loan_count_out(by=d.stores, loan=loan, at=NOW, **key)


def _return(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    loan = d.at.checked(case_key=CASE_KEY)
    d.at.count_out(loan)
    return lambda: counting_out.loan_return(by=d.stores, loan=loan, carrier_reference="C-1", at=NOW, **key)


def _close(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    loan = d.returned()
    return lambda: counting_out.loan_close(by=d.stores, loan=loan, at=NOW, **key)


def _claim(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    loan = d.returned()
    return lambda: charging.charge_claim(
        by=d.stores, loan=loan, kind="hire", amount=Decimal(320), reference="INV-1", at=NOW, **key
    )


def _accept(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    charge = d.claimed()
    return lambda: charging.charge_accept(by=d.stores, charge=charge, at=NOW, **key)


def _refuse_charge(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    charge = d.claimed()
    return lambda: charging.charge_refuse(by=d.stores, charge=charge, reason="claimed-twice", at=NOW, **key)


def _agreement_count(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    made = d.agreement()
    seen = {d.world.component("tibial", "2").pk: 1}
    return lambda: agreeing.agreement_count(
        by=d.stores, agreement=made, seen=seen, with_supplier="A. Rep", at=NOW, **key
    )


def _agreement_end(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    made = d.agreement()
    return lambda: agreeing.agreement_end(by=d.stores, agreement=made, last=TODAY, at=NOW, **key)


def _policy(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    return lambda: policies.loan_policy_set(
        by=d.stores, site=d.world.site, values={"process_hours": 16}, at=NOW, **key
    )


ACTS: dict[str, Act] = {
    "loan_ask": _ask,
    "loan_confirm": _confirm,
    "loan_refuse": _refuse,
    "loan_cancel": _cancel,
    "loan_arrive": _arrive,
    "loan_units_arrive": _units_arrive,
    "loan_check": _check,
    "loan_units_check": _units_check,
    "loan_count_out": _count_out,
    "loan_return": _return,
    "loan_close": _close,
    "charge_claim": _claim,
    "charge_accept": _accept,
    "charge_refuse": _refuse_charge,
    "agreement_count": _agreement_count,
    "agreement_end": _agreement_end,
    "loan_policy_set": _policy,
}


def test_every_act_of_the_room_is_tried_here() -> None:
    assert left_out(verbs_of("trays.loans"), tried=ACTS, halves=NO_WHOLE_ACT) == ([], set())


@pytest.mark.parametrize("name", ACTS)
def test_an_act_writes_one_event_that_names_nobody_and_is_not_done_twice(name: str, lending: Lending) -> None:
    act = ACTS[name](Desk(lending), {"client_key": uuid4()})
    people = [person.name for person in lending.world.cast.by_role().values()]
    writes_one_event(act, nameless=[CASE_KEY, "for the second case", "A. Rep", *people])
    count = Event.objects.count()
    act()
    assert Event.objects.count() == count
