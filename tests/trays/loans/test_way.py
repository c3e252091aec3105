"""A loan from asking to its end, and what is refused on the way."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from tests.trays.loans.conftest import NEEDED, Lending, fresh
from tests.world import NOW
from trays.instruments.models import InstrumentSet, PackLine, PackState
from trays.instruments.queries import set_facts
from trays.loans import arriving, asking, charging, counting_out, queries
from trays.loans.arriving import SetCame
from trays.loans.charging import charge_accept, charge_claim
from trays.loans.models import Loan, LoanStep
from trays.loans.moving import loan_step_within
from trays.loans.ways import LoanStatus
from trays.parties.models import Tenure
from trays.processing import storing
from trays.stock.models import Unit, UnitState
from trays.stock.moving import lock_units, step_within
from trays.stock.returning import return_make, return_send
from trays.web.errors import NotAllowed, Refusal

S = LoanStatus


def walked(loan: Loan) -> list[str]:
    return list(LoanStep.objects.filter(loan=loan).order_by("sequence").values_list("after", flat=True))


def implant(unit: Unit) -> None:
    (own,) = lock_units([unit.pk])
    step_within(units=[own], state=UnitState.IMPLANTED)


def test_an_offer_is_asked_for_with_all_that_it_holds(lending: Lending) -> None:
    loan = lending.asked()
    assert (loan.status, loan.fee, loan.currency) == (S.ASKED, Decimal("320.00"), "GBP")
    assert loan.number == f"LN{loan.pk:05d}"
    (row,) = loan.sets.all()
    assert (row.design.code, row.unfamiliar, row.set) == ("blocks-large", True, None)
    assert sorted(loan.items.values_list("component__size", "quantity")) == [("2", 1), ("3", 1)]


def test_one_cause_has_one_open_loan_whatever_is_pressed_twice(lending: Lending) -> None:
    key = uuid4()
    first = asking.loan_ask(
        by=lending.stores, site=lending.world.site, wish=lending.wish(cause="case 17 blocks"), at=NOW,
        client_key=key,
    )  # fmt: skip
    again = asking.loan_ask(
        by=lending.stores, site=lending.world.site, wish=lending.wish(cause="case 17 blocks"), at=NOW,
        client_key=key,
    )  # fmt: skip
    assert first == again
    with pytest.raises(Refusal, match="asked-already"):
        lending.asked(cause="case 17 blocks")
    asking.loan_cancel(by=lending.stores, loan=first, reason="case-cancelled", at=NOW)
    assert lending.asked(cause="case 17 blocks").pk != first.pk


def test_from_asking_to_closing_everything_is_accounted_for(lending: Lending) -> None:
    loan = lending.processed()
    assert fresh(loan).status == S.CHECKED
    lending.used(loan)
    two, three = loan.units.order_by("unit__component__size_rank")
    implant(two.unit)
    lending.cleaned(loan)
    lending.count_out(loan, seen=[three.pk])
    lending.send_home(loan, carrier_reference="C-9")
    charging.charge_claim(
        by=lending.stores, loan=loan, kind="used", component=two.unit.component, amount=Decimal("410.00"),
        at=NOW,
    )  # fmt: skip
    charging.charge_accept(by=lending.stores, charge=loan.charges.get(), use_keys=["brought-1"], at=NOW)
    counting_out.loan_close(by=lending.stores, loan=loan, at=NOW)
    loan = fresh(loan)
    assert walked(loan) == [
        S.ASKED, S.CONFIRMED, S.ARRIVED, S.CHECKED, S.PROCESSED, S.IN_USE, S.DECONTAMINATED, S.COUNTED_OUT,
        S.RETURNED, S.CLOSED,
    ]  # fmt: skip
    assert loan.ended_at == NOW
    assert not loan.sets.filter(open=True).exists()
    assert dict(loan.units.values_list("unit__component__size", "how")) == {"2": "used", "3": "returned"}
    two.unit.refresh_from_db()
    three.unit.refresh_from_db()
    assert (two.unit.state, three.unit.state) == (UnitState.IMPLANTED, UnitState.RETURNED)
    assert {pack.state for pack in lending.packs(loan)} == {PackState.SENT_BACK}
    # It is told of no more among the site's sets, and which loan it came with stays known.
    assert "MF-07" not in {one.code for one in set_facts(site_ids=[loan.site_id])}
    set_id = loan.sets.get().set_id
    assert queries.loan_with_set(set_id=set_id, at=NOW) == loan
    assert list(queries.loans_of_case("17")) == [loan]


def test_what_came_is_not_sterile_whatever_its_wrap_says(lending: Lending) -> None:
    loan = lending.arrived()
    one = InstrumentSet.objects.get(code="MF-07")
    assert (one.tenure, one.owner, one.site) == (Tenure.LOANED, lending.world.supplier, loan.site)
    (pack,) = lending.packs(loan)
    assert pack.state == PackState.QUARANTINED
    with pytest.raises(Refusal, match="no-way"):
        storing.packs_issue(
            by=lending.department.technician, packs=[pack], place=lending.world.theatre, at=NOW
        )
    lending.check(loan)
    (pack,) = lending.packs(loan)
    assert pack.state == PackState.RECEIVED
    (facts,) = set_facts(site_ids=[loan.site_id], set_ids=[one.pk])
    assert not facts.ready_on(NOW.date())
    lending.make_sterile(loan)
    (facts,) = set_facts(site_ids=[loan.site_id], set_ids=[one.pk])
    assert facts.ready_on(NOW.date())


def test_sealed_units_are_stock_on_loan_from_the_scan_on(lending: Lending) -> None:
    loan = lending.arrived()
    unit = loan.units.first().unit
    assert (unit.tenure, unit.owner, unit.state) == (Tenure.LOANED, lending.world.supplier, UnitState.SHELF)
    assert queries.loan_with_unit(unit_id=unit.pk).loan == loan


def test_a_damaged_sealed_unit_is_taken_in_and_kept_from_use(lending: Lending) -> None:
    loan = lending.confirmed()
    arriving.loan_units_arrive(
        by=lending.stores, loan=loan, goods=lending.goods("2"), condition="damaged", at=NOW
    )
    assert loan.units.get().unit.state == UnitState.QUARANTINE


def test_a_set_whose_list_is_not_on_file_is_not_taken_in(lending: Lending) -> None:
    loan = lending.confirmed()
    loan.sets.get().design.versions.get().lines.all().delete()
    with pytest.raises(Refusal, match="no-contents-list"):
        lending.set_arrives(loan)
    assert not InstrumentSet.objects.exists()
    assert fresh(loan).status == S.CONFIRMED


def test_a_set_of_the_house_cannot_come_on_loan_under_its_code(lending: Lending) -> None:
    lending.world.a_set("blocks-large", "L-01")
    with pytest.raises(Refusal, match="set-known"):
        lending.set_arrives(lending.confirmed(), code="L-01")


def test_the_very_set_that_went_home_comes_again_with_its_history_and_is_made_sterile_anew(
    lending: Lending,
) -> None:
    first = lending.processed()
    lending.count_out(first)
    lending.send_home(first)
    number = lending.packs(first)[0].number
    lending.at = NOW + timedelta(days=1)
    second = lending.arrived(case_key="18")
    assert second.sets.get().unfamiliar is False
    (pack,) = lending.packs(second)
    assert (pack.number, pack.state) == (number, PackState.QUARANTINED)
    assert not PackLine.objects.filter(pack=pack).exists()
    lending.check(second)
    (pack,) = lending.packs(second)
    assert pack.state == PackState.RECEIVED
    assert [row.loan for row in queries.loans_of_sets([pack.set_id])] == [second, first]
    assert dict((one.loan.pk, one.status) for one in queries.late_or_due(site=first.site, at=NOW)) == {
        first.pk: S.RETURNED, second.pk: S.CHECKED,
    }  # fmt: skip


def test_one_set_is_not_on_two_loans_at_once(lending: Lending) -> None:
    lending.arrived()
    with pytest.raises(Refusal, match="set-known"):
        lending.arrived(case_key="18")


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ({"instructions": False}, "instructions"),
        ({"certificate": False}, "certificate"),
        ({"undamaged": False}, "damaged"),
        ({"weight_grams": 10_001}, "10.00 kg"),
    ],
)
def test_what_is_not_whole_is_not_simply_accepted(lending: Lending, found: dict, said: str) -> None:
    loan = lending.arrived()
    with pytest.raises(Refusal, match="check-not-whole") as refused:
        lending.check(loan, **found)
    assert said in refused.value.sentence
    assert fresh(loan).status == S.ARRIVED


def test_a_missing_line_is_accepted_with_exception_and_its_pack_holds_what_was_counted(
    lending: Lending,
) -> None:
    loan = lending.arrived()
    line = loan.sets.get().set.version.lines.get(number=2)
    with pytest.raises(Refusal, match="check-not-whole"):
        lending.check(loan, counted={line.pk: 3})
    with pytest.raises(Refusal, match="reason-missing"):
        lending.check(loan, "exception", counted={line.pk: 3})
    lending.check(loan, "exception", "incomplete", counted={line.pk: 3})
    assert fresh(loan).status == S.CHECKED
    assert PackLine.objects.get(line=line).present == 3
    assert loan.sets.get().checks.get().lines.get(line=line).expected == 4


def test_no_set_is_taken_without_its_makers_instructions(lending: Lending) -> None:
    with pytest.raises(Refusal, match="no-instructions"):
        lending.check(lending.arrived(), "exception", "no-instructions", instructions=False)


def test_a_refused_set_stays_apart_and_goes_home_with_its_units(lending: Lending) -> None:
    loan = lending.confirmed()
    lending.set_arrives(loan)
    lending.check(loan, "refused", "no-instructions", instructions=False)
    loan = fresh(loan)
    assert (loan.status, loan.end_reason, loan.ended_at) == (S.REFUSED, "no-instructions", None)
    assert {pack.state for pack in lending.packs(loan)} == {PackState.QUARANTINED}
    lending.send_home(loan)
    counting_out.loan_close(by=lending.stores, loan=loan, at=NOW)
    assert fresh(loan).ended_at == NOW


def test_instructions_that_are_sent_after_it_let_a_refused_set_be_checked_again(lending: Lending) -> None:
    loan = lending.confirmed()
    lending.set_arrives(loan)
    lending.check(loan, "refused", "no-instructions", instructions=False)
    lending.check(loan)
    loan = fresh(loan)
    assert (loan.status, loan.end_reason) == (S.CHECKED, "")
    assert [row.outcome for row in loan.sets.get().checks.order_by("number")] == ["refused", "accepted"]
    lending.make_sterile(loan)
    with pytest.raises(Refusal, match="set-has-moved-on"):
        lending.check(loan, "refused", "damaged", undamaged=False)


def test_the_supplier_may_say_no_and_we_may_give_it_up_while_nothing_is_here(lending: Lending) -> None:
    declined, given_up, here = lending.asked(), lending.confirmed(), lending.confirmed()
    asking.loan_refuse(by=lending.stores, loan=declined, reason="supplier-declined", at=NOW)
    asking.loan_cancel(by=lending.stores, loan=given_up, reason="case-moved", at=NOW)
    lending.units_arrive(here)
    with pytest.raises(Refusal, match="loan-is-here"):
        asking.loan_cancel(by=lending.stores, loan=here, reason="case-moved", at=NOW)
    for loan, status in ((declined, S.REFUSED), (given_up, S.CANCELLED)):
        assert (fresh(loan).status, fresh(loan).ended_at) == (status, NOW)
        with pytest.raises(Refusal, match="loan-ended"):
            lending.set_arrives(loan)


def test_a_used_set_is_not_counted_out_before_it_is_clean(lending: Lending) -> None:
    loan = lending.processed()
    lending.used(loan)
    with pytest.raises(Refusal, match="not-decontaminated"):
        lending.count_out(loan)
    assert queries.standings([fresh(loan)], site=loan.site, at=NOW)[0].status == S.IN_USE
    lending.to(loan, PackState.RECEIVED)
    with pytest.raises(Refusal, match="not-decontaminated"):
        lending.count_out(loan)
    # What could not be done left nothing on record.
    assert walked(loan)[-1] == S.CHECKED
    lending.department.washed(*lending.packs(loan))
    lending.count_out(loan)
    assert walked(loan)[-4:] == [S.PROCESSED, S.IN_USE, S.DECONTAMINATED, S.COUNTED_OUT]


def test_what_the_count_does_not_find_is_told_to_the_supplier_and_missing_from_then_on(
    lending: Lending,
) -> None:
    loan = lending.checked()
    two, three = loan.units.order_by("unit__component__size_rank")
    line = loan.sets.get().set.version.lines.get(number=2)
    lending.count_out(loan, seen=[two.pk], counted={loan.sets.get().pk: {line.pk: 1}})
    count = loan.counts.get()
    assert count.differences == 4
    assert sorted(count.lines.values_list("expected", "counted")) == [(1, 0), (4, 1)]
    with pytest.raises(Refusal, match="differences-not-told"):
        lending.send_home(loan)
    lending.send_home(loan, told=True)
    three.refresh_from_db()
    three.unit.refresh_from_db()
    assert (three.how, three.unit.state) == ("missing", UnitState.MISSING)


def test_what_went_back_before_by_a_return_is_not_missing_at_the_count_out(lending: Lending) -> None:
    loan = lending.checked()
    two, three = loan.units.order_by("unit__component__size_rank")
    back = return_make(by=lending.stores, units=[two.unit], why="exchange", at=NOW)
    return_send(by=lending.stores, back=back, note="damaged", at=NOW)
    lending.count_out(loan, seen=[three.pk])
    assert loan.counts.get().differences == 0
    lending.send_home(loan)
    assert set(loan.units.values_list("how", flat=True)) == {"returned"}


def test_sets_that_stayed_sterile_are_counted_out_though_a_unit_was_used(lending: Lending) -> None:
    loan = lending.processed()
    first, second = loan.units.order_by("pk")
    implant(first.unit)
    # As it stands once the use has been followed.
    loan_step_within(loan=fresh(loan), after=S.IN_USE, by=lending.stores, at=NOW)
    assert queries.countable(queries.standings([fresh(loan)], site=loan.site, at=NOW)[0])
    lending.count_out(loan, seen=[second.pk])
    assert (fresh(loan).status, loan.counts.get().differences) == (S.COUNTED_OUT, 0)


def test_the_hire_is_paid_up_to_what_was_agreed_and_no_further(lending: Lending) -> None:
    loan = lending.processed()
    type(loan).objects.filter(pk=loan.pk).update(fee=Decimal(95), currency=loan.site.currency)
    claims = [
        charge_claim(by=lending.stores, loan=fresh(loan), kind="hire", amount=Decimal(50), at=NOW)
        for _turn in range(2)
    ]
    first, second = loan.charges.order_by("pk")
    assert len(claims) == 2
    charge_accept(by=lending.stores, charge=first, at=NOW)
    with pytest.raises(Refusal, match="fee-differs"):
        charge_accept(by=lending.stores, charge=second, at=NOW)


def test_a_second_count_stands_for_the_first(lending: Lending) -> None:
    loan = lending.checked()
    lending.count_out(loan, seen=[])
    lending.count_out(loan)
    assert list(loan.counts.values_list("number", "differences")) == [(1, 2), (2, 0)]
    assert fresh(loan).status == S.COUNTED_OUT
    lending.send_home(loan)
    assert set(loan.units.values_list("how", flat=True)) == {"returned"}


def test_a_loan_of_sealed_units_alone_needs_no_sterile_services(lending: Lending) -> None:
    tibial = lending.world.component("tibial", "2")
    loan = lending.confirmed(offer=None, items=[(tibial, 2)])
    lending.units_arrive(loan, "2", 2)
    from trays.loans.checking import loan_units_check

    loan_units_check(by=lending.stores, loan=fresh(loan), at=NOW)
    first, second = loan.units.order_by("pk")
    implant(first.unit)
    lending.count_out(loan, seen=[second.pk])
    assert loan.counts.get().differences == 0
    lending.send_home(loan)
    assert fresh(loan).status == S.RETURNED


def test_a_second_set_that_comes_later_takes_the_loan_back_to_its_check(lending: Lending) -> None:
    design = lending.world.designs["blocks-small"]
    loan = lending.confirmed(offer=None, designs=[(design, 1), (lending.world.designs["blocks-large"], 1)])
    lending.set_arrives(loan, code="MF-01", number=1)
    lending.check(loan)
    assert fresh(loan).status == S.CHECKED
    lending.set_arrives(loan, code="MF-02", number=2)
    assert fresh(loan).status == S.ARRIVED
    row = loan.sets.get(number=2)
    from tests.trays.loans.conftest import WHOLE
    from trays.loans.checking import loan_check

    loan_check(by=lending.stores, loan_set=row, findings=WHOLE, outcome="refused", reason="wrong-set", at=NOW)
    assert fresh(loan).status == S.CHECKED


def test_who_has_no_such_role_does_nothing(lending: Lending) -> None:
    world = lending.world
    loan = lending.confirmed()
    row = loan.sets.get()
    for refused in (
        lambda: asking.loan_ask(by=world.cast.technician, site=world.site, wish=lending.wish(), at=NOW),
        lambda: asking.loan_cancel(by=world.cast.scrub, loan=loan, reason="not-needed", at=NOW),
        lambda: arriving.loan_arrive(
            by=world.cast.coordinator, loan=loan, came=[SetCame(row, "X1")], place=lending.department.hall,
            at=NOW,
        ),
        lambda: asking.loan_ask(by=world.cast.far_coordinator, site=world.site, wish=lending.wish(), at=NOW),
    ):  # fmt: skip
        with pytest.raises(NotAllowed, match="not-your-act"):
            refused()
    assert walked(loan) == [S.ASKED, S.CONFIRMED]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"offer": None}, "loan-of-nothing"),
        ({"needed_until": NEEDED - timedelta(hours=1)}, "needed-backwards"),
    ],
)
def test_a_wish_that_makes_no_sense_is_not_asked(lending: Lending, changes: dict, code: str) -> None:
    with pytest.raises(Refusal, match=code):
        lending.asked(**changes)
    assert not Loan.objects.exists()
