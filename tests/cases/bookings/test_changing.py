"""Changing a booked case, and adding predictions to it."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction

from cases.bookings.kinds import PredictedSize
from cases.bookings.models import CaseSlot, PlanFamily, Prediction, ProcedurePlan
from cases.bookings.services import case_change, prediction_add
from tests.cases.bookings.helping import book, sized, verbs
from tests.world import NOW, World
from trays.catalogue.models import Component, Family
from trays.ledger.models import Event
from trays.staff.models import Person
from trays.web.errors import NotAllowed, Refusal

LATER = NOW + timedelta(hours=1)


def slot_of(case: object, code: str) -> CaseSlot:
    return CaseSlot.objects.get(construct__case=case, plan_slot__code=code)


def another_family(world: World, *, sizes: tuple[str, ...]) -> Family:
    """A second tibial family of the plan with these sizes."""
    family = Family.objects.create(code="tibial-b", name="Tibial component B")
    PlanFamily.objects.create(slot=world.slots["tibial"], family=family, number=2)
    for rank, size in enumerate(sizes):
        Component.objects.create(
            family=family, code=f"tb-{size}", name=size, size=size, size_rank=rank, supplier=world.supplier
        )
    return family


def test_what_is_left_out_stays_and_what_is_given_changes(world: World) -> None:
    case = book(world, minutes=90).case
    changed = case_change(
        by=world.cast.coordinator, case=case, at=LATER, minutes=120, reference="NEW-1", surgeon=None
    ).case

    changed.refresh_from_db()
    assert (changed.minutes, changed.reference, changed.surgeon) == (120, "NEW-1", None)
    assert changed.starts_at == case.starts_at
    assert verbs() == ["case.book", "case.change"]
    assert "NEW-1" not in Event.objects.latest("pk").text


def test_a_start_moved_onto_another_case_is_told_not_refused(world: World) -> None:
    first = book(world).case
    second = book(world).case
    changed = case_change(by=world.cast.coordinator, case=second, at=LATER, starts_at=first.starts_at)
    assert [notice.code for notice in changed.notices] == ["overlap-theatre"]


def test_a_new_surgeon_with_another_plan_leaves_the_plan_and_is_told(world: World) -> None:
    other = Person.objects.create(username="other", name="Mr Other", password="!")
    ProcedurePlan.objects.create(code="others", procedure=world.procedure, surgeon=other)
    case = book(world).case
    changed = case_change(by=world.cast.coordinator, case=case, at=LATER, surgeon=other)

    assert changed.case.plan_id == world.plan.pk
    assert [notice.code for notice in changed.notices] == ["plan-stays"]


def test_another_family_takes_the_prediction_along_by_the_words_of_its_sizes(world: World) -> None:
    family = another_family(world, sizes=("0", "1", "2", "3"))
    case = book(world, predictions={("right", "tibial"): sized(1, 2, confidence=0.7)}).case
    slot = slot_of(case, "tibial")
    changed = case_change(by=world.cast.coordinator, case=case, at=LATER, families={slot.pk: family})

    slot.refresh_from_db()
    assert slot.family == family
    ranks = slot.predictions.order_by("made_at").values_list("low_rank", "high_rank", "confidence")
    assert list(ranks) == [(1, 2, 0.7), (2, 3, 0.7)]
    assert [notice.code for notice in changed.notices] == ["sizes-carried-over"]


def test_a_family_without_the_predicted_sizes_is_refused_and_nothing_changes(world: World) -> None:
    family = another_family(world, sizes=("small", "large"))
    case = book(world, predictions={("right", "tibial"): sized(1)}).case
    slot = slot_of(case, "tibial")
    with pytest.raises(Refusal) as refused:
        case_change(by=world.cast.coordinator, case=case, at=LATER, minutes=5, families={slot.pk: family})

    assert refused.value.code == "sizes-do-not-carry-over"
    slot.refresh_from_db()
    case.refresh_from_db()
    assert (slot.family.code, case.minutes) == ("tibial-a", 100)


@pytest.mark.parametrize("status", ["opened", "cancelled"])
def test_only_a_booked_case_changes(world: World, status: str) -> None:
    case = book(world).case
    case.status, case.cancel_reason = status, "no_bed"
    case.save()
    for act in (
        lambda: case_change(by=world.cast.coordinator, case=case, at=LATER, minutes=30),
        lambda: prediction_add(
            by=world.cast.coordinator, case=case, at=LATER, predictions={slot_of(case, "tibial").pk: sized(1)}
        ),
    ):
        with pytest.raises(Refusal) as refused:
            act()
        assert refused.value.code == "not-booked-any-more"


@pytest.mark.parametrize(
    ("code", "given"),
    [
        ("minutes-out-of-range", {"minutes": 5000}),
        ("start-off-the-day", {"starts_at": NOW - timedelta(days=2)}),
        ("reference-unreadable", {"reference": " "}),
        ("urgency-unknown", {"urgency": "now"}),
    ],
)
def test_a_bad_change_is_refused_whole(world: World, code: str, given: dict[str, object]) -> None:
    case = book(world).case
    with pytest.raises(Refusal) as refused:
        case_change(by=world.cast.coordinator, case=case, at=LATER, surgeon=None, **given)  # type: ignore[arg-type]
    assert refused.value.code == code
    case.refresh_from_db()
    assert case.surgeon == world.cast.surgeon


def test_a_reference_of_another_case_is_refused(world: World) -> None:
    book(world, reference="TAKEN")
    case = book(world).case
    with pytest.raises(Refusal) as refused:
        case_change(by=world.cast.coordinator, case=case, at=LATER, reference="TAKEN")
    assert refused.value.code == "duplicate-reference"


def test_a_prediction_is_added_beside_those_before_and_the_database_keeps_them(world: World) -> None:
    case = book(world, predictions={("right", "femoral"): sized(1)}).case
    slot = slot_of(case, "femoral")
    added = prediction_add(
        by=world.cast.surgeon, case=case, predictions={slot.pk: sized(2, 3, method="ct_template")}, at=LATER
    )

    assert list(slot.predictions.order_by("made_at").values_list("low_rank", flat=True)) == [1, 2]
    assert [row.method for row in added] == ["ct_template"]
    line = Event.objects.get(verb="prediction.add").lines.get(subject="slot")
    assert (line.subject, line.subject_id, line.after) == ("slot", slot.pk, "2-3 ct_template")
    with pytest.raises(DatabaseError), transaction.atomic():
        Prediction.objects.filter(slot=slot).update(low_rank=0)


def test_predictions_are_added_once_for_one_key(world: World) -> None:
    case = book(world).case
    key = uuid4()
    facts = {"by": world.cast.surgeon, "case": case, "at": LATER, "client_key": key}
    predictions = {slot_of(case, "femoral").pk: sized(1), slot_of(case, "tibial").pk: sized(1)}
    first = prediction_add(**facts, predictions=predictions)  # type: ignore[arg-type]
    again = prediction_add(**facts, predictions=predictions)  # type: ignore[arg-type]

    assert sorted(row.pk for row in first) == [row.pk for row in again]
    assert Prediction.objects.count() == 2


@pytest.mark.parametrize(
    ("code", "slot", "predicted"),
    [
        ("low-above-high", "femoral", sized(3, 2)),
        ("outside-family", "tibial", sized(0, 9)),
        ("slot-not-predicted", "insert", sized(1)),
        ("method-unknown", "femoral", sized(1, method="")),
        ("confidence-out-of-range", "femoral", sized(1, confidence=1.5)),
    ],
)
def test_a_prediction_that_cannot_be_is_refused(
    world: World, code: str, slot: str, predicted: PredictedSize
) -> None:
    case = book(world).case
    with pytest.raises(Refusal) as refused:
        prediction_add(
            by=world.cast.surgeon, case=case, at=LATER, predictions={slot_of(case, slot).pk: predicted}
        )
    assert refused.value.code == code
    assert not Prediction.objects.exists()


def test_a_slot_of_another_case_and_no_slot_at_all_are_refused(world: World) -> None:
    case, other = book(world).case, book(world).case
    for code, predictions in (
        ("no-such-slot", {slot_of(other, "femoral").pk: sized(1)}),
        ("nothing-predicted", {}),
    ):
        with pytest.raises(Refusal) as refused:
            prediction_add(by=world.cast.surgeon, case=case, at=LATER, predictions=predictions)
        assert refused.value.code == code


@pytest.mark.parametrize("name", ["technician", "scrub", "stores", "stranger", "far_coordinator"])
def test_who_may_not_change_or_predict_is_refused(world: World, name: str) -> None:
    case = book(world).case
    by = getattr(world.cast, name)
    with pytest.raises(NotAllowed):
        case_change(by=by, case=case, at=LATER, minutes=30)
    with pytest.raises(NotAllowed):
        prediction_add(by=by, case=case, at=LATER, predictions={})
