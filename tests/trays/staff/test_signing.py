"""Signing with one's own PIN: set with the password, counted when wrong, locked after ten, bound to its
content.
"""

from datetime import UTC, datetime

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from tests.cast import PASSWORD
from tests.world import NOW
from trays.ledger.models import Event
from trays.staff.models import Person, Signature
from trays.staff.signing import MOST_WRONG, holds, pin_set, sign, signer, signer_named
from trays.web.errors import NotAllowed, Refusal

PIN = "739164"


@pytest.fixture
def person(world):
    one = world.cast.technician
    one.set_password(PASSWORD)
    one.badge = "B777"
    one.save()
    pin_set(by=one, password=PASSWORD, pin=PIN, at=NOW)
    one.refresh_from_db()
    return one


def refusal(act, **given):
    with pytest.raises(Refusal) as refused:
        act(**given)
    assert refused.value.next_step
    return refused.value.code


def wrong(person, times):
    return [refusal(signer, person=person, pin="000001") for _time in range(times)]


def test_the_right_pin_makes_a_signer_and_is_kept_as_a_hash_only(person):
    assert signer(person=person, pin=PIN).person == person
    assert PIN not in Person.objects.get(pk=person.pk).pin
    assert PIN not in Event.objects.get(verb="pin.set").text


def test_ten_wrong_pins_lock_the_person_and_a_new_pin_opens_again(person):
    assert wrong(person, MOST_WRONG) == ["wrong-pin"] * 10
    assert refusal(signer, person=person, pin=PIN) == "signing-locked"
    pin_set(by=person, password=PASSWORD, pin="28405", at=NOW)
    person.refresh_from_db()
    assert signer(person=person, pin="28405").person == person


def test_a_right_pin_begins_the_count_anew(person):
    wrong(person, MOST_WRONG - 1)
    signer(person=person, pin=PIN)
    assert wrong(person, MOST_WRONG) == ["wrong-pin"] * 10


def test_a_wrong_pin_is_counted_although_nothing_else_is_kept(person):
    with pytest.raises(NotAllowed):
        signer(person=person, pin="1")
    assert Person.objects.get(pk=person.pk).wrong_pins == 1


def test_who_has_no_pin_or_is_not_in_use_cannot_sign(world, person):
    assert refusal(signer, person=world.cast.quality, pin=PIN) == "no-pin"
    person.is_active = False
    assert refusal(signer, person=person, pin=PIN) == "no-pin"


@pytest.mark.parametrize("name", ["technician", "B777", "  technician "])
def test_somebody_signs_on_another_screen_by_name_or_badge(person, name):
    assert signer_named(name=name, pin=PIN).person == person


@pytest.mark.parametrize("name", ["", " ", "nobody"])
def test_a_name_that_nobody_has_is_refused(person, name):
    assert refusal(signer_named, name=name, pin=PIN) == "no-such-person"


@pytest.mark.parametrize("pin", ["", "123", "1234567890123", "12a4", "12 4", "４８２０", "-482"])
def test_a_pin_is_four_to_twelve_figures(person, pin):
    assert refusal(pin_set, by=person, password=PASSWORD, pin=pin, at=NOW) == "pin-shape"


@pytest.mark.parametrize("pin", ["0000", "1234", "9876", "345678"])
def test_a_pin_of_one_figure_or_figures_in_a_row_is_refused(person, pin):
    assert refusal(pin_set, by=person, password=PASSWORD, pin=pin, at=NOW) == "pin-too-simple"


@pytest.mark.parametrize("pin", ["1357", "4820", "1233", "482048204820"])
def test_any_other_is_taken(person, pin):
    pin_set(by=person, password=PASSWORD, pin=pin, at=NOW)
    person.refresh_from_db()
    assert signer(person=person, pin=pin)


def test_a_signature_holds_for_what_was_signed_and_cannot_be_altered(person):
    made = sign(
        by=signer(person=person, pin=PIN), meaning=Signature.Meaning.RELEASED, subject="run", subject_id=1,
        content={"packs": [1, 2]}, at=datetime(2026, 12, 7, 9, 0, tzinfo=UTC),
    )  # fmt: skip
    assert holds(made, {"packs": [1, 2]})
    assert not holds(made, {"packs": [1, 3]})
    with pytest.raises(DatabaseError), transaction.atomic():
        Signature.objects.filter(pk=made.pk).update(name="Somebody else")


# The page


def give(client, **fields):
    given = {"pin": "28405", "again": "28405", "password": PASSWORD} | fields
    return client.post(reverse("my-pin"), given, follow=True)


def test_the_page_sets_a_new_pin_and_says_so(as_person, person):
    answer = give(as_person("technician"))
    assert answer.status_code == 200
    assert "Your PIN is set" in answer.content.decode()
    person.refresh_from_db()
    assert signer(person=person, pin="28405")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"again": "28406"}, "differs from the PIN above"),
        ({"password": "not this one"}, "not your password"),
        ({"pin": "12", "again": "12"}, "4 to 12 figures"),
        ({"pin": "1111", "again": "1111"}, "guessed first"),
        ({"pin": "\x002840", "again": "\x002840"}, "ull characters"),
    ],
)
def test_what_is_wrong_is_said_and_the_pin_stays(as_person, person, fields, said):
    answer = give(as_person("technician"), **fields)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert said in page
    for secret in (PASSWORD, "28405", "28406"):
        assert secret not in page
    person.refresh_from_db()
    assert signer(person=person, pin=PIN)


def test_the_page_tells_a_locked_person_what_to_do(as_person, person):
    wrong(person, MOST_WRONG)
    person.refresh_from_db()
    page = as_person("technician").get(reverse("my-pin")).content.decode()
    assert "locked" in page
    give(as_person("technician"))
    assert "locked" not in as_person("technician").get(reverse("my-pin")).content.decode()
