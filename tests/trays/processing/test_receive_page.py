"""The page where used packs come in: gathered by scan, what they lack noted, received in one act."""

from typing import Any

import pytest

from tests.trays.processing.conftest import Department
from tests.trays.processing.http import questions, scan_on, scan_plainly, signed_in, text_of
from trays.instruments.models import InstrumentSet, Pack, PackState
from trays.ledger.models import Event
from trays.processing.models import Shortfall
from trays.refusals.models import RefusedScan


@pytest.fixture
def client(department: Department) -> Any:
    return signed_in(department.technician)


@pytest.fixture
def trolley(department: Department) -> list[InstrumentSet]:
    """Two used sets; the first has two packs."""
    world = department.world
    version = world.designs["general"].versions.get()
    line = version.lines.get(number=2)
    line.pk, line.tray = None, 2
    line.save()
    return [
        world.a_set("general", "G-01", state=PackState.USED, trays=2),
        world.a_set("blocks-small", "B-01", state=PackState.USED),
    ]


def in_hand(client: Any) -> str:
    return text_of(client.get("/receive/")).partition("Not back yet")[0]


def hidden(client: Any) -> dict[str, Any]:
    form = client.get("/receive/").context["receive_form"]
    return {
        "packs": form["packs"].value(),
        "place": form["place"].value(),
        "client_key": form["client_key"].value(),
    }


def test_a_whole_trolley_is_scanned_survives_reload_and_is_received_in_one_act(client, trolley, department):
    scan_on(client, "/receive/", "G-01")
    answer = scan_on(client, "/receive/", trolley[1].packs.get().number)
    assert answer["HX-Trigger"] == "worked"
    assert "in hand" in text_of(answer)
    assert "3 packs in hand" in in_hand(client)
    events = Event.objects.count()
    gone = client.post("/receive/done/", {**hidden(client), "urgent": "on"})
    assert gone.status_code == 303
    assert Event.objects.count() == events + 1
    packs = Pack.objects.filter(set__in=trolley)
    assert {(pack.state, pack.urgent, pack.place_id) for pack in packs} == {
        (PackState.RECEIVED, True, department.hall.pk)
    }
    assert "3 packs are received" in text_of(client.get("/receive/"))
    assert "Nothing is in hand" in in_hand(client)


def test_sent_twice_it_is_received_once(client, trolley):
    scan_on(client, "/receive/", "B-01")
    form = hidden(client)
    for _time in range(2):
        assert client.post("/receive/done/", form).status_code == 303
    assert trolley[1].packs.get().round == 2


def test_without_scripts_a_scan_comes_back_to_the_page(client, trolley):
    answer = scan_plainly(client, "/receive/", "B-01")
    assert (answer.status_code, answer["Location"]) == (303, "/receive/")
    assert "1 pack in hand" in in_hand(client)


def test_what_a_pack_lacks_is_said_by_its_own_list_and_comes_onto_the_list_of_missing_instruments(
    client, trolley
):
    pack = trolley[1].packs.get()
    lines = {line.number: line for line in pack.set.version.lines.filter(tray=1)}
    scan_on(client, "/receive/", pack.number)
    address = f"/receive/{pack.pk}/lack/"
    for number, quantity, cause in ((1, 1, "missing"), (2, 2, "broken"), (2, 1, "missing")):
        note = {"line": lines[number].pk, "quantity": quantity, "cause": cause, "note": "said by theatre 1"}
        assert client.post(address, note).status_code == 303
    client.post(address, {"drop": lines[2].pk, "cause": "missing"})
    page = in_hand(client)
    assert "1 × Cutting block" in page and "2 × Artery forceps" in page
    client.post("/receive/done/", hidden(client))
    found = Shortfall.objects.values_list("line__number", "quantity", "cause", "note").order_by(
        "line__number"
    )
    assert list(found) == [(1, 1, "missing", "said by theatre 1"), (2, 2, "broken", "said by theatre 1")]


def test_more_cannot_be_missing_than_the_list_has(client, trolley):
    pack = trolley[1].packs.get()
    scan_on(client, "/receive/", pack.number)
    line = pack.set.version.lines.get(tray=1, number=1)
    answer = client.post(
        f"/receive/{pack.pk}/lack/", {"line": line.pk, "quantity": 3, "cause": "missing", "note": "typed"}
    )
    assert answer.status_code == 422
    assert "The list has 2 of these" in text_of(answer) and 'value="typed"' in text_of(answer)


def test_a_pack_is_let_go_again(client, trolley):
    scan_on(client, "/receive/", "G-01")
    client.post("/receive/gather/", {"drop": trolley[0].packs.first().pk})
    assert "1 pack in hand" in in_hand(client)


def test_what_was_not_used_goes_back_to_the_start_with_a_reason(client, department):
    one = department.world.a_set("general", "G-02", state=PackState.STORED)
    answer = scan_on(client, "/receive/", "G-02")
    assert "By the record it is stored" in text_of(answer)
    back = {**hidden(client), "reason": "wet"}
    assert client.post("/receive/back/", back).status_code == 303
    move = one.packs.get().moves.get()
    assert (move.before, move.after, move.reason) == ("stored", "received", "wet")


def test_a_pack_that_is_received_already_is_refused_and_the_scan_kept(client, trolley, department):
    pack = trolley[1].packs.get()
    department.receive(pack)
    answer = scan_on(client, "/receive/", pack.number)
    assert "has been received already" in text_of(answer)
    assert RefusedScan.objects.get().code == "received-already"
    typed = client.post("/receive/gather/", {"what": pack.number})
    assert typed.status_code == 422 and "has been received already" in text_of(typed)


def test_what_is_no_pack_says_what_it_is_and_is_kept(client, department):
    answer = scan_on(client, "/receive/", "femoral-a")
    said = text_of(answer)
    assert "Femoral component A: that does not go in here." in said
    assert "Scan a pack, or a set for all its packs." in said
    kept = RefusedScan.objects.get()
    assert (kept.code, kept.page) == ("wrong-thing-here", "/receive/")


def test_a_colleague_who_was_quicker_is_told_of(client, trolley, department):
    pack = trolley[1].packs.get()
    scan_on(client, "/receive/", pack.number)
    form = hidden(client)
    department.receive(pack)
    answer = client.post("/receive/done/", form)
    assert answer.status_code == 422 and "has been received already" in text_of(answer)


def test_no_such_number_keeps_what_was_typed(client, department):
    answer = client.post("/receive/gather/", {"what": "P99999"})
    assert answer.status_code == 422
    assert "No pack and no set of this site has that number" in text_of(answer)
    assert 'value="P99999"' in text_of(answer)


def test_the_page_asks_the_same_number_of_questions_however_much_is_in_hand(client, trolley):
    pack = trolley[1].packs.get()
    scan_on(client, "/receive/", pack.number)
    line = pack.set.version.lines.get(tray=1, number=1)
    client.post(f"/receive/{pack.pk}/lack/", {"line": line.pk, "quantity": 1, "cause": "missing"})
    few = questions(client, "/receive/")
    assert few <= 16
    scan_on(client, "/receive/", "G-01")
    for one in trolley[0].packs.all():
        row = one.set.version.lines.filter(tray=one.tray).first()
        client.post(f"/receive/{one.pk}/lack/", {"line": row.pk, "quantity": 1, "cause": "missing"})
    assert questions(client, "/receive/") == few


def test_others_are_shown_out(department):
    assert signed_in(department.world.cast.stores).get("/receive/").status_code == 403
