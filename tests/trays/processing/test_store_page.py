"""Putting away and bringing: a shelf and packs in either order, a theatre, and back unopened."""

from datetime import timedelta
from typing import Any

import pytest

from tests.trays.processing.conftest import Department
from tests.trays.processing.http import questions, scan_on, scan_plainly, signed_in, text_of
from tests.world import TODAY
from trays.instruments.models import Pack, PackState
from trays.ledger.models import Event
from trays.refusals.models import RefusedScan


@pytest.fixture
def client(department: Department) -> Any:
    return signed_in(department.technician)


@pytest.fixture
def packs(department: Department) -> list[Pack]:
    world = department.world
    return [
        world.a_set(design, code, state=PackState.RELEASED).packs.get()
        for design, code in (("general", "G-01"), ("general", "G-02"), ("blocks-small", "B-01"))
    ]


def where(packs: list[Pack]) -> list[tuple[str, str]]:
    rows = Pack.objects.filter(pk__in=[pack.pk for pack in packs]).order_by("pk")
    return list(rows.values_list("state", "place__code"))


def shown(client: Any) -> str:
    return text_of(client.get("/store/"))


def test_a_shelf_is_scanned_and_then_packs(client, packs):
    answer = scan_on(client, "/store/", "SS")
    assert "What you scan now goes to Sterile store." in text_of(answer)
    for pack in packs[:2]:
        scan_on(client, "/store/", pack.number)
    assert where(packs) == [("stored", "SS"), ("stored", "SS"), ("released", "SS")]
    assert "What you scan now goes to Sterile store" in shown(client)


def test_packs_are_scanned_and_then_their_shelf(client, packs):
    for pack in packs:
        scan_on(client, "/store/", pack.number)
    assert "3 packs in hand: scan where they go" in shown(client)
    events = Event.objects.count()
    answer = scan_on(client, "/store/", "S1")
    assert "Packs" in text_of(answer) and "are on Implant store, shelf 1" in text_of(answer)
    assert Event.objects.count() == events + 1
    assert where(packs) == [("stored", "S1")] * 3
    assert "Nothing is in hand" in shown(client)


def test_a_theatre_issues_and_a_shelf_takes_back_what_was_not_opened(client, packs):
    scan_on(client, "/store/", "G-01")
    assert "is issued to Theatre 1" in text_of(scan_on(client, "/store/", "T1"))
    assert where(packs[:1]) == [("issued", "T1")]
    scan_on(client, "/store/", "SS")
    assert "is back unopened, on Sterile store" in text_of(scan_on(client, "/store/", "G-01"))
    assert packs[0].moves.order_by("-sequence").first().reason == "unopened"


def test_it_goes_by_hand_too_and_without_scripts(client, packs, department):
    assert scan_plainly(client, "/store/", "B-01")["Location"] == "/store/"
    form = client.get("/store/").context["put_form"]
    given = {"packs": form["packs"].value(), "client_key": form["client_key"].value(), "bin": "2-1"}
    nowhere = client.post("/store/done/", given)
    assert nowhere.status_code == 422 and 'value="2-1"' in text_of(nowhere)
    client.post("/store/done/", {**given, "place": department.world.shelf.pk})
    packs[2].refresh_from_db()
    assert (packs[2].state, packs[2].place.code, packs[2].bin) == ("stored", "S1", "2-1")
    client.post("/store/place/", {"place": department.world.theatre.pk})
    client.post("/store/gather/", {"what": "B-01"})
    assert where(packs[2:]) == [("issued", "T1")]
    client.post("/store/place/", {"none": "1"})
    assert "What you scan now" not in shown(client)


def test_for_use_at_once_never_reaches_a_shelf(client, packs):
    Pack.objects.filter(pk=packs[0].pk).update(immediate_use=True)
    scan_on(client, "/store/", "SS")
    answer = scan_on(client, "/store/", packs[0].number)
    assert "was sterilized for immediate use; it does not go on a shelf" in text_of(answer)
    assert RefusedScan.objects.get().code == "immediate-use"


def test_what_is_not_released_is_refused_with_what_comes_next(client, department):
    dirty = department.world.a_set("general", "G-09", state=PackState.RECEIVED).packs.get()
    scan_on(client, "/store/", "SS")
    said = text_of(scan_on(client, "/store/", dirty.number))
    assert "is received, to be cleaned; it cannot become stored" in said
    assert "Next for it: cleaned, to be assembled" in said
    assert RefusedScan.objects.get().code == "no-way"


def test_what_is_not_released_is_not_taken_up_either(client, department):
    dirty = department.world.a_set("general", "G-09", state=PackState.USED).packs.get()
    assert "it cannot become stored from there" in text_of(scan_on(client, "/store/", dirty.number))
    assert "it cannot become stored from there" in text_of(client.post("/store/gather/", {"what": "G-09"}))
    assert "Nothing is in hand" in shown(client)


def test_out_of_date_is_not_issued_and_stands_on_the_page(client, department):
    old = department.world.a_set(
        "general", "G-08", state=PackState.STORED, sterile_until=TODAY - timedelta(days=400)
    ).packs.get()
    assert "Was in date until" in shown(client)
    scan_on(client, "/store/", "T1")
    assert "was in date until" in text_of(scan_on(client, "/store/", old.number))
    assert RefusedScan.objects.get().code == "out-of-date"


def test_a_place_for_no_pack_and_a_thing_that_is_none_are_refused(client, packs, department):
    scan_on(client, "/store/", packs[0].number)
    assert "is neither a shelf nor a theatre nor a trolley" in text_of(scan_on(client, "/store/", "HALL"))
    assert "does not go in here" in text_of(scan_on(client, "/store/", "femoral-a"))
    assert {row.code for row in RefusedScan.objects.all()} == {"no-place-for-packs", "wrong-thing-here"}
    assert "1 pack in hand" in shown(client)


def test_theatre_issues_but_puts_nothing_on_a_shelf(department, packs):
    nurse = signed_in(department.world.cast.scrub)
    scan_on(nurse, "/store/", "T1")
    scan_on(nurse, "/store/", packs[0].number)
    assert where(packs[:1]) == [("issued", "T1")]
    scan_on(nurse, "/store/", "SS")
    assert "Your role does not include this" in text_of(scan_on(nurse, "/store/", packs[1].number))
    assert where(packs[1:2]) == [("released", "SS")]


def test_the_page_asks_the_same_number_of_questions_however_much_is_in_hand(client, packs):
    scan_on(client, "/store/", packs[0].number)
    few = questions(client, "/store/")
    assert few <= 20
    for pack in packs[1:]:
        scan_on(client, "/store/", pack.number)
    assert questions(client, "/store/") == few
