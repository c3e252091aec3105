"""The laws of loans stand in the database, whoever writes to it."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from tests.trays.loans.conftest import Lending, fresh
from tests.world import NOW
from trays.loans.models import Loan, LoanCheck, LoanSet, LoanStep, LoanUnit
from trays.loans.models_charges import LoanCharge
from trays.loans.ways import LoanStatus, way

S = LoanStatus


def refused(write: Callable[[], object]) -> str:
    with pytest.raises(IntegrityError) as error, transaction.atomic():
        write()
    return str(error.value)


def rows(loan: Loan) -> object:
    return Loan.objects.filter(pk=loan.pk)


def step(loan: Loan, sequence: int, before: str, after: str) -> LoanStep:
    return LoanStep.objects.create(
        loan=loan, sequence=sequence, before=before, after=after, at=NOW, recorded_at=NOW, by=loan.asked_by
    )


def test_a_status_changes_by_a_step_only(lending: Lending) -> None:
    loan = lending.confirmed()
    assert "loan_without_step" in refused(lambda: rows(loan).update(status=S.ARRIVED))


@pytest.mark.parametrize(
    ("sequence", "before", "after"),
    [(3, S.ASKED, S.CONFIRMED), (2, S.CONFIRMED, S.ARRIVED), (4, S.CONFIRMED, S.ARRIVED), (3, "", S.ASKED)],
)
def test_a_step_starts_from_where_the_loan_is_and_is_its_next(
    lending: Lending, sequence: int, before: str, after: str
) -> None:
    loan = lending.confirmed()
    assert "loan_step" in refused(lambda: step(loan, sequence, before, after))


def test_no_step_leads_where_no_way_does(lending: Lending) -> None:
    loan = lending.confirmed()
    assert not way(S.CONFIRMED, S.CLOSED)
    assert "loan_step_is_a_way" in refused(lambda: step(loan, 3, S.CONFIRMED, S.CLOSED))


def test_steps_checks_and_what_was_matched_are_never_changed_and_loans_never_vanish(lending: Lending) -> None:
    loan = lending.checked()
    for write in (
        lambda: loan.steps.update(reason="other"),
        lambda: LoanStep.objects.filter(loan=loan)._raw_delete("default"),
        lambda: LoanCheck.objects.update(outcome="refused"),
        lambda: LoanUnit.objects.filter(loan=loan)._raw_delete("default"),
        lambda: LoanSet.objects.filter(loan=loan)._raw_delete("default"),
    ):
        assert "append-only" in (said := refused(write)) or "never deleted" in said


def test_a_loan_does_not_end_while_anything_of_it_is_open(lending: Lending) -> None:
    loan = lending.checked()
    assert "loan_not_accounted_for" in refused(lambda: rows(loan).update(ended_at=NOW))


def test_nor_while_a_charge_is_undecided_and_what_has_ended_stays_ended(lending: Lending) -> None:
    from trays.loans.charging import charge_claim, charge_refuse
    from trays.loans.counting_out import loan_close

    loan = lending.checked()
    lending.count_out(loan)
    lending.send_home(loan)
    charge_claim(by=lending.stores, loan=loan, kind="hire", amount=Decimal(1), at=NOW)
    assert "loan_not_accounted_for" in refused(lambda: rows(loan).update(ended_at=NOW))
    charge_refuse(by=lending.stores, charge=loan.charges.get(), reason="claimed-twice", at=NOW)
    loan_close(by=lending.stores, loan=loan, at=NOW)
    assert "loan_has_ended" in refused(lambda: rows(loan).update(ended_at=timezone.now()))
    assert "loan_has_ended" in refused(lambda: rows(loan).update(ended_at=None))


def test_the_case_of_a_loan_that_came_stays_known(lending: Lending) -> None:
    loan = lending.confirmed()
    rows(loan).update(case_key="18")
    lending.set_arrives(loan)
    assert "loan_keeps_its_case" in refused(lambda: rows(loan).update(case_key=""))
    assert fresh(loan).case_key == "18"


def test_a_used_item_is_paid_for_only_as_often_as_its_use_is_on_record(lending: Lending) -> None:
    loan = lending.checked()
    charge = LoanCharge.objects.create(
        loan=loan, kind="used", component=lending.world.component("tibial", "2"), amount=Decimal(5),
        currency="GBP", claimed_at=NOW, claimed_by=lending.stores,
    )  # fmt: skip
    accepted = {"status": "accepted", "decided_at": NOW, "decided_by": lending.stores}
    own = LoanCharge.objects.filter(pk=charge.pk)
    assert "charge_without_use" in refused(lambda: own.update(**accepted))
    charge.uses.create(use_key="u1")
    own.update(**accepted)
    assert "charge_is_decided" in refused(lambda: own.update(amount=Decimal(9)))
    other = LoanCharge.objects.create(
        loan=loan, kind="used", component=charge.component, amount=Decimal(5), currency="GBP",
        claimed_at=NOW, claimed_by=lending.stores,
    )  # fmt: skip
    refused(lambda: other.uses.create(use_key="u1"))


def test_a_check_says_accepted_only_of_what_is_whole(lending: Lending) -> None:
    row = lending.arrived().sets.get()

    def check(**changes: object) -> None:
        given = {
            "loan_set": row, "number": 1, "at": NOW, "by": lending.stores, "contents_agree": True,
            "instructions": True, "certificate": True, "undamaged": True, "weight_grams": 10,
            "weight_limit_grams": 10, "outcome": "accepted",
        }  # fmt: skip
        LoanCheck.objects.create(**given | changes)

    for fault in ("contents_agree", "instructions", "certificate", "undamaged"):
        assert "loan_check" in refused(lambda fault=fault: check(**{fault: False}))
    assert "loan_check_accepted_whole" in refused(lambda: check(weight_grams=11))
    assert "loan_check_has_its_reason" in refused(lambda: check(outcome="refused"))
    assert "loan_check_instructions" in refused(
        lambda: check(outcome="exception", reason="no-instructions", instructions=False)
    )
    check()
