"""The list of sets and the page of one set."""

from typing import Any

import pytest

from tests.world import World
from trays.instruments.models import Pack

SEES = ("coordinator", "technician", "scrub", "circulating", "surgeon", "stores", "quality", "keeper")
SEES_NOT = ("supplier", "stranger")


@pytest.fixture
def sets(world: World) -> World:
    world.a_set("general", "G-01")
    world.a_set("general", "G-02", state=Pack.State.CLEANED)
    world.a_set("blocks-small", "B-01", short=[1])
    return world


@pytest.mark.parametrize("who", SEES)
def test_hospital_roles_see_sets_and_why_they_are_not_ready(sets: World, as_person: Any, who: str) -> None:
    page = as_person(who).get("/sets/").content.decode()
    assert "3 sets. 1 is ready today. 1 lacks pieces." in page
    assert "cleaned, to be assembled" in page
    assert "lacks 1 Cutting block, critical" in page
    assert "Femoral component A 1–2" in page


@pytest.mark.parametrize("who", SEES_NOT)
def test_others_do_not(sets: World, as_person: Any, who: str) -> None:
    assert as_person(who).get("/sets/").status_code == 403
    assert as_person(who).get("/sets/G-01/").status_code == 404


def test_somebody_of_another_site_does_not_find_the_set(sets: World, as_person: Any) -> None:
    far = as_person("far_coordinator")
    assert far.get("/sets/G-01/").status_code == 404
    for code in ("%00", "G-01%00", "a%0Ab", "x" * 3000):
        assert as_person("technician").get(f"/sets/{code}/").status_code == 404
    assert "G-01" not in far.get("/sets/").content.decode()
    assert far.get("/sets/?site=larkmere").status_code == 404


def test_filters_and_nonsense_in_the_address(sets: World, as_person: Any) -> None:
    client = as_person("technician")
    assert "G-02" not in client.get("/sets/?state=ready").content.decode()
    assert "G-01" not in client.get("/sets/?state=not-ready").content.decode()
    for query in ("state=%00", "state=x&sort=nothing&page=-4", "page=x", "sort=%27%3B--", "site="):
        assert client.get(f"/sets/?{query}").status_code == 200


def test_the_page_of_a_set_shows_packs_contents_and_shortages(sets: World, as_person: Any) -> None:
    page = as_person("technician").get("/sets/B-01/").content.decode()
    assert "Not ready today" in page
    assert "Cutting block" in page and "Artery forceps" in page
    assert "Sterile store" in page


def test_files_are_formula_safe(sets: World, as_person: Any) -> None:
    design = sets.designs["general"]
    design.name = "=1+1"
    design.save()
    file = as_person("technician").get("/sets/?as=csv")
    assert file["Content-Type"].startswith("text/csv")
    assert "'=1+1" in file.content.decode("utf-8-sig")
    assert ",=1+1" not in file.content.decode("utf-8-sig")
    assert as_person("technician").get("/sets/B-01/?contents-as=csv").content.count(b"\r\n") == 3


def test_the_pages_keep_their_budget_of_queries(
    sets: World, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    for number in range(20):
        sets.a_set("general", f"X-{number:02d}", trays=2)
    client = as_person("technician")
    # session, person, roles, sites; sets, lacks, packs, trays; bands, sizes
    with django_assert_max_num_queries(11):
        client.get("/sets/")
    with django_assert_max_num_queries(13):
        client.get("/sets/X-01/")
