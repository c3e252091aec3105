"""A count that differs: its steps in the site's words, two different people, and what follows of it."""

import pytest

from cases.counts import settling
from cases.counts.models_discrepancies import DiscrepancyStep
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.world import World
from trays.staff.models import Meaning, Signature
from trays.staff.signing import Signer
from trays.web.errors import Refusal

pytestmark = pytest.mark.django_db


@pytest.fixture
def theatre(world: World) -> Theatre:
    """Ten swabs came on; at the cavity nine are there."""
    made = a_theatre(world)
    made.begin("First")
    made.add("Gauze", 10)
    made.count_right("First")
    made.close("First")
    made.begin("Cavity")
    made.count_right("Cavity")
    made.count("Cavity", "Gauze", 9)
    return made


def test_the_steps_are_those_of_the_template_in_its_words(theatre: Theatre) -> None:
    one = theatre.differs("Cavity", "Gauze")
    (shown,) = theatre.state().discrepancies
    assert [(step.kind, step.state) for step in shown.steps] == [
        ("tell", "current"), ("recount", "later"), ("search", "later"),
        ("xray", "later"), ("outcome", "later"),
    ]  # fmt: skip
    theatre.steps(one, 1)
    step = theatre.state().discrepancies[0].steps[0]
    assert (step.state, step.by, step.at) == ("done", "C. Circulating", theatre.now)
    assert DiscrepancyStep.objects.get().words.startswith("Tell the surgeon")


def test_what_is_found_makes_the_count_right_and_two_say_so(theatre: Theatre) -> None:
    one = theatre.differs("Cavity", "Gauze")
    theatre.steps(one, 1, 2)
    with pytest.raises(Refusal, match="not-right-yet"):
        theatre.settle(one, "found")
    theatre.count("Cavity", "Gauze", 10)
    with pytest.raises(Refusal, match="discrepancy-open"):
        theatre.close("Cavity")
    theatre.settle(one, "found", note="In the drape.")
    theatre.close("Cavity")
    assert theatre.state().stage(theatre.stage("Cavity").pk).balanced


def test_what_is_not_found_is_settled_only_after_all_steps_and_with_words(theatre: Theatre) -> None:
    one = theatre.differs("Cavity", "Gauze")
    theatre.steps(one, 1, 2)
    with pytest.raises(Refusal) as refused:
        theatre.settle(one, "not_found_xray")
    assert (refused.value.code, refused.value.facts["steps"]) == ("steps-open", [3, 4, 5])
    theatre.steps(one, 3)
    with pytest.raises(Refusal, match="reason-missing"):
        settling.step_done(**theatre.said(discrepancy=one.pk, number=4, done=False))
    settling.step_done(**theatre.said(discrepancy=one.pk, number=4, done=False, note="No x-ray to be had"))
    theatre.steps(one, 5)
    with pytest.raises(Refusal, match="note-missing"):
        theatre.settle(one, "not_found", note=" ")
    theatre.settle(one, "not_found", report="IR-7")
    theatre.close("Cavity")
    stage = theatre.state().stage(theatre.stage("Cavity").pk)
    assert (stage.state, stage.balanced, stage.settled) == ("closed", False, 1)
    assert theatre.state().line(theatre.line("Gauze").pk).said == "differs, settled"


def test_one_person_settles_nothing_alone(theatre: Theatre) -> None:
    one = theatre.differs("Cavity", "Gauze")
    theatre.steps(one, 1, 2, 3, 4, 5)
    with pytest.raises(Refusal, match="same-person"):
        theatre.settle(one, "not_found", second=theatre.circulating)
    with pytest.raises(Refusal, match="second-may-not"):
        theatre.settle(one, "not_found", second=theatre.world.cast.stores)


def test_who_has_the_pin_at_hand_signs_at_once(theatre: Theatre) -> None:
    one = theatre.differs("Cavity", "Gauze")
    theatre.steps(one, 1, 2, 3, 4, 5)
    with pytest.raises(Refusal, match="signed-by-another"):
        theatre.settle(one, "not_found", signed=[Signer(theatre.world.cast.surgeon)])
    theatre.settle(one, "not_found", signed=[Signer(theatre.circulating)])
    assert Signature.objects.get().meaning == Meaning.SETTLED
    (shown,) = theatre.state().discrepancies
    assert shown.signed == (theatre.circulating.pk,)
    assert "discrepancy-unsigned" in [gap.code for gap in theatre.state().gaps]


def test_one_more_than_there_should_be_is_settled_in_the_same_way(theatre: Theatre) -> None:
    theatre.count("Cavity", "Gauze", 11)
    one = theatre.differs("Cavity", "Gauze")
    theatre.steps(one, 1, 2, 3, 4, 5)
    with pytest.raises(Refusal, match="not-balanced|discrepancy-open"):
        theatre.close("Cavity")
    theatre.settle(one, "unexplained")
    theatre.close("Cavity")


def test_what_came_on_unrecorded_is_written_down_and_the_count_is_right(theatre: Theatre) -> None:
    theatre.count("Cavity", "Gauze", 15)
    one = theatre.differs("Cavity", "Gauze")
    theatre.steps(one, 1, 2)
    theatre.add("Gauze", 5)
    theatre.settle(one, "came_on")
    theatre.close("Cavity")


def test_a_right_count_is_not_settled_as_missing(theatre: Theatre) -> None:
    one = theatre.differs("Cavity", "Gauze")
    theatre.steps(one, 1, 2, 3, 4, 5)
    theatre.count("Cavity", "Gauze", 10)
    with pytest.raises(Refusal, match="right-now"):
        theatre.settle(one, "not_found")


def test_other_figures_need_another_settlement(theatre: Theatre) -> None:
    one = theatre.differs("Cavity", "Gauze")
    theatre.steps(one, 1, 2, 3, 4, 5)
    theatre.settle(one, "not_found")
    theatre.count("Cavity", "Gauze", 8)
    with pytest.raises(Refusal, match="not-balanced"):
        theatre.close("Cavity")


def test_the_same_difference_at_a_later_stage_is_carried_and_signed_by_two_again(theatre: Theatre) -> None:
    one = theatre.differs("Cavity", "Gauze")
    theatre.steps(one, 1, 2, 3, 4, 5)
    theatre.settle(one, "not_found_xray")
    theatre.close("Cavity")
    theatre.begin("Final")
    theatre.count_right("Final")
    theatre.count("Final", "Gauze", 9)
    again = theatre.differs("Final", "Gauze")
    assert again.carried_id == one.pk
    theatre.settle(again, "not_found_xray", note="As at the cavity.")
    theatre.close("Final")


def test_nothing_to_settle_is_told(theatre: Theatre) -> None:
    with pytest.raises(Refusal, match="does-not-differ"):
        theatre.differs("Cavity", "Blade")
    theatre.differs("Cavity", "Gauze")
    with pytest.raises(Refusal, match="opened-already"):
        theatre.differs("Cavity", "Gauze")
