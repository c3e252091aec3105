"""The page of one pack: what can be done next at each stage, its steps, and the ways out of the round."""

from datetime import timedelta
from typing import Any

import pytest

from tests.trays.processing.conftest import PIN, Department
from tests.trays.processing.http import questions, scan_on, signed_in, text_of
from tests.world import NOW, TODAY
from trays.instruments.models import InstrumentType, Pack, PackState
from trays.instruments.models_pieces import Care, Piece
from trays.ledger.models import Event
from trays.processing import runs, storing
from trays.refusals.models import RefusedScan


@pytest.fixture
def client(department: Department) -> Any:
    return signed_in(department.technician)


@pytest.fixture
def pack(department: Department) -> Pack:
    return department.world.a_set("general", "G-01", state=PackState.USED).packs.get()


def page(client: Any, pack: Pack) -> str:
    return text_of(client.get(f"/packs/{pack.pk}/"))


def state(pack: Pack) -> str:
    pack.refresh_from_db()
    return pack.state


def test_at_each_stage_the_page_offers_the_next_step(client, pack, department):
    assert "Receive it" in page(client, pack)
    assert client.post("/receive/gather/", {"what": pack.number}).status_code == 303
    department.receive(pack)
    assert "To the washers" in page(client, pack)
    run = runs.run_open(
        by=department.technician, machine=department.washer, programme=department.wash, at=NOW
    )
    assert "Put it into Washer 1, 1" in page(client, pack)
    client.post(f"/runs/{run.pk}/fill/", {"what": pack.number})
    assert "It is in Washer 1, 1" in page(client, pack)
    runs.run_give_up(by=department.technician, run=run, at=NOW)
    department.washed(pack)
    assert "To the bench" in page(client, pack)
    pack.refresh_from_db()
    department.packed(pack)
    assert "To the sterilizers" in page(client, pack) and "Print its label" in page(client, pack)
    department.released(pack)
    shown = page(client, pack)
    assert "Onto the shelf" in shown and "Issue it" in shown
    for step in ("Received", "Cleaned", "Assembled", "Packed", "In load", "Released"):
        assert step in shown


def test_a_scan_of_a_pack_opens_its_page(client, pack):
    answer = scan_on(client, "/fortnight/", pack.number)
    assert answer["HX-Redirect"] == f"/packs/{pack.pk}/"


def test_stored_issued_returned_and_opened_by_press(client, department):
    pack = department.world.a_set("general", "G-02", state=PackState.RELEASED).packs.get()
    address = f"/packs/{pack.pk}"
    world = department.world
    client.post(f"{address}/store/", {"place": world.shelf.pk, "bin": "3-2"})
    assert (state(pack), pack.place, pack.bin) == ("stored", world.shelf, "3-2")
    client.post(f"{address}/issue/", {"place": world.theatre.pk})
    assert (state(pack), pack.place) == ("issued", world.theatre)
    assert "Returned unopened: onto the shelf" in page(client, pack)
    client.post(f"{address}/store/", {"place": world.sterile_store.pk})
    assert state(pack) == "stored"
    client.post(f"{address}/issue/", {"place": world.theatre.pk})
    assert "It was opened in Theatre 1" in page(client, pack)
    client.post(f"{address}/open/")
    assert state(pack) == "opened"


def test_on_its_page_a_scanned_shelf_or_theatre_is_where_it_goes(client, department):
    pack = department.world.a_set("general", "G-02", state=PackState.RELEASED).packs.get()
    answer = scan_on(client, f"/packs/{pack.pk}/", "S1")
    assert "is on Implant store, shelf 1" in text_of(answer) and answer["HX-Trigger"] == "worked"
    scan_on(client, f"/packs/{pack.pk}/store/", "T1")
    assert state(pack) == "issued"


def test_what_the_stage_does_not_allow_is_refused_in_words(client, pack, department):
    answer = client.post(f"/packs/{pack.pk}/store/", {"place": department.world.shelf.pk, "bin": "9-9"})
    assert answer.status_code == 422
    assert "it cannot become stored from there" in text_of(answer)
    assert state(pack) == "used"
    wrong = scan_on(client, f"/packs/{pack.pk}/", "T1")
    assert "cannot become issued from there" in text_of(wrong)
    assert RefusedScan.objects.get().page == f"/packs/{pack.pk}/"


