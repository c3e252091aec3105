"""Signed after unscrubbing, each with their own PIN; bound to every row of what was agreed."""

from typing import Any

import pytest
from django.contrib.auth.hashers import make_password
from django.db import connection, transaction

from cases.counts import adding, staging
from cases.counts.models_counts import Stage, StageSigning
from cases.counts.models_discrepancies import Discrepancy
from cases.counts.signing import signature_shows, signatures_of, stages_sign
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.world import World
from trays.ledger.guards import registered, remove
from trays.staff.models import Meaning, Person, Role, Signature
from trays.staff.signing import Signer, signer_named
from trays.web.errors import NotAllowed, Refusal

pytestmark = pytest.mark.django_db


@pytest.fixture
def theatre(world: World) -> Theatre:
    """Two stages closed, the second with a settled difference; something left in; a pack at the table."""
    from cases.counts.bringing_in import Opened

    made = a_theatre(world)
    made.bring_in(world.a_set("general", "KG-01"), opened_already=Opened("other", "S. Scrub", "Label read."))
    made.begin("First")
    made.add("Gauze", 10)
    made.count_right("First")
    made.close("First")
    adding.left_in(
        **made.said(line=made.line("Gauze").pk, quantity=1, plan="Out on day two", decided_by="Ms Surgeon")
    )
    made.begin("Cavity")
    made.count_right("Cavity")
    made.count("Cavity", "Gauze", 8)
    one = made.differs("Cavity", "Gauze")
    made.steps(one, 1, 2, 3, 4, 5)
    made.settle(one, "not_found_xray")
    made.close("Cavity")
    return made


def signed_by(theatre: Theatre, person: Person, seat: str, **more: Any) -> list[StageSigning]:
    return stages_sign(**theatre.said(signer=Signer(person), seat=seat, **more))


def both_sign(theatre: Theatre) -> None:
    signed_by(theatre, theatre.scrub, "scrub_nurse")
    signed_by(theatre, theatre.circulating, "circulating_nurse")


def test_each_signs_all_that_they_counted_and_settled_at_once(theatre: Theatre) -> None:
    made = signed_by(theatre, theatre.scrub, "scrub_nurse")
    assert [(one.stage.word, one.signature.meaning) for one in made] == [
        ("First count", Meaning.COUNTED), ("Cavity or joint", Meaning.COUNTED),
    ]  # fmt: skip
    assert Signature.objects.filter(meaning=Meaning.SETTLED).count() == 1
    signed_by(theatre, theatre.circulating, "circulating_nurse")
    stage = theatre.state().stage(theatre.stage("First").pk)
    assert [(one.person.name, one.meaning) for one in stage.signed] == [
        ("S. Scrub", "Counted aloud"), ("C. Circulating", "Counted aloud"),
    ]  # fmt: skip
    assert {gap.code for gap in theatre.state().gaps} == {"stage-open"}


def test_a_badge_and_the_persons_own_pin_on_anothers_screen(theatre: Theatre) -> None:
    Person.objects.filter(pk=theatre.scrub.pk).update(badge="B-17", pin=make_password("4711"))
    with pytest.raises(NotAllowed, match="wrong-pin"):
        signer_named(name="B-17", pin="0000")
    signer = signer_named(name="B-17", pin="4711")
    assert len(stages_sign(**theatre.said(signer=signer, seat="scrub_nurse"))) == 2


def test_nobody_signs_for_another_or_twice(theatre: Theatre) -> None:
    other = Person.objects.create(username="other", name="O. Other", password="!")
    Role.objects.create(person=other, kind=Role.Kind.SCRUB_NURSE, site=theatre.world.site)
    stages = [theatre.stage("First").pk]
    for person, seat, code in (
        (other, "scrub_nurse", "not-who-counted"),
        (theatre.world.cast.stores, "scrub_nurse", "second-may-not"),
        (theatre.circulating, "scrub_nurse", "not-who-counted"),
        (theatre.scrub, "surgeon", "no-such-seat"),
    ):
        with pytest.raises(Refusal, match=code):
            signed_by(theatre, person, seat, stages=stages)
    signed_by(theatre, theatre.scrub, "scrub_nurse")
    with pytest.raises(Refusal, match="signed-already"):
        signed_by(theatre, theatre.scrub, "scrub_nurse", stages=stages)
    with pytest.raises(Refusal, match="signs-as-another"):
        signed_by(theatre, theatre.scrub, "circulating_nurse", stages=stages)
    with pytest.raises(Refusal, match="nothing-to-sign"):
        signed_by(theatre, theatre.scrub, "scrub_nurse")


