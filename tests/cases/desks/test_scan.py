"""The scan field: each kind of code leads where it should, the others are refused in a sentence and kept."""

import base64
from datetime import timedelta
from typing import Any
from urllib.parse import quote

import pytest
from django.urls import reverse

from cases.counts.models import CountSheet
from cases.picks.models import PickList
from cases.picks.papers import number_of
from tests.world import NOW, TODAY, World
from trays.catalogue.models import Component
from trays.identifiers import gs1, ours
from trays.identifiers.checkdigits import with_mod10
from trays.instruments.models import Pack
from trays.refusals.models import RefusedScan

DOCUMENT = with_mod10("952123400010")
ROOM = with_mod10("952123400020")


def scanned(client: Any, payload: str | bytes, **more: str) -> Any:
    """Send what a scanner would: the bytes, in base64."""
    raw = payload if isinstance(payload, bytes) else payload.encode()
    return client.post("/scan/", {"raw": base64.b64encode(raw).decode(), "page": "/stock/", **more})


def typed(client: Any, text: str | bytes) -> Any:
    """Send what a browser's form would."""
    body = "code=" + quote(text)
    return client.post("/scan/", body, content_type="application/x-www-form-urlencoded")


@pytest.fixture
def things(world: World) -> World:
    one = world.a_set("general", "KG-01")
    one.grai = f"0{with_mod10('952123400001')}KG01"
    one.save()
    pack = one.packs.get()
    pack.giai, pack.round = "9521234P004711", 3
    pack.save()
    world.shelf.gln, world.shelf.extension = ROOM, "A1"
    world.shelf.save()
    world.a_case(reference="LK-26-11873")
    return world


def gtin_of(component: Component) -> str:
    return component.pack_levels.get().code


def test_a_set_label_leads_to_the_set(things: World, as_person: Any) -> None:
    code = ours.set_label(with_mod10("952123400001"), "KG01")
    answer = scanned(as_person("technician"), f"]d2{code}")
    assert (answer.status_code, answer["Location"]) == (303, "/sets/KG-01/")
    assert not RefusedScan.objects.exists()


def test_a_pack_label_leads_to_its_page_and_an_old_one_is_refused(things: World, as_person: Any) -> None:
    client = as_person("technician")
    address = reverse("pack", args=[Pack.objects.get(giai="9521234P004711").pk])
    assert scanned(client, ours.pack_label("9521234", "P004711", "3"))["Location"] == address
    page = scanned(client, ours.pack_label("9521234", "P004711", "2")).content.decode()
    assert "This label is of round 2" in page and "which is in round 3" in page
    assert RefusedScan.objects.get().code == "label-of-another-round"


def test_a_place_label_says_what_is_there(things: World, as_person: Any) -> None:
    things.unit(things.component("tibial", "1"), 2)
    page = scanned(as_person("stores"), ours.place(ROOM, "A1")).content.decode()
    assert "Implant store, shelf 1, Larkmere" in page
    assert "2 units and 0 packs are there" in page


def test_a_component_code_says_how_many_are_on_site(things: World, as_person: Any) -> None:
    component = things.component("femoral", "2", side="left")
    things.unit(component, 3)
    page = scanned(as_person("stores"), ours.component(gtin_of(component))).content.decode()
    assert "Femoral component A 2 LEFT" in page
    assert "On site: Larkmere 3." in page
    assert 'href="/stock/femoral-a/"' in page


def test_a_unit_label_says_where_it_is_and_until_when(things: World, as_person: Any) -> None:
    component = things.component("femoral", "2", side="left")
    things.unit(component, lot="T88101", expires=TODAY + timedelta(days=700))
    expires = (TODAY + timedelta(days=700)).strftime("%y%m%d")
    code = gs1.build([("01", gtin_of(component)), ("17", expires), ("10", "T88101")])
    page = scanned(as_person("stores"), f"]C1{code}").content.decode()
    assert "lot T88101" in page and "Implant store, shelf 1" in page
    assert not RefusedScan.objects.exists()
    other = gs1.build([("01", gtin_of(component)), ("17", "300101"), ("10", "T88101")])
    assert "the record does not" in scanned(as_person("stores"), f"]C1{other}").content.decode()


