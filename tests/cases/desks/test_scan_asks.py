"""Where a code can be read in several ways the person is asked; people and single instruments are found;

what was taken for granted is said; a scan that is sent again is one.
"""

import base64
import html
import re
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from tests.world import TODAY, World
from trays.identifiers import ours
from trays.identifiers.checkdigits import with_mod10
from trays.instruments.models import InstrumentType
from trays.instruments.models_pieces import Piece
from trays.refusals.models import RefusedScan
from trays.scanners.models import Workstation
from trays.staff.models import Person, Role

BADGE = with_mod10("95212340000000001")


def post(client: Any, text: str, **more: str) -> Any:
    return client.post("/scan/", {"raw": base64.b64encode(text.encode()).decode(), "page": "/stock/"} | more)


def scan(client: Any, text: str, **more: str) -> str:
    return html.unescape(post(client, text, **more).content.decode())


@pytest.fixture
def box(world: World) -> str:
    """A code without separators of a unit on the shelf, which reads in several ways."""
    component = world.component("femoral", "2", side="left")
    world.unit(component, lot="M20", expires=TODAY + timedelta(days=300))
    gtin = component.pack_levels.get().code.rjust(14, "0")
    return f"01{gtin}10M2021X17{TODAY + timedelta(days=300):%y%m%d}"


def ways(page: str) -> list[str]:
    found = re.findall(r'name="choice" value="(\d+)"><span class="code">(.*?)</span>', page)
    assert [int(number) for number, _words in found] == list(range(len(found)))
    return [words for _number, words in found]


def answered(client: Any, page: str, choice: int) -> str:
    """What pressing one of the buttons brings."""
    form = page[page.index('class="ways"') :]
    fields = dict(re.findall(r'<input type="hidden" name="(raw|page|how)" value="([^"]*)"', form))
    return html.unescape(client.post("/scan/", fields | {"choice": str(choice)}).content.decode())


def test_a_code_with_several_readings_is_asked_about_and_nothing_is_guessed(
    world: World, as_person: Any, box: str
) -> None:
    client = as_person("stores")
    page = scan(client, box, how="scanner")
    offered = ways(page)
    assert len(offered) > 2 and any("(10)M20 (21)X (17)" in way for way in offered)
    assert "Compare with the label" in page and 'data-tone="asked"' in page
    assert "Femoral component A" not in page
    assert not RefusedScan.objects.exists()


def test_the_chosen_reading_is_looked_up_and_said_to_be_chosen(
    world: World, as_person: Any, box: str
) -> None:
    world.unit(world.component("femoral", "2", side="left"), lot="M2021X")
    client = as_person("stores")
    page = scan(client, box)
    way = next(way for way in ways(page) if "(10)M2021X (17)" in way)
    done = answered(client, page, ways(page).index(way))
    assert "lot M2021X" in done and "Implant store, shelf 1" in done
    assert "chosen by a person" in done


def test_a_choice_that_was_never_offered_is_asked_again(world: World, as_person: Any, box: str) -> None:
    client = as_person("stores")
    for choice in ("99", "-1", "x", "1" * 30):
        assert len(ways(scan(client, box, choice=choice))) > 2


def test_nobody_is_asked_where_no_separator_is_ever_lost(world: World, as_person: Any, box: str) -> None:
    row = Workstation.objects.create(site=world.site, name="PC", sends_separators=True)
    client = as_person("stores")
    client.post("/scanner/device/", {"workstation": row.pk})
    assert ways(scan(client, box)) == []
    # Nor of a camera, which hands over every byte.
    assert ways(scan(as_person("stores"), f"]d2{box}", how="camera")) == []


def test_text_that_somebody_knows_goes_before_a_reading_as_gs1(world: World, as_person: Any) -> None:
    gtin = world.component("femoral", "2", side="left").pack_levels.get().code.rjust(14, "0")
    plain = f"]d101{gtin}10T88"
    page = scan(as_person("stores"), plain)
    assert ways(page) == [f"(01){gtin} (10)T88"]
    world.a_set("general", plain[3:])
    assert post(as_person("stores"), plain)["Location"].startswith("/sets/01")


def test_what_was_taken_for_granted_is_said_beside_the_answer(world: World, as_person: Any) -> None:
    component = world.component("femoral", "2", side="left")
    gtin = component.pack_levels.get().code.rjust(14, "0")
    page = scan(as_person("stores"), f"  {gtin[1:]} ")
    assert "Blanks before or after the code were left out." in page
    assert "their check digit is right" in page


def test_what_was_taken_for_granted_is_said_on_the_page_it_leads_to_as_well(
    world: World, as_person: Any
) -> None:
    one = world.a_set("general", "KG-01")
    one.grai = f"0{with_mod10('952123400001')}kg01"
    one.save()
    client = as_person("stores")
    typed_capitals = ours.set_label(one.grai[1:14], one.grai[14:])
    answer = post(client, f"  {typed_capitals}  ")
    assert answer["Location"] == "/sets/KG-01/"
    assert "Blanks before or after" in client.get(answer["Location"]).content.decode()


