"""How stages begin and end: not done in an emergency, handed over at a relief, counted again on request."""

from datetime import timedelta

import pytest

from cases.bookings.models import Case
from cases.counts import opening, staging
from cases.counts.models_counts import Stage, TheatreCount
from cases.counts.models_templates import CountTemplate
from cases.counts.paper_entry import PaperName, paper_entered
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.world import World
from trays.ledger.models import Event
from trays.staff.models import Person, Role
from trays.web.errors import NotAllowed, Refusal

pytestmark = pytest.mark.django_db


@pytest.fixture
def theatre(world: World) -> Theatre:
    return a_theatre(world)


@pytest.fixture
def relief(world: World) -> Person:
    one = Person.objects.create(username="relief", name="R. Relief", password="!")
    Role.objects.create(person=one, kind=Role.Kind.SCRUB_NURSE, site=world.site)
    return one


def words(theatre: Theatre) -> list[tuple[str, str, str]]:
    return [(stage.mark, stage.word, stage.state) for stage in theatre.state().stages]


def test_a_case_opened_twice_is_opened_once(theatre: Theatre) -> None:
    events = Event.objects.count()
    theatre.open()
    assert TheatreCount.objects.count() == 1
    assert Event.objects.count() == events
    assert Case.objects.get(pk=theatre.case.pk).status == Case.Status.OPENED


def test_a_cancelled_case_is_not_opened(world: World) -> None:
    theatre = a_theatre(world, opened=False)
    Case.objects.update(status="cancelled", cancel_reason="ill")
    with pytest.raises(Refusal, match="case-not-open"):
        theatre.open()
    assert not CountTemplate.objects.exists()


def test_who_may_not_count_opens_nothing(world: World) -> None:
    theatre = a_theatre(world, opened=False)
    with pytest.raises(NotAllowed):
        opening.case_open(by=world.cast.stores, case=theatre.case, at=theatre.now)


def test_one_stage_at_a_time(theatre: Theatre) -> None:
    theatre.begin("First")
    with pytest.raises(Refusal, match="another-stage-open"):
        theatre.begin("Cavity")
    with pytest.raises(Refusal, match="stage-not-open"):
        theatre.close("Cavity")


def test_the_two_who_agree_are_two(theatre: Theatre) -> None:
    theatre.begin("First")
    theatre.count_right("First")
    with pytest.raises(Refusal, match="same-person"):
        theatre.close("First", circulating=theatre.scrub)


def test_an_emergency_is_written_down_with_its_reason_and_what_follows(theatre: Theatre) -> None:
    facts = {"stage": theatre.stage("First").pk, "reason": "Bleeding", "decided_by": "Ms Surgeon"}
    with pytest.raises(Refusal, match="follow-up-missing"):
        staging.stage_not_done(**theatre.said(**facts, follow_up=" "))
    staging.stage_not_done(**theatre.said(**facts, follow_up="X-ray before the patient leaves"))
    stage = theatre.state().stage(theatre.stage("First").pk)
    assert (stage.state, stage.reason, stage.decided_by) == ("not_done", "Bleeding", "Ms Surgeon")
    codes = [gap.code for gap in theatre.state().gaps if gap.stage == stage.pk]
    assert codes == ["follow-up-open", "unsigned"]
    staging.follow_up_done(**theatre.said(stage=stage.pk, note="X-ray: nothing seen"))
    codes = [gap.code for gap in theatre.state().gaps if gap.stage == stage.pk]
    assert codes == ["unsigned"]
    with pytest.raises(Refusal, match="followed-already"):
        staging.follow_up_done(**theatre.said(stage=stage.pk, note="Again"))


def test_a_relief_brings_a_hand_over_count_after_what_has_been_done(theatre: Theatre, relief: Person) -> None:
    theatre.whole_stage("First")
    made = staging.hand_over(**theatre.said(seat="scrub_nurse", to=relief))
    assert words(theatre) == [
        ("1", "First count", "closed"), ("H", "Hand-over", "waiting"), ("2", "Cavity or joint", "waiting"),
        ("3", "Final count", "waiting"),
    ]  # fmt: skip
    state = theatre.state()
    assert (state.next, state.scrub.name if state.scrub else "") == (made.stage_id, "R. Relief")
    assert state.hand_overs[0].before == "S. Scrub"
    assert theatre.whole_stage("Hand-over").scrub == theatre.scrub
    staging.hand_over(**theatre.said(seat="scrub_nurse", to=theatre.scrub))
    assert [mark for mark, _word, _state in words(theatre)] == ["1", "H", "H2", "2", "3"]


