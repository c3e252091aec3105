"""Booking a case: what it makes, what it refuses, what it tells, and that it is done once."""

from datetime import datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from cases.bookings.models import (
    Case,
    CaseSlot,
    PlanFamily,
    Prediction,
    Procedure,
    ProcedurePlan,
    TheatreList,
)
from cases.bookings.queries import plan_book
from cases.bookings.services import case_enter, list_enter, list_open
from tests.cases.bookings.helping import TOMORROW, book, order_of, sized, verbs
from tests.world import NOW, TODAY, World
from trays.catalogue.models import Family
from trays.ledger.models import Event
from trays.staff.models import Person
from trays.web.errors import NotAllowed, Refusal

LONDON = ZoneInfo("Europe/London")


def test_a_booked_case_has_a_construct_its_slots_and_its_first_predictions(world: World) -> None:
    case = book(world, predictions={("right", "femoral"): sized(1, 2, confidence=0.8)}).case

    slots = CaseSlot.objects.filter(construct__case=case).order_by("plan_slot__number")
    assert [(slot.construct.side, slot.plan_slot.code, slot.family.code) for slot in slots] == [
        ("right", "femoral", "femoral-a"),
        ("right", "tibial", "tibial-a"),
        ("right", "insert", "insert-a"),
        ("right", "patellar", "patellar-a"),
    ]
    prediction = Prediction.objects.get()
    assert prediction.slot == slots[0]
    assert (prediction.low_rank, prediction.high_rank, prediction.confidence) == (1, 2, 0.8)
    assert (case.status, case.minutes, case.plan, case.late_entry) == ("booked", 100, world.plan, False)


def test_both_sides_are_two_constructs_of_one_case(world: World) -> None:
    case = book(world, sides=["right", "left"], predictions={("left", "tibial"): sized(0)}).case

    assert [one.side for one in case.constructs.all()] == ["left", "right"]
    assert CaseSlot.objects.filter(construct__case=case).count() == 8
    assert Prediction.objects.get().slot.construct.side == "left"


def test_one_event_tells_of_the_case_and_of_the_list_opened_for_it_and_names_nobody(world: World) -> None:
    case = book(world, reference="CASE-77").case

    event = Event.objects.get()
    assert (event.verb, event.actor, event.chain.code) == ("case.book", world.cast.coordinator, "larkmere")
    assert [(line.subject, line.subject_id, line.after) for line in event.lines.order_by("number")] == [
        ("list", case.list_id, "open"),
        ("case", case.pk, "booked"),
    ]
    assert "CASE-77" not in event.text + str(event.answer)
    book(world)
    assert [line.subject for line in Event.objects.latest("pk").lines.all()] == ["case"]


def test_cases_go_to_the_end_and_a_taken_position_moves_the_rest_down(world: World) -> None:
    first = book(world, reference="A").case
    book(world, reference="B")
    book(world, reference="C", position=1)
    book(world, reference="D", position=9)

    assert order_of(first.list) == ["1 C", "2 A", "3 B", "9 D"]


def test_a_start_that_nobody_gave_is_estimated_from_the_session_and_the_case_before(world: World) -> None:
    first = book(world, minutes=90).case
    second = book(world).case
    evening = book(world, session="evening", surgeon=None).case

    assert first.starts_at.astimezone(LONDON).strftime("%H:%M") == "08:30"
    assert second.starts_at == first.starts_at + timedelta(minutes=90 + 15)
    assert evening.starts_at.astimezone(LONDON).strftime("%H:%M") == "17:30"


def test_a_start_is_meant_by_the_clock_of_the_site(world: World) -> None:
    summer = datetime(2027, 7, 1, tzinfo=LONDON).date()
    case = book(world, day=summer).case

    assert case.starts_at.utcoffset() is not None
    assert Case.objects.get(pk=case.pk).starts_at.strftime("%H:%M") == "07:30"


def test_an_emergency_now_is_taken_at_once_wherever_it_overlaps(world: World) -> None:
    book(world, day=TODAY, starts_at=NOW + timedelta(minutes=10), reference="A")
    soon = NOW + timedelta(minutes=20)
    emergency = book(world, day=TODAY, starts_at=soon, position=1, urgency="emergency", reference="E")

    assert order_of(emergency.case.list) == ["1 E", "2 A"]
    assert not emergency.case.late_entry
    assert [notice.code for notice in emergency.notices] == ["overlap-theatre"]
    assert "A" in emergency.notices[0].sentence


