"""Scanning on the page of a run that is being filled: in it goes, or it says why not."""

from typing import Any

import pytest

from tests.trays.processing.conftest import Department
from tests.trays.processing.http import scan_on, scan_plainly, signed_in, text_of
from tests.world import NOW
from trays.identifiers import ours
from trays.instruments.models import Pack, PackState
from trays.processing import runs
from trays.processing.models_machines import Run
from trays.refusals.models import RefusedScan


@pytest.fixture
def client(department: Department) -> Any:
    return signed_in(department.technician)


@pytest.fixture
def wash(department: Department) -> Run:
    return runs.run_open(
        by=department.technician, machine=department.washer, programme=department.wash, at=NOW
    )


@pytest.fixture
def pack(department: Department) -> Pack:
    one = department.world.a_set("general", "G-01", state=PackState.USED).packs.get()
    department.receive(one)
    one.refresh_from_db()
    return one


def test_a_pack_or_a_set_goes_in_by_scan(client, wash, pack):
    answer = scan_on(client, f"/runs/{wash.pk}/", "G-01")
    assert f"Pack {pack.number}: in." in text_of(answer)
    assert "1 of 4 packs are in Washer 1." in text_of(answer)
    assert answer["HX-Trigger"] == "worked"
    assert [one.pack for one in wash.packs.all()] == [pack]


def test_without_scripts_the_page_comes_back_with_what_was_done(client, wash, pack):
    answer = scan_plainly(client, f"/runs/{wash.pk}/fill/", pack.number)
    assert answer["Location"] == f"/runs/{wash.pk}/"
    assert f"Pack {pack.number}: in." in text_of(client.get(f"/runs/{wash.pk}/"))


def test_the_same_scan_sent_again_is_done_once(client, wash, pack):
    key = "7a0d2f3c-58c5-4f04-9d50-3c6c4b1c6c11"
    for _time in range(2):
        answer = scan_on(client, f"/runs/{wash.pk}/", pack.number, client_key=key)
        assert "in." in text_of(answer)
    assert wash.packs.count() == 1
    assert not RefusedScan.objects.exists()


def test_the_wrong_stage_says_what_it_is_why_not_and_what_to_do(client, wash, department):
    clean = department.world.a_set("general", "G-07", state=PackState.STORED).packs.get()
    said = text_of(scan_on(client, f"/runs/{wash.pk}/", clean.number))
    assert (
        f"Pack {clean.number} of set G-07 is stored; Washer 1 takes what is received, to be cleaned." in said
    )
    assert "Do first what comes next for it." in said and f'href="/packs/{clean.pk}/"' in said
    kept = RefusedScan.objects.get()
    assert (kept.code, kept.page, kept.how) == ("not-ready-for-it", f"/runs/{wash.pk}/", "scanner")
    assert not wash.packs.exists()


def test_a_full_machine_and_a_thing_that_is_no_pack(client, wash, pack, department):
    for code in ("femoral-a", "SS", "T1"):
        assert "that does not go in here" in text_of(scan_on(client, f"/runs/{wash.pk}/", code))
    department.washer.packs = 1
    department.washer.save()
    other = department.world.a_set("general", "G-02", state=PackState.USED).packs.get()
    department.receive(other)
    scan_on(client, f"/runs/{wash.pk}/", pack.number)
    assert "takes 1 packs; 1 are in it" in text_of(scan_on(client, f"/runs/{wash.pk}/", other.number))


def test_once_it_runs_a_scan_opens_what_it_names(client, wash, pack, department):
    runs.run_fill(by=department.technician, run=wash, packs=[pack], at=NOW)
    runs.run_start(by=department.technician, run=wash, at=NOW)
    assert scan_on(client, f"/runs/{wash.pk}/", pack.number)["HX-Redirect"] == f"/packs/{pack.pk}/"


def test_for_somebody_who_only_looks_it_opens_the_pack(wash, pack, department):
    nurse = signed_in(department.world.cast.scrub)
    assert scan_on(nurse, f"/runs/{wash.pk}/", pack.number)["HX-Redirect"] == f"/packs/{pack.pk}/"


def test_the_label_of_the_round_before_is_good_until_the_pack_is_packed_anew(client, wash, pack):
    pack.giai = "9521234P004711"
    pack.save()
    before = ours.pack_label("9521234", "P004711", str(pack.round - 1))
    assert "in." in text_of(scan_on(client, f"/runs/{wash.pk}/", before))
    older = ours.pack_label("9521234", "P004711", str(pack.round + 4))
    assert "This label is of round" in text_of(scan_on(client, f"/runs/{wash.pk}/", older))