def test_a_relief_in_the_middle_calls_the_class_under_way_again(theatre: Theatre, relief: Person) -> None:
    theatre.begin("First")
    theatre.add("Gauze", 5)
    staging.hand_over(**theatre.said(seat="circulating_nurse", to=relief))
    assert theatre.state().line(theatre.line("Gauze").pk).said == "to count"


def test_nobody_takes_over_from_themselves_or_holds_both_places(theatre: Theatre) -> None:
    for to, code in ((theatre.scrub, "counts-already"), (theatre.circulating, "same-person")):
        with pytest.raises(Refusal, match=code):
            staging.hand_over(**theatre.said(seat="scrub_nurse", to=to))


def test_any_member_may_ask_for_one_more_count(theatre: Theatre) -> None:
    theatre.whole_stage("First")
    theatre.whole_stage("Cavity")
    theatre.whole_stage("Final")
    staging.count_ask(**theatre.said())
    assert words(theatre)[-1] == ("E", "Extra count", "waiting")
    assert "stage-open" in [gap.code for gap in theatre.state().gaps]
    theatre.whole_stage("Extra")


def test_what_comes_on_after_the_final_count_asks_for_one_more(theatre: Theatre) -> None:
    for word in ("First", "Cavity", "Final"):
        theatre.whole_stage(word)
    theatre.add("Blade", 1)
    assert "changed-since" in [gap.code for gap in theatre.state().gaps]
    staging.count_ask(**theatre.said())
    theatre.whole_stage("Extra")
    assert {gap.code for gap in theatre.state().gaps} == {"unsigned"}


# From paper


def from_paper(theatre: Theatre, **more: object) -> Stage:
    facts = {
        "stage": theatre.stage("First").pk, "figures": {}, "paper_at": theatre.now - timedelta(hours=2),
        "scrub": PaperName("S. Scrub", theatre.scrub), "circulating": PaperName("P. Agency"),
        "sheet": "CS-00007",
        **more,
    }  # fmt: skip
    return paper_entered(**theatre.said(**facts))


def test_paper_is_entered_late_with_its_own_time_and_signers(theatre: Theatre) -> None:
    gauze, blade = theatre.line("Gauze").pk, theatre.line("Blade").pk
    stage = from_paper(theatre, came_on={gauze: 10}, figures={gauze: 10, blade: 0}, rest_right=True)
    shown = theatre.state().stage(stage.pk)
    assert (shown.state, shown.late, shown.paper_sheet) == ("closed", True, "CS-00007")
    assert shown.scrub is not None and shown.scrub.pk == theatre.scrub.pk
    assert shown.circulating is not None
    assert (shown.circulating.pk, shown.circulating.name) == (None, "P. Agency")
    entry = theatre.state().line(gauze).entries[stage.pk]
    assert (entry.basis, entry.paper_at) == ("paper", shown.paper_at)
    event = Event.objects.order_by("-pk")[0]
    assert (event.happened_at, event.recorded_at) == (shown.paper_at, theatre.now)


def test_paper_that_differs_leaves_the_stage_open_to_be_settled(theatre: Theatre) -> None:
    gauze = theatre.line("Gauze").pk
    stage = from_paper(theatre, came_on={gauze: 10}, figures={gauze: 9}, rest_right=True)
    assert stage.state == "open"
    one = theatre.differs("First", "Gauze")
    theatre.steps(one, 1, 2, 3, 4, 5)
    theatre.settle(one, "not_found_xray")
    assert from_paper(theatre).state == "closed"


def test_paper_of_tomorrow_is_refused(theatre: Theatre) -> None:
    with pytest.raises(Refusal, match="paper-in-future"):
        from_paper(theatre, paper_at=theatre.now + timedelta(days=1))


def test_a_coordinator_may_enter_paper_but_not_count(theatre: Theatre) -> None:
    theatre.said()
    stage = paper_entered(
        by=theatre.world.cast.coordinator, case=theatre.case, stage=theatre.stage("First").pk,
        figures={}, rest_right=True, paper_at=theatre.now, at=theatre.now,
        scrub=PaperName("A"), circulating=PaperName("B"),
    )  # fmt: skip
    assert stage.state == "closed"