def test_a_stage_under_way_is_not_signed(theatre: Theatre) -> None:
    theatre.begin("Final")
    with pytest.raises(Refusal, match="not-ended"):
        signed_by(theatre, theatre.scrub, "scrub_nurse", stages=[theatre.stage("Final").pk])


def test_not_done_is_signed_as_not_done(theatre: Theatre) -> None:
    staging.stage_not_done(
        **theatre.said(
            stage=theatre.stage("Final").pk, reason="Bleeding", follow_up="X-ray", decided_by="Ms Surgeon"
        )
    )
    made = signed_by(theatre, theatre.scrub, "scrub_nurse")
    assert [one.signature.meaning for one in made][-1] == Meaning.NOT_DONE


def test_what_comes_after_leaves_earlier_signatures_valid(theatre: Theatre) -> None:
    both_sign(theatre)
    theatre.add("Gauze", 5)
    theatre.begin("Final")
    theatre.count_right("Final")
    theatre.count("First", "Gauze", 3, seen=None)
    assert [holds for _signature, holds in signatures_of(theatre.state_row())] == [True] * 6


def test_the_signed_text_names_no_case_and_repeats_no_free_words(theatre: Theatre) -> None:
    both_sign(theatre)
    for signature in Signature.objects.all():
        for words in (theatre.case.reference, "Ms Surgeon", "Out on day two", "x-ray shows", "Label read"):
            assert words not in signature.content


ALTERED = [
    ("cases_entry", "counted = counted + 1"),
    ("cases_entry", "basis = 'paper'"),
    ("cases_added", "quantity = quantity + 5"),
    ("cases_countline", "name = 'Something else'"),
    ("cases_countline", "klass = 'small'"),
    ("cases_leftin", "plan = 'None'"),
    ("cases_packin", "indicator = 'failed'"),
    ("cases_packin", "decided_by = 'Nobody'"),
    ("cases_stage", "scrub_name = 'Somebody else'"),
    ("cases_stage", "ended_at = begun_at"),
    ("cases_discrepancy", "outcome = 'found'"),
    ("cases_discrepancystep", "note = 'Done by all'"),
]


def still_valid(*statements: str, table: str) -> bool:
    """Whether each signature shows as valid with rows altered behind the guards' backs; then as before."""
    try:
        with transaction.atomic():
            for guard in registered():
                if guard.table == table:
                    remove(connection, guard)
            with connection.cursor() as cursor:
                for statement in statements:
                    cursor.execute(statement)
            valid = all(signature_shows(one) for one in Signature.objects.all())
            raise _TakenBack
    except _TakenBack:
        return valid


class _TakenBack(Exception):
    """Puts the rows back."""


def test_altering_any_row_of_a_signed_count_shows(theatre: Theatre) -> None:
    both_sign(theatre)
    assert still_valid(table="cases_entry")
    for table, change in ALTERED:
        assert not still_valid(f"UPDATE {table} SET {change}", table=table), (table, change)  # noqa: S608


def test_taking_a_row_away_shows(theatre: Theatre) -> None:
    both_sign(theatre)
    for table in ("cases_entry", "cases_leftin", "cases_discrepancystep", "cases_stageclass"):
        gone = f"DELETE FROM {table} WHERE id = (SELECT max(id) FROM {table})"  # noqa: S608
        if table == "cases_stageclass":
            gone = f"DELETE FROM {table} WHERE stage_id = {theatre.stage('First').pk}"  # noqa: S608
        assert not still_valid(gone, table=table), table


def test_the_surgeon_signs_where_the_template_asks_for_it(world: World) -> None:
    theatre = a_theatre(world)
    theatre.whole_stage("First")
    Stage.objects.filter(word__startswith="Cavity").update(
        signers=["scrub_nurse", "circulating_nurse", "surgeon"]
    )
    theatre.whole_stage("Cavity")
    made = signed_by(theatre, world.cast.surgeon, "surgeon")
    assert [one.stage.word for one in made] == ["Cavity or joint"]
    assert Discrepancy.objects.count() == 0
