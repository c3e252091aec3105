"""One's own PIN: set with the password, never shown, and the way out of a locked signing."""

from typing import Any

import pytest
from django.contrib.auth.hashers import make_password

from tests.cast import PASSWORD
from tests.world import World
from trays.staff.models import Person
from trays.staff.signing import MOST_WRONG, signer

PIN = "4820"


@pytest.fixture
def client(world: World, as_person: Any) -> Any:
    Person.objects.filter(pk=world.cast.technician.pk).update(password=make_password(PASSWORD))
    client = as_person("technician")
    client.force_login(
        Person.objects.get(pk=world.cast.technician.pk), backend="django.contrib.auth.backends.ModelBackend"
    )
    return client


def give(client: Any, **changes: str) -> Any:
    return client.post("/my-pin/", {"pin": PIN, "again": PIN, "password": PASSWORD, **changes})


def test_the_name_in_the_head_leads_there(client: Any) -> None:
    assert '<a class="who" href="/my-pin/">' in client.get("/help/").content.decode()


def test_a_pin_is_set_with_the_password(client: Any, world: World) -> None:
    assert "You have no PIN yet" in client.get("/my-pin/").content.decode()
    assert give(client).status_code == 303
    assert "Your PIN is set" in client.get("/my-pin/").content.decode()
    assert signer(person=Person.objects.get(pk=world.cast.technician.pk), pin=PIN)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"password": "not it"}, "This is not your password."),
        ({"again": "4821"}, "This differs from the PIN above."),
        ({"pin": "12", "again": "12"}, "A PIN has 4 to 12 figures"),
        ({"pin": "48a0", "again": "48a0"}, "A PIN has 4 to 12 figures"),
        ({"pin": "1234", "again": "1234"}, "is guessed first"),
        ({"pin": "", "again": ""}, "This field is required"),
    ],
)
def test_what_is_wrong_is_said_and_no_secret_comes_back(
    client: Any, world: World, changes: dict[str, str], said: str
) -> None:
    answer = give(client, **changes)
    page = answer.content.decode()
    assert answer.status_code == 422 and said in page
    assert PASSWORD not in page and PIN not in page
    assert Person.objects.get(pk=world.cast.technician.pk).pin == ""


def test_a_locked_signing_is_opened_by_a_new_pin(client: Any, world: World) -> None:
    Person.objects.filter(pk=world.cast.technician.pk).update(wrong_pins=MOST_WRONG, pin="!")
    assert "Signing is locked" in client.get("/my-pin/").content.decode()
    give(client)
    assert Person.objects.get(pk=world.cast.technician.pk).wrong_pins == 0