def test_a_badge_names_a_colleague_and_its_code_is_not_kept(world: World, as_person: Any) -> None:
    Person.objects.filter(pk=world.cast.scrub.pk).update(badge=BADGE)
    Person.objects.filter(pk=world.cast.surgeon.pk).update(badge="B-117")
    client = as_person("stores")
    page = scan(client, f"]d28017{BADGE}")
    assert "Badge of S. Scrub" in page and "Scrub nurse, Larkmere." in page
    assert BADGE not in page
    assert "Badge of Ms Surgeon" in scan(client, "B-117")
    assert not RefusedScan.objects.exists()


@pytest.mark.parametrize("who", ["far_coordinator", "supplier", "stranger"])
def test_a_badge_of_people_elsewhere_is_not_on_file_and_not_kept(
    world: World, as_person: Any, who: str
) -> None:
    Person.objects.filter(pk=world.cast.scrub.pk).update(badge=BADGE)
    page = scan(as_person(who), f"]d28017{BADGE}")
    assert "No badge with this code is on file" in page
    assert "Scrub" not in page and BADGE not in page
    kept = RefusedScan.objects.get()
    assert (bytes(kept.raw), kept.code, BADGE in kept.sentence) == (b"", "badge-not-on-file", False)


def test_somebody_may_scan_their_own_badge_anywhere(world: World, as_person: Any) -> None:
    Person.objects.filter(pk=world.cast.supplier.pk).update(badge=BADGE)
    assert Role.objects.filter(person=world.cast.supplier).count() == 1
    assert "Badge of S. Supplier" in scan(as_person("supplier"), f"]d28017{BADGE}")


@pytest.mark.parametrize("state", ["in_set", "spare"])
def test_a_single_instrument_is_found_by_its_mark(world: World, as_person: Any, state: str) -> None:
    pack = world.a_set("general", "KG-01").packs.get()
    Piece.objects.create(
        type=InstrumentType.objects.get(code="forceps"),
        mark="9521234I000099",
        site=world.site,
        pack=pack if state == "in_set" else None,
        state=state,
    )
    client = as_person("technician")
    for text in (ours.instrument("9521234", "I000099"), "9521234I000099"):
        page = scan(client, text)
        assert "Artery forceps, instrument 9521234I000099" in page
        assert ("It belongs to set KG-01, tray 1." if state == "in_set" else "Larkmere, spare.") in page
    assert "on file" in scan(as_person("far_coordinator"), ours.instrument("9521234", "I000099"))


def test_a_refused_scan_is_kept_with_place_way_and_both_clocks(world: World, as_person: Any) -> None:
    device = datetime(2026, 12, 7, 6, 59, 58, 250_000, tzinfo=UTC)
    milliseconds = str(round(device.timestamp() * 1000))
    scan(as_person("stores"), "nothing of the kind", how="scanner", device_at=milliseconds)
    kept = RefusedScan.objects.get()
    assert (kept.how, kept.device_at, kept.site, kept.page) == ("scanner", device, world.site, "/stock/")
    assert abs(kept.at - datetime.now(UTC)) < timedelta(minutes=1)


@pytest.mark.parametrize(
    "nonsense", [{"device_at": "yesterday"}, {"device_at": "9" * 40}, {"how": "by owl"}, {"client_key": "1"}]
)
def test_nonsense_told_beside_a_scan_loses_nothing(
    world: World, as_person: Any, nonsense: dict[str, str]
) -> None:
    assert "Nothing is called" in scan(as_person("stores"), "nothing of the kind", **nonsense)
    kept = RefusedScan.objects.get()
    assert (kept.device_at, kept.how, kept.client_key) == (None, "", None)


def test_a_refused_scan_that_is_sent_again_is_kept_once_and_answered_alike(
    world: World, as_person: Any
) -> None:
    client, key = as_person("stores"), str(uuid4())
    first, second = (scan(client, "nothing of the kind", client_key=key) for _ in range(2))
    assert RefusedScan.objects.count() == 1
    assert "Nothing is called" in first and "Nothing is called" in second
    scan(as_person("coordinator"), "nothing of the kind", client_key=key)
    assert RefusedScan.objects.count() == 2


def test_bytes_that_no_text_column_takes_are_kept_as_they_came(world: World, as_person: Any) -> None:
    raw = b"\x00]d2\x1d\xff\xfe10\x00"
    as_person("stores").post("/scan/", {"raw": base64.b64encode(raw).decode()})
    assert bytes(RefusedScan.objects.get().raw) == raw
