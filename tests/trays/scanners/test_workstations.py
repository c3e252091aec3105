"""Workstations: who names and sets them, what the browser keeps, what every page then is told."""

import base64
from typing import Any

import pytest
from django.test import Client

from tests.world import NOW, World
from trays.ledger.models import Event
from trays.refusals.models import RefusedScan
from trays.scanners.models import Workstation
from trays.scanners.services import Settings, workstation_set_up
from trays.web.errors import NotAllowed, Refusal, Unreadable

FORM = {"name": "Left PC", "slower": "1", "tones": "place"}


def set_up(world: World, name: str = "Left PC", **settings: Any) -> Workstation:
    return workstation_set_up(
        by=world.cast.stores,
        site=world.site,
        name=name,
        place=world.shelf,
        settings=Settings(**settings),
        at=NOW,
    )


def at(client: Client, workstation: Workstation) -> Client:
    """The same browser, which somebody has said to be this workstation."""
    client.post("/scanner/device/", {"workstation": workstation.pk})
    return client


def html_of(client: Client, page: str = "/help/") -> str:
    return str(client.get(page).content.decode())


def test_a_workstation_is_named_once_and_every_page_is_told_its_settings(
    world: World, as_person: Any
) -> None:
    client = as_person("stores")
    given = FORM | {"place": world.shelf.pk, "separator": "#", "prefix": "~", "suffix": "none", "slower": "3"}
    answer = client.post("/scanner/", given | {"by_position": "on"})
    assert (answer.status_code, answer["Location"]) == (303, "/scanner/")
    cookie = answer.cookies["workstation"]
    assert cookie["httponly"] and cookie["samesite"] == "Lax" and cookie["max-age"] > 300 * 24 * 3600
    page = html_of(client)
    for said in ('data-slower="3"', 'data-prefix="~"', 'data-suffix="none"', "data-by-position"):
        assert said in page
    row = Workstation.objects.get()
    assert (row.site, row.separator, row.suffix) == (world.site, "#", "none")
    event = Event.objects.get(verb="workstation.set-up")
    assert event.actor == world.cast.stores and event.lines.get().subject_id == row.pk


def test_it_is_changed_in_place_and_another_is_added_beside_it(world: World, as_person: Any) -> None:
    client = at(as_person("stores"), set_up(world))
    client.post("/scanner/", FORM | {"name": "Left PC, new", "separator": "^"})
    assert Workstation.objects.get().separator == "^"
    client.post("/scanner/", FORM | {"name": "Right PC", "add": "1"})
    assert set(Workstation.objects.values_list("name", flat=True)) == {"Left PC, new", "Right PC"}
    assert "Scanner: Right PC" in html_of(client)


def test_a_browser_that_has_forgotten_is_told_again_which_one_it_is(world: World, as_person: Any) -> None:
    row = set_up(world, slower=2)
    client = at(as_person("stores"), row)
    assert 'data-slower="2"' in html_of(client)
    client.cookies.pop("workstation")
    assert "data-slower" not in html_of(client)
    assert 'data-slower="2"' in html_of(at(client, row))
    client.post("/scanner/device/", {"workstation": ""})
    assert "data-slower" not in html_of(client)


@pytest.mark.parametrize("cookie", ["1", "1:nonsense", "x" * 5000, "é", ""])
def test_a_cookie_that_nobody_signed_names_nothing(world: World, as_person: Any, cookie: str) -> None:
    set_up(world, slower=2)
    client = as_person("stores")
    client.cookies["workstation"] = cookie
    assert "data-slower" not in html_of(client)


def test_who_may_not_set_it_sees_how_it_is_set(world: World, as_person: Any) -> None:
    row = set_up(world, separator="#")
    nurse = as_person("scrub")
    nurse.cookies["workstation"] = at(as_person("stores"), row).cookies["workstation"].value
    page = html_of(nurse, "/scanner/")
    assert "Left PC" in page and "Keep these settings" not in page
    assert nurse.post("/scanner/", FORM).status_code == 200
    assert nurse.post("/scanner/device/", {"workstation": row.pk}).status_code == 403
    assert nurse.post("/scanner/settings/", {"separator": "^"}).status_code == 403
    assert Workstation.objects.get().separator == "#"
    with pytest.raises(NotAllowed):
        workstation_set_up(
            by=world.cast.scrub, site=world.site, name="X", place=None, settings=Settings(), at=NOW
        )


