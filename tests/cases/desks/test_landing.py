"""Each role lands on its own page; help is for everybody."""

from typing import Any

import pytest

from cases.desks.context import PAGES, pages_of
from tests.world import World

FIRST = {
    "coordinator": "/fortnight/",
    "surgeon": "/fortnight/",
    "technician": "/work/",
    "scrub": "/theatre/",
    "circulating": "/theatre/",
    "stores": "/reorders/",
    "quality": "/fortnight/",
    "supplier": "/help/",
    "stranger": "/help/",
    "keeper": "/imports/",
}


@pytest.mark.parametrize(("who", "first"), FIRST.items())
def test_the_landing_page_sends_each_role_to_its_work(
    world: World, as_person: Any, who: str, first: str
) -> None:
    answer = as_person(who).get("/")
    assert (answer.status_code, answer["Location"]) == (302, first)


def test_every_role_has_pages(world: World) -> None:
    assert set(PAGES) == {role.kind for who in world.cast.by_role().values() for role in who.roles.all()}
    assert pages_of(world.cast.stranger) == ("help",)


@pytest.mark.parametrize("who", FIRST)
def test_help_is_for_everybody_and_holds_the_cautions(world: World, as_person: Any, who: str) -> None:
    client = as_person(who)
    page = client.get("/help/")
    assert page.status_code == 200
    text = page.content.decode()
    for words in (
        "The choice of implant is the surgeon’s",
        "Counts, sterile release and recall follow local policy",
        "an estimate from the data given",
        "with their own eyes",
        "bank holidays are not known",
    ):
        assert words in text
    assert client.get("/help/cautions/")["Location"] == "/help/#cautions"


def test_somebody_without_a_role_is_told_what_to_do(world: World, as_person: Any) -> None:
    assert "You have no role yet" in as_person("stranger").get("/help/").content.decode()


def test_a_supplier_is_told_that_there_are_no_pages_yet(world: World, as_person: Any) -> None:
    said = as_person("supplier").get("/help/").content.decode()
    assert "no pages of its own yet" in said and "Your pages" not in said


def test_nobody_sees_help_without_signing_in(client: Any, db: None) -> None:
    assert client.get("/help/")["Location"].startswith("/sign-in/")
    assert client.get("/")["Location"].startswith("/sign-in/")
