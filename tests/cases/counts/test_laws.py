"""The laws of the count, in the database: what no service, page or file can get around."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from cases.counts.models_counts import (
    Added,
    Entry,
    LeftIn,
    Stage,
    StageSigning,
    TheatreCount,
)
from cases.counts.models_discrepancies import Discrepancy
from cases.counts.models_templates import TemplateStage
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.world import NOW, World
from trays.staff.models import Signature

pytestmark = pytest.mark.django_db


@pytest.fixture
def theatre(world: World) -> Theatre:
    made = a_theatre(world)
    made.begin("First")
    made.add("Gauze", 5)
    return made


def refused(name: str) -> Any:
    return pytest.raises(IntegrityError, match=name)


def closed(stage: Stage) -> dict[str, Any]:
    cast = {"scrub_name": "A", "circulating_name": "B"}
    return {"state": "closed", "ended_at": NOW, "ended_by": stage.begun_by, **cast}


def balance(theatre: Theatre) -> Stage:
    theatre.count_right("First")
    return theatre.stage("First")


def test_what_was_counted_or_came_on_is_never_changed_or_taken_away(theatre: Theatre) -> None:
    for rows, change in (
        (Entry.objects.all(), {"counted": 4}),
        (Added.objects.all(), {"quantity": 4}),
        (TemplateStage.objects.all(), {"word": "Other"}),
    ):
        with refused("append-only"), transaction.atomic():
            rows.update(**change)
        with refused("append-only"), transaction.atomic():
            rows.filter(pk=rows.first().pk)._raw_delete("default")


def test_a_stage_closes_only_balanced(theatre: Theatre) -> None:
    stage = balance(theatre)
    theatre.count("First", "Gauze", 4)
    with refused("stage_not_balanced"), transaction.atomic():
        Stage.objects.filter(pk=stage.pk).update(**closed(stage))
    theatre.count("First", "Gauze", 6)
    with refused("stage_not_balanced"), transaction.atomic():
        Stage.objects.filter(pk=stage.pk).update(**closed(stage))
    theatre.count("First", "Gauze", 5)
    Stage.objects.filter(pk=stage.pk).update(**closed(stage))


def test_a_line_that_nobody_counted_keeps_the_stage_open(theatre: Theatre) -> None:
    stage = theatre.stage("First")
    with refused("stage_not_balanced"), transaction.atomic():
        Stage.objects.filter(pk=stage.pk).update(**closed(stage))


def test_a_number_in_conflict_keeps_the_stage_open(theatre: Theatre) -> None:
    stage = balance(theatre)
    line = theatre.line("Gauze")
    Entry.objects.create(
        line=line, stage=stage, counted=5, expected=5, basis="counted",
        by=theatre.scrub, at=NOW, conflict=True,
    )  # fmt: skip
    with refused("stage_not_balanced"), transaction.atomic():
        Stage.objects.filter(pk=stage.pk).update(**closed(stage))


def test_what_comes_on_after_the_count_keeps_the_stage_open(theatre: Theatre) -> None:
    stage = balance(theatre)
    Added.objects.create(line=theatre.line("Gauze"), quantity=5, kind="added", by=theatre.scrub, at=NOW)
    with refused("stage_not_balanced"), transaction.atomic():
        Stage.objects.filter(pk=stage.pk).update(**closed(stage))


def test_a_class_called_again_keeps_the_stage_open(theatre: Theatre) -> None:
    stage = balance(theatre)
    stage.recounts.create(
        klass="soft", after_entry=Entry.objects.order_by("-pk")[0].pk, by=theatre.scrub, at=NOW
    )
    with refused("stage_not_balanced"), transaction.atomic():
        Stage.objects.filter(pk=stage.pk).update(**closed(stage))


def test_a_settled_difference_lets_the_stage_close_for_its_own_figures_only(theatre: Theatre) -> None:
    stage = balance(theatre)
    theatre.count("First", "Gauze", 4)
    one = Discrepancy.objects.create(
        stage=stage, line=theatre.line("Gauze"), expected=5, counted=4, opened_at=NOW, opened_by=theatre.scrub
    )
    with refused("stage_discrepancy_open"), transaction.atomic():
        Stage.objects.filter(pk=stage.pk).update(**closed(stage))
    settled = {
        "state": "settled", "outcome": "not_found", "settled_at": NOW, "settled_expected": 5,
        "settled_counted": 4, "first": theatre.scrub,
    }  # fmt: skip
    with refused("discrepancy_settled_by_two|constraint"), transaction.atomic():
        Discrepancy.objects.filter(pk=one.pk).update(**settled)
    with refused("discrepancy_settled_by_two|constraint"), transaction.atomic():
        Discrepancy.objects.filter(pk=one.pk).update(**settled, second=theatre.scrub)
    Discrepancy.objects.filter(pk=one.pk).update(**settled, second=theatre.circulating)
    with refused("discrepancy_settled_already"), transaction.atomic():
        Discrepancy.objects.filter(pk=one.pk).update(outcome="found")
    theatre.count("First", "Gauze", 3)
    with refused("stage_not_balanced"), transaction.atomic():
        Stage.objects.filter(pk=stage.pk).update(**closed(stage))
    theatre.count("First", "Gauze", 4)
    Stage.objects.filter(pk=stage.pk).update(**closed(stage))


def test_one_discrepancy_of_a_line_is_open_at_a_time(theatre: Theatre) -> None:
    facts = {
        "stage": theatre.stage("First"), "line": theatre.line("Gauze"), "expected": 5, "counted": 4,
        "opened_at": NOW, "opened_by": theatre.scrub,
    }  # fmt: skip
    Discrepancy.objects.create(**facts)
    with refused("discrepancy_one_open|UNIQUE"), transaction.atomic():
        Discrepancy.objects.create(**facts)


def test_an_ended_stage_stays_as_it_was_agreed(theatre: Theatre) -> None:
    stage = balance(theatre)
    theatre.close("First")
    for change in ({"scrub_name": "Another"}, {"state": "open", "ended_at": None}, {"upto": {}}):
        with refused("stage_has_ended"), transaction.atomic():
            Stage.objects.filter(pk=stage.pk).update(**change)
    with refused("stage_is_kept"), transaction.atomic():
        Stage.objects.filter(pk=theatre.stage("Final").pk)._raw_delete("default")


def test_no_stage_is_born_closed_and_two_are_never_open(theatre: Theatre) -> None:
    count = TheatreCount.objects.get()
    facts = {"count": count, "mark": "9", "word": "More", "kind": "extra"}
    with refused("stage_born_ended"), transaction.atomic():
        Stage.objects.create(
            **facts, number=9, state="closed", ended_at=NOW, ended_by=theatre.scrub, scrub_name="A",
            circulating_name="B",
        )  # fmt: skip
    with refused("stage_one_open|UNIQUE"), transaction.atomic():
        Stage.objects.create(**facts, number=9, state="open")


def test_an_entry_is_for_a_stage_of_its_own_case_that_has_begun(theatre: Theatre, world: World) -> None:
    other = Theatre(world, world.a_case())
    other.open()
    other.begin("First")
    facts = {"counted": 1, "expected": 1, "basis": "counted", "by": theatre.scrub, "at": NOW}
    with refused("entry_of_another_case"), transaction.atomic():
        Entry.objects.create(line=theatre.line("Gauze"), stage=other.stage("First"), **facts)
    with refused("entry_of_a_stage_not_begun"), transaction.atomic():
        Entry.objects.create(line=theatre.line("Gauze"), stage=theatre.stage("Final"), **facts)
    with refused("added_of_another_case"), transaction.atomic():
        Added.objects.create(
            line=theatre.line("Gauze"), stage=other.stage("First"), quantity=5, kind="added",
            by=theatre.scrub, at=NOW,
        )  # fmt: skip


def test_no_more_is_taken_back_or_left_in_than_came(theatre: Theatre) -> None:
    line = theatre.line("Gauze")
    with refused("added_below_nothing"), transaction.atomic():
        Added.objects.create(
            line=line, quantity=-6, kind="correction", reason="slip", by=theatre.scrub, at=NOW
        )
    with refused("left_in_more_than_came"), transaction.atomic():
        LeftIn.objects.create(line=line, quantity=6, plan="Out", decided_by="S", at=NOW, by=theatre.scrub)


def test_nobody_signs_twice_nor_two_in_one_place_nor_before_the_end(theatre: Theatre) -> None:
    def signing(seat: str, person: Any) -> None:
        signature = Signature.objects.create(
            person=person, name=person.name, meaning="counted", subject="stage", subject_id=1, signed_at=NOW,
            content="{}", digest="0" * 64,
        )  # fmt: skip
        StageSigning.objects.create(stage=stage, seat=seat, person=person, signature=signature)

    stage = balance(theatre)
    with refused("stage_signed_too_early"), transaction.atomic():
        signing("scrub_nurse", theatre.scrub)
    theatre.close("First")
    signing("scrub_nurse", theatre.scrub)
    with refused("stage_signing_person_once|UNIQUE"), transaction.atomic():
        signing("circulating_nurse", theatre.scrub)
    with refused("stage_signing_seat_once|UNIQUE"), transaction.atomic():
        signing("scrub_nurse", theatre.circulating)


def test_two_different_people_count(theatre: Theatre) -> None:
    with refused("theatre_count_two_people|constraint"), transaction.atomic():
        TheatreCount.objects.update(scrub=theatre.scrub, circulating=theatre.scrub)