def test_booked_today_without_a_start_it_does_not_start_before_now(world: World) -> None:
    noon = datetime(2026, 12, 7, 12, 0, 30, tzinfo=LONDON)
    booked = book(world, day=TODAY, at=noon, urgency="emergency")

    assert booked.case.starts_at == datetime(2026, 12, 7, 12, 1, tzinfo=LONDON)
    assert not booked.case.late_entry


def test_a_case_of_the_past_is_taken_as_a_late_entry(world: World) -> None:
    booked = book(world, day=TODAY - timedelta(days=3))

    assert booked.case.late_entry
    assert [notice.code for notice in booked.notices] == ["late-entry"]


def test_an_overlap_of_the_surgeon_in_another_theatre_is_told_and_touching_ends_are_not(world: World) -> None:
    first = book(world, minutes=60).case
    other = book(world, theatre=world.second_theatre, starts_at=first.starts_at + timedelta(minutes=30))
    touching = book(world, starts_at=first.starts_at + timedelta(minutes=60), minutes=10, surgeon=None)

    assert [notice.code for notice in other.notices] == ["overlap-surgeon"]
    assert touching.notices == ()


def test_the_surgeons_own_plan_comes_before_the_one_for_all(world: World) -> None:
    own = ProcedurePlan.objects.create(code="own", procedure=world.procedure, surgeon=world.cast.surgeon)

    assert book(world).case.plan == own
    assert book(world, surgeon=None).case.plan == world.plan


def test_a_slot_takes_the_first_family_that_fits_and_is_not_in_reserve(world: World) -> None:
    reserve = Family.objects.create(code="reserve", name="Reserve")
    second = Family.objects.create(code="second", name="Second")
    allowed = PlanFamily.objects.get(slot=world.slots["tibial"])
    allowed.number = 3
    allowed.save()
    slot = world.slots["tibial"]
    PlanFamily.objects.create(slot=slot, family=reserve, number=1, contingency=True, chance=0.1)
    PlanFamily.objects.create(slot=slot, family=second, number=2)

    tibial = CaseSlot.objects.get(construct__case=book(world).case, plan_slot=slot)
    assert tibial.family == second
    chosen = book(world, families={("right", "tibial"): world.families["tibial"]}).case
    assert CaseSlot.objects.get(construct__case=chosen, plan_slot=slot).family == world.families["tibial"]


def test_a_procedure_without_sides_has_one_construct_and_no_sided_family(world: World) -> None:
    spine = Procedure.objects.create(code="fix", name="Plate fixation", sided=False)
    plan = ProcedurePlan.objects.create(code="fix", procedure=spine)
    slot = plan.slots.create(number=1, code="plate", name="Plate")
    PlanFamily.objects.create(slot=slot, family=world.families["femoral"], number=1)
    with pytest.raises(Refusal) as refused:
        book(world, procedure=spine, sides=[])
    assert refused.value.code == "no-family-fits"

    PlanFamily.objects.create(slot=slot, family=world.families["tibial"], number=2)
    case = book(world, procedure=spine, sides=[], predictions={("none", "plate"): sized(3)}).case
    assert [one.side for one in case.constructs.all()] == ["none"]
    assert CaseSlot.objects.get(construct__case=case).family == world.families["tibial"]


REFUSED = {
    "side-missing": {"sides": []},
    "side-unknown": {"sides": ["upper"]},
    "side-twice": {"sides": ["left", "left"]},
    "side-not-booked": {"predictions": {("left", "femoral"): sized(1)}},
    "unknown-slot": {"predictions": {("right", "stem"): sized(1)}},
    "slot-not-predicted": {"predictions": {("right", "insert"): sized(1)}},
    "low-above-high": {"predictions": {("right", "femoral"): sized(2, 1)}},
    "outside-family": {"predictions": {("right", "femoral"): sized(1, 4)}},
    "method-unknown": {"predictions": {("right", "femoral"): sized(1, method="guess")}},
    "confidence-out-of-range": {"predictions": {("right", "femoral"): sized(1, confidence=0.0)}},
    "minutes-out-of-range": {"minutes": 0},
    "position-out-of-range": {"position": 0},
    "urgency-unknown": {"urgency": "soon"},
    "session-unknown": {"session": "night"},
    "start-off-the-day": {"starts_at": NOW},
    "day-too-far": {"day": TODAY.replace(year=2206)},
    "reference-unreadable": {"reference": "A\x00B"},
}