def test_a_unit_that_is_not_on_file_is_refused_and_kept(things: World, as_person: Any) -> None:
    component = things.component("femoral", "2", side="left")
    code = gs1.build([("01", gtin_of(component)), ("10", "NOSUCH")])
    page = scanned(as_person("stores"), code).content.decode()
    assert "is not on file" in page
    kept = RefusedScan.objects.get()
    assert (bytes(kept.raw), kept.code, kept.page) == (code.encode(), "unit-not-on-file", "/stock/")
    assert kept.by == things.cast.stores


def test_a_pick_list_and_its_lines_lead_to_the_list(things: World, as_person: Any) -> None:
    case = things.a_case(reference="LK-2")
    # Sheets are numbered under the site's own location number, whatever else their digits could stand for.
    things.site.gln = DOCUMENT
    things.site.save()
    listed = PickList.objects.create(
        number="x", case=case, made_at=NOW, made_by=things.cast.coordinator, in_room=0.9, wanted=0.95
    )
    listed.number = number_of("PL", listed.pk)
    listed.save()
    serial = listed.number.replace("-", "")
    client = as_person("coordinator")
    assert scanned(client, ours.sheet(DOCUMENT, serial))["Location"] == f"/pick-lists/{listed.pk}/"
    line = scanned(client, ours.sheet_line(DOCUMENT, serial, 12))
    assert line["Location"] == f"/pick-lists/{listed.pk}/#line-12"
    for text in (listed.number, listed.number.lower(), serial):
        assert typed(client, text)["Location"] == f"/pick-lists/{listed.pk}/"
    assert typed(client, f"{serial}-012")["Location"] == f"/pick-lists/{listed.pk}/#line-12"
    assert "No sheet" in scanned(as_person("far_coordinator"), ours.sheet(DOCUMENT, serial)).content.decode()


def test_a_count_sheet_leads_to_the_sheets_of_its_case(things: World, as_person: Any) -> None:
    case = things.a_case(reference="LK-3")
    sheet = CountSheet.objects.create(
        number="CS-00007", case=case, kind="soft_goods", made_at=NOW, made_by=things.cast.scrub
    )
    answer = scanned(as_person("scrub"), ours.sheet(DOCUMENT, "CS00007"))
    assert answer["Location"] == f"/cases/{sheet.case_id}/count-sheets/"


@pytest.mark.parametrize("text", ["LK-26-11873", "lk-26-11873", "  LK-26-11873 "])
def test_a_typed_case_reference_leads_to_the_case(things: World, as_person: Any, text: str) -> None:
    assert typed(as_person("coordinator"), text)["Location"].startswith("/cases/")


def test_typed_codes_lead_to_sets_packs_families_and_places(things: World, as_person: Any) -> None:
    client = as_person("stores")
    pack = things.designs["general"].versions.get().sets.get().packs.get()
    assert typed(client, "kg-01")["Location"] == "/sets/KG-01/"
    assert typed(client, pack.number.lower())["Location"] == reverse("pack", args=[pack.pk])
    assert typed(client, "femoral-a")["Location"] == "/stock/femoral-a/"
    assert "Implant store, shelf 1" in typed(client, "s1").content.decode()


def test_other_text_is_searched_for(things: World, as_person: Any) -> None:
    client = as_person("stores")
    assert "Saw blade" in typed(client, "saw").content.decode()
    many = typed(client, "femoral").content.decode()
    assert "fit." in many and "Femoral 1 left" in many
    nothing = typed(client, "quite another thing").content.decode()
    assert "Nothing is called “quite another thing”." in nothing
    assert RefusedScan.objects.get().code == "not-found"


