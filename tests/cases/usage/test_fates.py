"""Each piece ends in one fate; stock and title follow; a mistake is put right beside what it corrects."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cases.forecasts.models import Outcome
from cases.reservations.hold import units_hold
from cases.usage.bringing import box_take_down, unit_bring_in
from cases.usage.deciding import explant_record, stop_moment_record
from cases.usage.exempting import card_exempt_set
from cases.usage.fates import WITH_WHY, card_record, fate_correct, fate_record
from cases.usage.kinds import Scanned
from cases.usage.marking import mark_clear
from cases.usage.models import Brought, Fate, MarkKind, Why
from cases.usage.queries import brought_before, brought_of, chase_list
from tests.cases.usage.conftest import SAID, Table
from tests.world import NOW
from trays.catalogue.models import PackLevel
from trays.ledger.models import EventLine
from trays.ledger.queries import verify
from trays.parties.models import Tenure
from trays.stock.models import Pile, Unit
from trays.stock.services import Goods, pile_receive
from trays.stock.verify import stock_faults
from trays.web.errors import Refusal


def fate(table: Table, brought: Brought, what: str, **more: object) -> Brought:
    return fate_record(by=table.by, brought=brought, fate=what, at=NOW, **more)  # type: ignore[arg-type]


def of(brought: Brought) -> Unit:
    return Unit.objects.get(pk=brought.unit_id)


@pytest.mark.parametrize(
    ("what", "why", "state", "title"),
    [
        (Fate.IMPLANTED, "", "implanted", True),
        (Fate.IMPLANTED_REMOVED, Why.DID_NOT_FIT, "wasted", True),
        (Fate.WASTED, Why.DROPPED, "wasted", True),
        (Fate.WASTED, Why.FAULTY, "wasted", False),
    ],
)
def test_use_passes_the_title_of_a_suppliers_unit_and_a_fault_of_theirs_does_not(
    table: Table, what: str, why: str, state: str, title: bool
) -> None:
    brought = fate(table, table.bring("femoral", tenure=Tenure.CONSIGNED), what, why=why)
    unit = of(brought)
    whose = table.world.hospital if title else table.world.supplier
    assert (unit.state, unit.owner, brought.title_passed) == (state, whose, title)
    # What it was before stays with the fact, for the bill.
    assert (brought.owner, brought.tenure) == (table.world.supplier, "consigned")
    lines = EventLine.objects.filter(subject="title")
    assert [(line.before, line.after) for line in lines] == ([("MER", "LOC")] if title else [])
    assert stock_faults() == []


def test_what_comes_back_sealed_is_on_its_shelf_again_and_may_go_to_another_case(table: Table) -> None:
    brought = table.bring("femoral", opened=False)
    fate(table, brought, Fate.RETURNED_SEALED)
    unit = of(brought)
    assert (unit.state, unit.place, unit.owner) == ("shelf", table.world.shelf, table.world.hospital)
    table.case = table.world.a_case(hour=14)
    assert table.bring_unit(unit).unit == unit and stock_faults() == []


def test_sealed_though_taken_down_as_opened_is_looked_at_first(table: Table) -> None:
    brought = fate(table, table.bring("femoral"), Fate.RETURNED_SEALED)
    assert of(brought).state == "quarantine" and of(brought).set_apart.get().cause == "unsure"
    assert brought.marks.filter(kind=MarkKind.NOT_SEALED).exists() and stock_faults() == []


def test_waste_has_a_reason_and_another_reason_its_words(table: Table) -> None:
    brought = table.bring("femoral")
    for why, words, code in (("", "", "why-missing"), (Why.OTHER, " ", "say-why")):
        with pytest.raises(Refusal) as refused:
            fate(table, brought, Fate.WASTED, why=why, why_words=words)
        assert refused.value.code == code
    assert fate(table, brought, Fate.WASTED, why=Why.OTHER, why_words="lid stuck").why_words == "lid stuck"


def test_a_fate_is_set_once_and_a_mistake_is_put_right_beside_it(table: Table) -> None:
    first = fate(table, table.bring("femoral", tenure=Tenure.CONSIGNED), Fate.IMPLANTED)
    with pytest.raises(Refusal) as refused:
        fate(table, first, Fate.WASTED, why=Why.DROPPED)
    assert refused.value.code == "fate-known"
    second = fate_correct(by=table.by, brought=first, fate=Fate.WASTED, why=Why.FAULTY, at=NOW)
    assert (second.corrects, second.number) == (first, 2)
    assert of(second).state == "wasted" and of(second).owner == table.world.supplier
    third = fate_correct(by=table.by, brought=second, fate=Fate.RETURNED_SEALED, at=NOW)
    assert of(third).state == "quarantine" and stock_faults() == []
    fourth = fate_correct(by=table.by, brought=third, fate=Fate.IMPLANTED, at=NOW)
    assert of(fourth).state == "implanted" and of(fourth).owner == table.world.hospital
    assert [one.number for one in brought_of(table.case)] == [4]
    assert [one.number for one in brought_before(table.case)] == [1, 2, 3]
    with pytest.raises(Refusal) as stale:
        fate_correct(by=table.by, brought=first, fate=Fate.IMPLANTED, at=NOW)
    assert stale.value.code == "corrected-meanwhile"
    assert stock_faults() == [] and verify() == []


def test_it_cannot_be_corrected_once_it_lies_on_another_table(table: Table) -> None:
    sealed = fate(table, table.bring("femoral", opened=False), Fate.RETURNED_SEALED)
    table.case = table.world.a_case(hour=14)
    table.bring_unit(of(sealed))
    with pytest.raises(Refusal) as refused:
        fate_correct(by=table.by, brought=sealed, fate=Fate.IMPLANTED, at=NOW)
    assert refused.value.code == "brought-elsewhere" and table.case.reference in refused.value.sentence


def test_a_card_is_given_or_the_sites_list_says_that_there_is_none(table: Table) -> None:
    card_exempt_set(by=table.world.cast.quality, site=table.world.site, slots=["patellar"], at=NOW)
    assert fate(table, table.bring("patellar"), Fate.IMPLANTED).card == "not_applicable"
    femoral = fate(table, table.bring("femoral"), Fate.IMPLANTED)
    assert femoral.card == ""
    assert card_record(by=table.by, brought=femoral, card="given", at=NOW).card == "given"
    with pytest.raises(Refusal) as refused:
        card_record(by=table.by, brought=femoral, card="not_applicable", at=NOW)
    assert refused.value.code == "card-known"


def test_implanting_without_a_stop_moment_is_marked_and_with_one_is_not(table: Table) -> None:
    early = fate(table, table.bring("tibial"), Fate.IMPLANTED)
    assert set(early.marks.values_list("kind", flat=True)) == {MarkKind.NO_STOP}
    femoral = table.bring("femoral")
    stop = stop_moment_record(by=table.by, construct=table.construct(), said=["side", "pairs"], at=NOW)
    assert (stop.complete, stop.said, stop.fits) == (False, ["side", "pairs"], "allowed")
    assert femoral.lot in stop.content and "Insert" in stop.content
    assert not fate(table, femoral, Fate.IMPLANTED).marks.exists()


def test_consumables_leave_their_pile_and_come_back_to_it_sealed(table: Table) -> None:
    goods = Goods(
        component=table.world.component("consumable", "blade-1"), owner=table.world.hospital,
        tenure=Tenure.OWNED, place=table.world.shelf, lot="B1", expires=None,
    )  # fmt: skip
    pile_receive(by=table.world.cast.stores, site=table.world.site, goods=goods, pieces=5, at=NOW)
    label = Scanned(raw=b"blade", device="blade", lot="B1")
    PackLevel.objects.create(code="blade", component=goods.component)
    used = unit_bring_in(by=table.by, case=table.case, scanned=label, at=NOW)
    sealed = unit_bring_in(by=table.by, case=table.case, scanned=label, at=NOW, another=True, opened=False)
    assert Pile.objects.get().quantity == 3 and (used.construct, used.fits) == (table.construct(), "no_pair")
    fate(table, sealed, Fate.RETURNED_SEALED)
    fate(table, used, Fate.IMPLANTED)
    assert Pile.objects.get().quantity == 4 and stock_faults() == []


def test_what_is_chased_leaves_the_list_when_somebody_says_what_came_of_it(table: Table) -> None:
    box_take_down(by=table.by, case=table.case, at=NOW, scanned=Scanned(raw=b"?", lot="Q", described="Screw"))
    (mark,) = chase_list(table.world.site)
    stores = table.world.cast.technician
    with pytest.raises(Refusal):
        mark_clear(by=stores, mark=mark, words=" ", at=NOW)
    assert mark_clear(by=stores, mark=mark, words="Ordered under another code", at=NOW).cleared_by == stores
    assert chase_list(table.world.site) == []
    with pytest.raises(Refusal):
        mark_clear(by=stores, mark=mark, words="again", at=NOW)


def test_what_came_out_is_taken_down_and_put_right_by_a_further_entry(table: Table) -> None:
    wrong = explant_record(
        by=table.by, case=table.case, construct=table.construct(), what="Femoral, loose", at=NOW
    )
    right = explant_record(
        by=table.by,
        case=table.case,
        construct=table.construct(),
        what="Tibial, loose",
        at=NOW,
        corrects=wrong,
    )
    assert list(table.case.explants.filter(corrected_by=None)) == [right]
    with pytest.raises(Refusal):
        explant_record(by=table.by, case=table.case, construct=None, what="x", at=NOW, corrects=wrong)


def test_a_fate_sent_twice_is_there_once(table: Table) -> None:
    brought, key = table.bring("femoral"), uuid4()
    assert fate(table, brought, Fate.IMPLANTED, client_key=key) == fate(
        table, brought, Fate.IMPLANTED, client_key=key
    )
    assert EventLine.objects.filter(subject="brought", after="implanted").count() == 1


STEPS = st.lists(
    st.tuples(st.integers(0, 5), st.sampled_from(["bring", "sealed", *Fate.values]), st.booleans()),
    min_size=1,
    max_size=14,
)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_whatever_is_done_each_unit_has_one_fate_and_stock_is_the_sum_of_its_lines(
    table: Table, steps: list[tuple[int, str, bool]]
) -> None:
    """Units of one lot are brought in, ended, corrected and brought into another case, in any order."""
    own_case = table.case
    with transaction.atomic():
        units = table.stock("tibial", count=4, tenure=Tenure.CONSIGNED)
        serials = [table.stock("femoral", serial=f"S{n}")[0] for n in range(2)]
        units_hold(by=table.world.cast.coordinator, units=units[:2], case=table.case, at=NOW)
        cases = (own_case, table.world.a_case(hour=14))
        for which, what, second in steps:
            table.case = cases[second]
            unit = [*units, *serials][which]
            row = Brought.objects.filter(unit=unit, replaced_at=None).order_by("-pk").first()
            try:
                if what in ("bring", "sealed"):
                    table.bring_unit(unit, opened=what == "bring", another=True, override=SAID)
                elif row is not None:
                    act = fate_correct if row.fate else fate_record
                    why = Why.FAULTY if second else Why.DROPPED
                    at = NOW + timedelta(minutes=1)
                    act(by=table.by, brought=row, fate=what, why=why if what in WITH_WHY else "", at=at)
            except Refusal as refusal:
                assert refusal.code in (
                    "brought-already",
                    "seen-before",
                    "unit-not-on-file",
                    "brought-elsewhere",
                )
        for unit in Unit.objects.filter(pk__in=[one.pk for one in (*units, *serials)]):
            standing = [row for row in Brought.objects.filter(unit=unit, replaced_at=None)]
            taken = [row for row in standing if row.fate != Fate.RETURNED_SEALED]
            assert len(taken) <= 1
            ended = {"implanted": Fate.IMPLANTED}.get(unit.state)
            assert ended is None or taken[0].fate == ended
            ours = unit.owner == table.world.hospital
            assert ours == (unit in serials or any(row.title_passed for row in taken))
        assert stock_faults() == [] and verify() == []
        transaction.set_rollback(True)
    table.case = own_case


def test_no_outcome_is_written_before_the_case_is_closed(table: Table) -> None:
    fate(table, table.bring("femoral"), Fate.IMPLANTED)
    assert not Outcome.objects.exists()