@pytest.mark.parametrize("code", REFUSED)
def test_bad_input_is_refused_by_its_code_with_a_next_step_and_nothing_is_saved(
    world: World, code: str
) -> None:
    with pytest.raises(Refusal) as refused:
        book(world, **REFUSED[code])

    assert refused.value.code == code
    assert refused.value.sentence.endswith(".")
    assert refused.value.next_step.endswith(".")
    assert not Case.objects.exists()
    assert not TheatreList.objects.exists()
    assert not Event.objects.exists()


def test_a_side_where_there_is_none_is_refused(world: World) -> None:
    Procedure.objects.update(sided=False)
    world.procedure.refresh_from_db()
    with pytest.raises(Refusal) as refused:
        book(world)
    assert refused.value.code == "side-not-needed"


def test_a_reference_is_taken_once_at_a_site_also_by_a_cancelled_case(world: World) -> None:
    book(world, reference="SAME")
    Case.objects.update(status="cancelled", cancel_reason="no_bed")
    with pytest.raises(Refusal) as refused:
        book(world, reference=" SAME ")
    assert refused.value.code == "duplicate-reference"
    assert "SAME" in refused.value.sentence


def test_a_procedure_without_a_plan_on_file_is_refused_with_the_way_on(world: World) -> None:
    ProcedurePlan.objects.update(surgeon=world.cast.surgeon)
    with pytest.raises(Refusal) as refused:
        book(world, surgeon=None)
    assert refused.value.code == "no-plan"
    assert "plan" in refused.value.next_step


def test_a_family_that_the_plan_does_not_allow_is_refused(world: World) -> None:
    with pytest.raises(Refusal) as refused:
        book(world, families={("right", "tibial"): world.families["femoral"]})
    assert refused.value.code == "family-not-in-plan"


def test_a_place_that_is_no_theatre_has_no_list(world: World) -> None:
    with pytest.raises(Refusal) as refused:
        list_open(by=world.cast.coordinator, theatre=world.shelf, day=TOMORROW, session="all_day", at=NOW)
    assert refused.value.code == "not-a-theatre"


def test_the_same_client_key_books_once_and_gives_the_same_case_again(world: World) -> None:
    key = uuid4()
    first = book(world, client_key=key, reference="ONCE")
    again = book(world, client_key=key, reference="ONCE")

    assert again.case == first.case
    assert Case.objects.count() == 1
    assert verbs() == ["case.book"]


def test_a_key_that_was_used_by_somebody_else_is_refused(world: World) -> None:
    key = uuid4()
    book(world, client_key=key)
    with pytest.raises(Refusal) as refused:
        book(world, client_key=key, by=world.cast.surgeon)
    assert refused.value.code == "key-used-before"


@pytest.mark.parametrize("name", ["technician", "scrub", "stores", "quality", "supplier", "stranger"])
def test_who_may_not_book_is_refused(world: World, name: str) -> None:
    with pytest.raises(NotAllowed):
        book(world, by=getattr(world.cast, name))
    assert not Case.objects.exists()


def test_a_coordinator_books_only_at_their_own_site(world: World) -> None:
    with pytest.raises(NotAllowed):
        book(world, by=world.cast.far_coordinator)


def test_a_list_is_opened_once(world: World) -> None:
    facts = {"by": world.cast.coordinator, "theatre": world.theatre, "day": TOMORROW, "at": NOW}
    key = uuid4()
    opened = list_open(**facts, session="morning", client_key=key)

    assert list_open(**facts, session="morning") == opened
    assert list_open(**facts, session="morning", client_key=key) == opened
    assert verbs() == ["list.open"]


def test_the_half_for_importers_writes_no_event_and_reads_no_plan_again(
    world: World, django_assert_max_num_queries: object
) -> None:
    plans = plan_book()
    theatre_list, opened = list_enter(theatre=world.theatre, day=TOMORROW, session="all_day", at=NOW)

    def enter(number: int) -> tuple[str, ...]:
        entered = case_enter(
            by=world.cast.stores, theatre_list=theatre_list, procedure=world.procedure, surgeon=None,
            reference=f"I{number}", sides=["left"], at=NOW, predictions={("left", "femoral"): sized(1)},
            plans=plans,
        )  # fmt: skip
        return tuple(line.after for line in entered.lines)

    assert [line.after for line in opened] == ["open"]
    enter(0)
    with django_assert_max_num_queries(11):  # type: ignore[operator]
        # reference free, lock, positions, case before, case, constructs, slots, predictions, sites, overlaps
        assert enter(1) == ("booked",)
    assert not Event.objects.exists()


def test_the_person_who_booked_stands_on_the_case(world: World) -> None:
    case = book(world, by=world.cast.surgeon).case
    assert case.booked_by == Person.objects.get(username="surgeon")
    assert case.booked_at == NOW