def test_a_workstation_of_another_site_is_neither_seen_nor_set(world: World, as_person: Any) -> None:
    row = set_up(world)
    far = as_person("far_coordinator")
    far.post("/scanner/device/", {"workstation": row.pk})
    assert "Left PC" not in html_of(far, "/scanner/")
    far.cookies["workstation"] = at(as_person("stores"), row).cookies["workstation"].value
    answer = far.post("/scanner/settings/", {"separator": "^"}, headers={"HX-Request": "true"})
    assert answer.status_code == 403
    assert Workstation.objects.get().separator == ""


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"separator": "A"}, "cannot stand for the separator"),
        ({"separator": "(#"}, "cannot stand for the separator"),
        ({"prefix": "ab"}, "cannot begin or end a scan"),
        ({"suffix": "F5"}, "cannot begin or end a scan"),
        ({"slower": "11"}, "less than or equal to 10"),
        ({"slower": "soon"}, "whole number"),
        ({"tones": "loud"}, "valid choice"),
        ({"name": ""}, "required"),
        ({"name": "Taken"}, "called Taken at this site already"),
        ({"place": "999"}, "valid choice"),
    ],
)
def test_nonsense_is_told_at_its_field_and_keeps_what_was_typed(
    world: World, as_person: Any, given: dict[str, str], sentence: str
) -> None:
    set_up(world, "Taken")
    answer = as_person("stores").post("/scanner/", FORM | {"separator": "#"} | given)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert "workstation" not in answer.cookies
    if "separator" not in given:
        assert 'value="#"' in page
    assert Workstation.objects.count() == 1


def test_services_refuse_the_same(world: World) -> None:
    set_up(world)
    with pytest.raises(Refusal, match="name-taken"):
        set_up(world)
    with pytest.raises(Unreadable, match="separator-unfit"):
        set_up(world, "Other", separator="10")
    with pytest.raises(Unreadable, match="slower-unfit"):
        set_up(world, "Other", slower=0)
    with pytest.raises(Unreadable, match="place-elsewhere"):
        workstation_set_up(
            by=world.cast.keeper,
            site=world.far_site,
            name="X",
            place=world.shelf,
            settings=Settings(),
            at=NOW,
        )


def test_what_was_ticked_on_the_test_page_is_kept_and_the_rest_stays(world: World, as_person: Any) -> None:
    client = at(as_person("stores"), set_up(world, separator="#", slower=2))
    answer = client.post("/scanner/settings/", {"prefix": "~", "sends_separators": "on"})
    assert answer["Location"] == "/scanner/test/"
    row = Workstation.objects.get()
    assert (row.prefix, row.sends_separators, row.separator, row.slower) == ("~", True, "#", 2)
    assert client.post("/scanner/settings/", {"slower": "soon"})["Location"] == "/scanner/test/"
    assert client.post("/scanner/settings/", {"slower": "99"}).status_code == 422
    assert as_person("stores").post("/scanner/settings/", {"prefix": "~"}).status_code == 409


def test_what_the_test_found_fills_the_form_of_a_device_without_a_name(world: World, as_person: Any) -> None:
    page = html_of(as_person("stores"), "/scanner/?separator=%23&by_position=on&slower=3&nonsense=1")
    assert 'name="separator" value="#"' in page
    assert 'name="slower" value="3"' in page


def scanned(client: Client, text: str, **more: str) -> str:
    raw = base64.b64encode(text.encode()).decode()
    return str(client.post("/scan/", {"raw": raw, "how": "scanner", **more}).content.decode())


def test_every_scan_is_read_by_the_settings_of_its_workstation(world: World, as_person: Any) -> None:
    component = world.component("femoral", "2", side="left")
    world.unit(component, lot="T88#1")
    world.unit(component, lot="T88")
    gtin = component.pack_levels.get().code.rjust(14, "0")
    client = at(as_person("stores"), set_up(world, separator="#", prefix="~", suffix="%"))
    page = scanned(client, f"~01{gtin}10T88#17281101%")
    assert "lot T88" in page and "Implant store, shelf 1" in page
    refused = scanned(client, "~nothing of that name%")
    assert "Nothing is called “nothing of that name”" in refused
    kept = RefusedScan.objects.get()
    assert (kept.workstation, kept.site, kept.how) == ("Left PC", world.site, "scanner")
    # A camera types nothing and adds nothing.
    assert "is not on file" in scanned(client, f"]d201{gtin}10T88%", how="camera")


def test_a_scan_renews_the_cookie(world: World, as_person: Any) -> None:
    client = at(as_person("stores"), set_up(world))
    assert "workstation" in client.post("/scan/", {"code": "saw"}).cookies
    assert "workstation" not in as_person("stores").post("/scan/", {"code": "saw"}).cookies


def sounds(page: str) -> bool:
    return 'data-sound="on"' in page


def test_tones_are_off_in_a_theatre_and_on_elsewhere_unless_somebody_says_otherwise(
    world: World, as_person: Any
) -> None:
    client = as_person("stores")
    assert not sounds(html_of(client))
    row = set_up(world)
    assert sounds(html_of(at(client, row)))
    Workstation.objects.update(place=world.theatre)
    assert not sounds(html_of(client))
    Workstation.objects.update(tones="on")
    assert sounds(html_of(client))
    client.post("/look/", {"sound": "off", "next": "/help/"})
    assert not sounds(html_of(client))
    Workstation.objects.update(tones="off")
    client.post("/look/", {"sound": "on", "next": "/help/"})
    assert sounds(html_of(client))
