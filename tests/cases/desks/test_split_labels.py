"""Item and lot in two codes of one box: either order, over a reload, until given up; never two boxes."""

import base64
from datetime import timedelta
from typing import Any

import pytest

from cases.desks import halves
from tests.world import TODAY, World
from trays.catalogue.models import Component, PackLevel
from trays.identifiers.hibc import parse
from trays.refusals.models import RefusedScan

WAITS = "Waiting for the code with the item number"
MAY_FOLLOW = "If the same box carries lot and date in a second code"


def hibc(text: str) -> str:
    """The text with its check character."""
    values = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"
    return text + values[sum(values.index(letter) for letter in text) % 43]


PRIMARY = hibc("+A123BJC5D6E1")
SECONDARY = hibc(f"+$$3281128T88{PRIMARY[-1]}")


@pytest.fixture
def box(world: World) -> Component:
    """A femoral component with a unit of lot T88, known by a GTIN and by an HIBC code."""
    component = world.component("femoral", "2", side="left")
    world.unit(component, lot="T88", expires=TODAY + timedelta(days=720))
    device = parse(PRIMARY, TODAY).device
    PackLevel.objects.create(code=device, component=component)
    return component


def scan(client: Any, text: str) -> str:
    raw = base64.b64encode(text.encode()).decode()
    return str(client.post("/scan/", {"raw": raw, "page": "/stock/"}).content.decode())


def gtin_of(component: Component) -> str:
    return component.pack_levels.exclude(code__startswith="A").get().code.rjust(14, "0")


def labels(component: Component, standard: str) -> tuple[str, str]:
    """Both codes of the box, the item first."""
    if standard == "hibc":
        return PRIMARY, SECONDARY
    return f"]C101{gtin_of(component)}", f"]C117{(TODAY + timedelta(days=720)):%y%m%d}10T88"


@pytest.mark.parametrize("standard", ["gs1", "hibc"])
@pytest.mark.parametrize("turned", [False, True], ids=["item first", "lot first"])
def test_both_halves_name_the_unit_in_either_order(
    box: Component, as_person: Any, standard: str, turned: bool
) -> None:
    client = as_person("stores")
    first, second = labels(box, standard)[:: -1 if turned else 1]
    said = scan(client, first)
    assert 'data-tone="accepted"' in said
    assert (WAITS if turned else MAY_FOLLOW) in said
    # Loading the page anew or going elsewhere forgets nothing.
    assert (WAITS if turned else MAY_FOLLOW) in client.get("/help/").content.decode()
    done = scan(client, second)
    assert "lot T88" in done and "Implant store, shelf 1" in done
    assert WAITS not in done and MAY_FOLLOW not in done
    assert MAY_FOLLOW not in client.get("/help/").content.decode()
    assert not RefusedScan.objects.exists()


def test_waiting_can_be_given_up(box: Component, as_person: Any) -> None:
    client = as_person("stores")
    item, rest = labels(box, "gs1")
    assert "Give up waiting" in scan(client, rest)
    page = client.post("/scan/", {"give_up": "1"}).content.decode()
    assert "Given up" in page and WAITS not in page
    assert "lot T88" not in scan(client, item)


def test_a_lot_waits_through_other_scans_but_an_item_does_not(box: Component, as_person: Any) -> None:
    client = as_person("stores")
    item, rest = labels(box, "gs1")
    scan(client, rest)
    assert WAITS in scan(client, "nothing of that name")
    assert "lot T88" in scan(client, item)
    scan(client, item)
    assert MAY_FOLLOW not in scan(client, "nothing of that name")
    assert WAITS in scan(client, rest)


def test_halves_that_say_they_do_not_belong_together_are_refused_and_the_wait_goes_on(
    box: Component, as_person: Any
) -> None:
    client = as_person("stores")
    scan(client, PRIMARY)
    page = scan(client, hibc("+$$3281128T88X"))
    assert "link character differs" in page and MAY_FOLLOW in page
    assert RefusedScan.objects.get().code == "halves-differ"
    assert "lot T88" in scan(client, SECONDARY)


def test_halves_of_two_standards_are_never_joined(box: Component, as_person: Any) -> None:
    client = as_person("stores")
    scan(client, labels(box, "gs1")[0])
    assert WAITS in scan(client, SECONDARY)


def test_a_half_does_not_wait_for_ever(
    box: Component, as_person: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = as_person("stores")
    item, rest = labels(box, "gs1")
    scan(client, rest)
    monkeypatch.setattr(halves, "WAITS", timedelta(seconds=-1))
    assert WAITS not in client.get("/help/").content.decode()
    assert "lot T88" not in scan(client, item)


def test_an_item_that_is_not_on_file_waits_for_nothing(box: Component, as_person: Any) -> None:
    assert MAY_FOLLOW not in scan(as_person("stores"), "]C10109529999999986")


def test_what_one_person_scanned_does_not_wait_for_another(box: Component, as_person: Any) -> None:
    item, rest = labels(box, "gs1")
    scan(as_person("stores"), rest)
    assert "lot T88" not in scan(as_person("coordinator"), item)


@pytest.mark.parametrize(
    "kept", [{}, "x", {"side": "item"}, {"side": "rest", "raw": "%", "words": "", "at": "no"}]
)
def test_a_session_that_holds_nonsense_is_passed_over(world: World, as_person: Any, kept: Any) -> None:
    client = as_person("stores")
    session = client.session
    session["scan_half"] = kept
    session.save()
    assert client.get("/help/").status_code == 200