@pytest.mark.parametrize("who", ["far_coordinator", "supplier", "stranger"])
def test_things_of_a_site_that_is_not_theirs_are_not_on_file(things: World, as_person: Any, who: str) -> None:
    client = as_person(who)
    set_code = ours.set_label(with_mod10("952123400001"), "KG01")
    for payload in (set_code, ours.pack_label("9521234", "P004711", "3"), ours.place(ROOM, "A1")):
        answer = scanned(client, payload)
        assert answer.status_code == 200
        assert "is on file" in answer.content.decode()
    for text in ("LK-26-11873", "KG-01", "S1"):
        assert "Nothing is called" in typed(client, text).content.decode()
    assert RefusedScan.objects.filter(by=getattr(things.cast, who)).count() == 6


def test_the_code_of_a_person_is_not_kept(things: World, as_person: Any) -> None:
    patient = with_mod10("95212340000000001")
    page = scanned(as_person("scrub"), f"8018{patient}").content.decode()
    assert "code of a person" in page
    assert patient not in page
    kept = RefusedScan.objects.get()
    assert (bytes(kept.raw), patient in kept.sentence) == (b"", False)


AWKWARD = {
    "nothing": b"",
    "blanks": b"   ",
    "null": b"\x00",
    "null within": b"0109521234\x00000013",
    "control": b"\x1b[2J\x07",
    "separators": b"\x1d\x1d\x1d",
    "not utf-8": b"\xff\xfe\xfa",
    "unknown gs1": b"]C19999999999",
    "wrong check digit": b"0109521234000014",
    "tissue": b"=A99991234567890",
    "hibc": b"+A99912345/$$52001510X3",
    "broken hibc": b"+A",
    "right to left": "\u202eabc".encode(),
    "formula": b"=1+1",
    "markup": b"<script>alert(1)</script>",
    "percent": b"%%%___'';--",
    "sscc": b"00095212340000000017",
    "half a sheet": b"253" + b"9521234000105",
    "long": b"A" * 4097,
    "very long": b"0" * 300_000,
}


@pytest.mark.parametrize("raw", AWKWARD.values(), ids=AWKWARD.keys())
def test_whatever_comes_ends_in_a_sentence_and_is_kept(things: World, as_person: Any, raw: bytes) -> None:
    client = as_person("stores")
    for answer in (scanned(client, raw), typed(client, raw)):
        assert answer.status_code == 200
        page = answer.content.decode()
        assert 'role="alert"' in page
        assert "<script>alert" not in page
    kept = list(RefusedScan.objects.all())
    assert len(kept) == 2
    assert all(row.sentence and row.code and len(row.raw) <= 4096 for row in kept)
    assert all(row.sentence.isprintable() for row in kept)


def test_a_megabyte_and_more_are_answered_too(things: World, as_person: Any) -> None:
    client = as_person("stores")
    assert typed(client, "9" * 1_000_000).status_code == 200
    assert typed(client, "9" * 3_000_000).status_code == 400
    assert client.post("/scan/", {"raw": "%%%"}).status_code == 200
    assert client.post("/scan/", {}).status_code == 200


def test_the_last_refused_scan_stands_below_the_next_answer(things: World, as_person: Any) -> None:
    client = as_person("stores")
    typed(client, "first nonsense")
    page = typed(client, "saw").content.decode()
    assert "Nothing is called “first nonsense”." in page


def test_htmx_gets_the_answer_alone_or_is_sent_on(things: World, as_person: Any) -> None:
    client = as_person("stores")
    part = client.post("/scan/", {"code": "saw"}, headers={"HX-Request": "true", "HX-Target": "answer"})
    assert "<html" not in part.content.decode()
    going = client.post("/scan/", {"code": "KG-01"}, headers={"HX-Request": "true"})
    assert going["HX-Redirect"] == "/sets/KG-01/"


def test_scanning_is_by_post_and_for_people_signed_in(things: World, as_person: Any, client: Any) -> None:
    assert as_person("stores").get("/scan/").status_code == 405
    assert typed(client, "saw").status_code == 302


def test_a_scan_keeps_its_budget_of_queries(
    things: World, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    things.stock_everything(4)
    component = things.component("femoral", "2", side="left")
    client = as_person("stores")
    client.get("/help/")
    for payload in (ours.component(gtin_of(component)), ours.place(ROOM, "A1"), "saw"):
        with django_assert_max_num_queries(19):
            typed(client, payload)
