"""Whatever people do with loans in whatever order: the table of ways holds, nothing of a loan is lost, and a
refusal changes nothing.

Short by default; TRAYSPAN_LONG=1 tries many more and longer walks.
"""

import os
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any, ClassVar

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from tests.trays.loans.conftest import WHOLE, Lending
from tests.world import NOW
from trays.instruments.models import Pack, PackState
from trays.ledger.append import record
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.loans import arriving, asking, charging, checking, counting_out
from trays.loans.arriving import SetCame
from trays.loans.checking import Findings
from trays.loans.models import HowBack, Loan, LoanSet, LoanStep, LoanUnit
from trays.loans.models_charges import LoanCharge, LoanChargeUse
from trays.loans.showing import is_used, use_key
from trays.loans.ways import LoanStatus, way
from trays.processing.moving import Step, lock_packs, move
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.moving import lock_units, step_within
from trays.stock.verify import stock_faults
from trays.stock.ways import FATES
from trays.web.errors import Refusal

LONG = os.environ.get("TRAYSPAN_LONG") == "1"
LOANS = st.integers(0, 1)
GONE = {
    HowBack.RETURNED: (UnitState.RETURNED,),
    HowBack.MISSING: (UnitState.MISSING,),
    HowBack.USED: FATES,
}


class Lent(RuleBasedStateMachine):
    """Two loans of one supplier, one of which may bring the very set that the other sent home."""

    lending: ClassVar[Lending]
    loans: ClassVar[list[int]]

    def __init__(self) -> None:
        super().__init__()
        self.block = transaction.atomic()
        self.block.__enter__()
        self.at = NOW

    def teardown(self) -> None:
        assert verify() == []
        transaction.set_rollback(True)
        self.block.__exit__(None, None, None)

    def loan(self, number: int) -> Loan:
        return Loan.objects.select_related("site", "supplier", "offer").get(pk=self.loans[number])

    def rows(self) -> list[Any]:
        models = (Loan, LoanStep, LoanSet, LoanUnit, LoanCharge, LoanChargeUse, Unit, Pack, Event)
        return [list(model.objects.order_by("pk").values_list()) for model in models]

    def act(self, do: Callable[..., Any], **what: Any) -> None:
        """Do it, or be refused and leave everything as it was."""
        self.at += timedelta(minutes=7)
        before = self.rows()
        try:
            do(at=self.at, by=self.lending.stores, **what)
        except Refusal as refused:
            assert refused.sentence and refused.next_step
            assert self.rows() == before
        else:
            assert Event.objects.count() == len(before[-1]) + 1

    @rule(number=LOANS, times=st.integers(1, 9))
    def go_on(self, number: int, times: int) -> None:
        """Some steps as they are meant to go, so that walks come to the end of the way too."""
        for _time in range(times):
            status = self.loan(number).status
            if status in (LoanStatus.ASKED, LoanStatus.CONFIRMED):
                self.set_comes(number, f"MF-0{7 + number}")
                self.unit_comes(number, "2")
            elif status == LoanStatus.ARRIVED:
                self.check(number, "accepted")
            elif status in (LoanStatus.CHECKED, LoanStatus.PROCESSED):
                self.pack_moves(number, PackState.OPENED)
                self.unit_is_used(number, UnitState.IMPLANTED)
                self.pack_moves(number, PackState.RECEIVED)
                self.pack_moves(number, PackState.CLEANED)
                self.count_out(number, all_there=True)
            elif status == LoanStatus.COUNTED_OUT:
                self.send_home(number, told=True)
            elif status == LoanStatus.RETURNED:
                self.claim(number, used=True)
                self.decide_charge(number, accept=True)
                self.close(number)

    @rule(number=LOANS)
    def confirm(self, number: int) -> None:
        self.act(
            asking.loan_confirm, loan=self.loan(number), arrives_at=self.at + timedelta(days=1),
            supplier_reference="MF-1",
        )  # fmt: skip

    @rule(number=LOANS, refused=st.booleans())
    def end(self, number: int, refused: bool) -> None:
        if refused:
            self.act(asking.loan_refuse, loan=self.loan(number), reason="supplier-declined")
        else:
            self.act(asking.loan_cancel, loan=self.loan(number), reason="not-needed")

    @rule(number=LOANS, code=st.sampled_from(["MF-07", "MF-08"]))
    def set_comes(self, number: int, code: str) -> None:
        loan = self.loan(number)
        came = [SetCame(loan.sets.get(), code)]
        self.act(arriving.loan_arrive, loan=loan, came=came, place=self.lending.department.hall)

    @rule(number=LOANS, size=st.sampled_from(["2", "3"]))
    def unit_comes(self, number: int, size: str) -> None:
        self.act(arriving.loan_units_arrive, loan=self.loan(number), goods=self.lending.goods(size))

    @rule(number=LOANS, outcome=st.sampled_from(["accepted", "accepted", "exception", "refused"]))
    def check(self, number: int, outcome: str) -> None:
        row = self.loan(number).sets.select_related("loan").get()
        whole = outcome == "accepted"
        findings = WHOLE if whole else Findings(True, True, False, 6200)
        self.act(
            checking.loan_check, loan_set=row, findings=findings, outcome=outcome,
            reason="" if whole else "damaged",
        )  # fmt: skip

    @rule(number=LOANS)
    def units_checked(self, number: int) -> None:
        self.act(checking.loan_units_check, loan=self.loan(number))

    @rule(number=LOANS, state=st.sampled_from([PackState.OPENED, PackState.RECEIVED, PackState.CLEANED]))
    def pack_moves(self, number: int, state: str) -> None:
        ids = Pack.objects.filter(set__loan_sets__loan=self.loans[number]).values_list("pk", flat=True)
        self.at += timedelta(minutes=7)
        try:
            with transaction.atomic():
                move(lock_packs(ids), state, Step(by=self.lending.stores, at=self.at))
        except Refusal:
            pass

    @rule(number=LOANS, fate=st.sampled_from([UnitState.OPENED, UnitState.IMPLANTED, UnitState.WASTED]))
    def unit_is_used(self, number: int, fate: str) -> None:
        one = LoanUnit.objects.filter(loan=self.loans[number], open=True).order_by("-pk").first()
        if one is None:
            return
        self.at += timedelta(minutes=7)
        try:
            with transaction.atomic():
                lines = step_within(units=lock_units([one.unit_id]), state=fate)
                record(
                    chain=self.lending.world.site.code, verb="use.record", by=self.lending.stores, at=self.at,
                    lines=lines,
                )  # fmt: skip
        except Refusal:
            pass

    @rule(number=LOANS, all_there=st.booleans())
    def count_out(self, number: int, all_there: bool) -> None:
        loan = self.loan(number)
        units = list(loan.units.filter(open=True).select_related("unit").order_by("pk"))
        seen = [one.pk for one in units if not is_used(one)][: None if all_there else 1]
        self.act(counting_out.loan_count_out, loan=loan, units_seen=seen)

    @rule(number=LOANS, told=st.booleans())
    def send_home(self, number: int, told: bool) -> None:
        self.act(counting_out.loan_return, loan=self.loan(number), told=told)

    @rule(number=LOANS, used=st.booleans())
    def claim(self, number: int, used: bool) -> None:
        self.act(
            charging.charge_claim, loan=self.loan(number), kind="used" if used else "hire",
            component=self.lending.world.component("tibial", "2") if used else None, amount=Decimal(320),
        )  # fmt: skip

    @rule(number=LOANS, accept=st.booleans())
    def decide_charge(self, number: int, accept: bool) -> None:
        row = LoanCharge.objects.filter(loan=self.loans[number]).order_by("-pk").first()
        if row is None:
            return
        if not accept:
            self.act(charging.charge_refuse, charge=row, reason="claimed-twice")
            return
        units = row.loan.units.filter(unit__component=row.component).select_related("unit")
        keys = [use_key(one) for one in units if is_used(one)][: row.quantity]
        self.act(charging.charge_accept, charge=row, use_keys=keys)

    @rule(number=LOANS)
    def close(self, number: int) -> None:
        self.act(counting_out.loan_close, loan=self.loan(number))

    @invariant()
    def each_loan_is_where_its_steps_led_and_every_step_is_a_way(self) -> None:
        for loan in Loan.objects.all():
            status = ""
            for number, step in enumerate(loan.steps.order_by("sequence"), start=1):
                assert (step.sequence, step.before) == (number, status)
                assert way(step.before, step.after)
                status = step.after
            assert loan.status == status

    @invariant()
    def what_has_ended_is_accounted_for_and_no_loan_is_gone(self) -> None:
        assert Loan.objects.filter(pk__in=self.loans).count() == len(self.loans)
        for loan in Loan.objects.filter(ended_at__isnull=False):
            assert not loan.sets.filter(open=True).exists()
            assert not loan.units.filter(open=True).exists()
            assert not loan.charges.filter(status="claimed").exists()

    @invariant()
    def a_thing_is_on_one_open_loan_and_what_ended_is_where_it_was_said_to_be(self) -> None:
        opened = list(LoanUnit.objects.filter(open=True).values_list("unit", flat=True))
        assert len(opened) == len(set(opened))
        for one in LoanUnit.objects.filter(open=False).select_related("unit"):
            assert one.unit.state in GONE[HowBack(one.how)]
        sets = list(LoanSet.objects.filter(open=True, set__isnull=False).values_list("set", flat=True))
        assert len(sets) == len(set(sets))

    @invariant()
    def stock_is_the_sum_of_its_lines_and_no_use_is_paid_twice(self) -> None:
        assert stock_faults() == []
        for charge in LoanCharge.objects.filter(kind="used", status="accepted"):
            assert charge.uses.count() == charge.quantity


@pytest.mark.slow
def test_no_order_of_acts_breaks_a_law(lending: Lending) -> None:
    # The world's consumables were put there without a record.
    Pile.objects.all().delete()
    Lent.lending = lending
    Lent.loans = [lending.asked(case_key=str(number)).pk for number in range(2)]
    run_state_machine_as_test(  # type: ignore[no-untyped-call]
        Lent,
        settings=settings(
            max_examples=300 if LONG else 10,
            stateful_step_count=60 if LONG else 25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