def test_quarantined_with_a_reason_and_freed_by_the_quality_lead_with_pin(client, pack, department):
    department.around(pack)
    client.post(f"/packs/{pack.pk}/quarantine/", {"reason": "seal"})
    assert state(pack) == "quarantined"
    shown = page(client, pack)
    assert "Seal or wrap in doubt" in shown and "the quality lead frees it" in shown
    assert client.post(f"/packs/{pack.pk}/lift/", {"pin": PIN}).status_code == 403
    lead = signed_in(department.world.cast.quality)
    wrong = lead.post(f"/packs/{pack.pk}/lift/", {"pin": "1111"})
    assert wrong.status_code == 422 and "This is not the PIN" in text_of(wrong)
    assert lead.post(f"/packs/{pack.pk}/lift/", {"pin": PIN}).status_code == 303
    assert state(pack) == "released"


@pytest.mark.parametrize("how", sorted(storing.OUT))
def test_out_of_the_round_and_in_again_by_being_received(client, pack, how):
    client.post(f"/packs/{pack.pk}/out/", {"how": how})
    assert state(pack) == how
    assert ("Receive it" in page(client, pack)) == (how != "condemned")


def test_back_to_the_start_with_a_reason_in_words(client, department):
    pack = department.world.a_set("general", "G-03", state=PackState.STORED).packs.get()
    client.post(f"/packs/{pack.pk}/back/", {"reason": "torn", "place": department.hall.pk})
    assert (state(pack), pack.round) == ("received", 2)
    assert "Wrap or seal torn" in page(client, pack)
    nonsense = client.post(f"/packs/{pack.pk}/back/", {"reason": "because", "place": department.hall.pk})
    assert nonsense.status_code == 422


def test_who_only_looks_is_offered_nothing_to_press(pack, department):
    surgeon = signed_in(department.world.cast.surgeon)
    shown = page(surgeon, pack)
    assert "Receive it" not in shown and "Otherwise" not in shown
    assert surgeon.post(f"/packs/{pack.pk}/out/", {"how": "lost"}).status_code == 403
    assert state(pack) == "used"


# Care


def test_care_is_due_by_uses_or_days_and_is_taken_down_as_done(client, pack, department):
    one = pack.set
    by_use = Care.objects.create(set=one, what="Sharpen", every_uses=1, done_on=TODAY, done_round=0)
    Care.objects.create(set=one, what="Oil", every_days=9000, done_on=TODAY)
    clamp = InstrumentType.objects.create(code="clamp", name="Bone clamp")
    piece = Piece.objects.create(type=clamp, mark="CL1", site=one.site, pack=pack, state="in_set")
    Care.objects.create(
        piece=piece, what="Insulation test", every_days=1, done_on=TODAY - timedelta(days=900)
    )
    for address in (f"/packs/{pack.pk}/", "/sets/G-01/"):
        shown = text_of(client.get(address))
        assert shown.count("due now") == 2, address
        assert "0 uses left of 1" in shown and "Bone clamp, CL1" in shown
    events = Event.objects.count()
    assert client.post(f"/care/{by_use.pk}/done/")["Location"] == "/sets/G-01/"
    assert Event.objects.count() == events + 1
    by_use.refresh_from_db()
    assert by_use.done_round == 1
    assert text_of(client.get("/sets/G-01/")).count("due now") == 1
    assert client.post(f"/care/{by_use.pk}/done/").status_code == 409
    assert signed_in(department.world.cast.scrub).post(f"/care/{by_use.pk}/done/").status_code == 403


def test_the_set_page_leads_to_each_pack(client, pack):
    assert f'href="/packs/{pack.pk}/"' in text_of(client.get("/sets/G-01/"))


def test_the_page_asks_the_same_number_of_questions_whatever_its_age(client, pack, department):
    department.receive(pack)
    few = questions(client, f"/packs/{pack.pk}/")
    assert few <= 24
    department.washed(pack)
    department.world.take_to([pack], PackState.RECEIVED)
    for _round in range(5):
        department.world.take_to([pack], PackState.USED)
        department.world.take_to([pack], PackState.RECEIVED)
    assert questions(client, f"/packs/{pack.pk}/") <= few
