"""The scan field stands on every page of everybody who is signed in, and resolves every code from there.

The pages are those of doors.py, so that a new page cannot be forgotten.
"""

import base64
import html
import re
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from cases.counts.models import CountSheet
from cases.desks.working import work_page
from cases.picks.models import PickList
from cases.picks.papers import line_code, number_of, sheet_code
from tests.boundaries.doors import DOORS, Door, knock
from tests.world import TODAY, World
from trays.identifiers import gs1, ours
from trays.identifiers.checkdigits import with_mod10
from trays.instruments.models import InstrumentSet, InstrumentType, Pack
from trays.instruments.models_pieces import Piece
from trays.scanners.probe import TEST_PAYLOAD
from trays.staff.models import Person

ROOM = ours.gln("9521234", "31")
BADGE = with_mod10("95212340000000001")
# Pages on which nobody is signed in yet, or which are no page at all.
WITHOUT = {"healthz", "readyz", "sign-in", "theatre-shell", "theatre-set-answers"}

NO_PAGES = {
    "application/pdf",
    "image/png",
    "text/csv; charset=utf-8",
    "application/json",
    "application/manifest+json",
    "text/javascript; charset=utf-8",
}


@dataclass(frozen=True)
class Code:
    """A code, and what it leads to: the address of a page, or words of the answer."""

    text: str
    page: str = ""
    says: str = ""


@pytest.fixture
def codes(world: World, furnished: dict[str, Any]) -> dict[str, Code]:
    """One code of every kind that this program makes or finds on boxes, wire text and what people type."""
    world.site.gln = ROOM
    world.site.save()
    world.shelf.gln, world.shelf.extension = ROOM, "S1"
    world.shelf.save()
    one = InstrumentSet.objects.get(code=furnished["set"])
    one.grai = f"0{ours.asset_type('9521234', '7')}GS01"
    one.save()
    pack = Pack.objects.filter(set=one).first()
    assert pack is not None
    pack.giai, pack.round = "9521234P000417", 4
    pack.save()
    Piece.objects.create(
        type=InstrumentType.objects.all()[0],
        mark="9521234I000099",
        site=world.site,
        pack=pack,
        state="in_set",
    )
    Person.objects.filter(pk=world.cast.scrub.pk).update(badge=BADGE)
    unit = world.unit(
        world.component("femoral", "2", side="left"), lot="Lx7", expires=TODAY + timedelta(days=90)
    )[0]
    gtin = unit.component.pack_levels.get().code.rjust(14, "0")
    listed = PickList.objects.get(pk=furnished["pick_list"])
    sheet = CountSheet.objects.filter(case=listed.case)[0]
    assert listed.number == number_of("PL", listed.pk)
    to_pack = reverse("pack", args=[pack.pk])
    to_set, to_list = reverse("set", args=[one.code]), reverse("pick-list", args=[listed.pk])
    to_sheets, to_case = (
        reverse("count-sheets", args=[listed.case_id]),
        reverse("case", args=[listed.case_id]),
    )
    dated = f"{unit.expires:%y%m%d}"
    return {
        "set": Code(ours.set_label(one.grai[1:14], one.grai[14:]), to_set),
        "set as DataMatrix": Code(f"]d2{ours.set_label(one.grai[1:14], one.grai[14:])}", to_set),
        "pack": Code(ours.pack_label("9521234", "P000417", "4"), to_pack),
        "pack in brackets": Code("(8004)9521234P000417(91)4", to_pack),
        "instrument": Code(ours.instrument("9521234", "I000099"), says="instrument 9521234I000099"),
        "place": Code(ours.place(ROOM, "S1"), says="Implant store, shelf 1"),
        "badge": Code(f"]d28017{BADGE}", says="Badge of S. Scrub"),
        "unit": Code(gs1.build([("01", gtin), ("17", dated), ("10", "Lx7")]), says="lot Lx7"),
        "unit as GS1-128": Code(
            f"]C1{gs1.build([('01', gtin), ('10', 'Lx7'), ('17', dated)])}", says="lot Lx7"
        ),
        "unit in brackets": Code(f"(01){gtin}(17){dated}(10)Lx7", says="lot Lx7"),
        "unit as a link": Code(f"https://id.example.org/01/{gtin}/10/Lx7", says="lot Lx7"),
        "component": Code(ours.component(gtin), says="On site: "),
        "retail digits": Code(f"]E0{gtin[1:]}", says="On site: "),
        "pick list": Code(sheet_code(world.site, listed.number), to_list),
        "line of it": Code(line_code(world.site, listed.number, 2), f"{to_list}#line-2"),
        "count sheet": Code(sheet_code(world.site, sheet.number), to_sheets),
        "case": Code(listed.case.reference, to_case),
        "set typed": Code(one.code.lower(), to_set),
        "number of a pick list": Code(listed.number.lower(), to_list),
        "scanner test": Code(f"]d2{TEST_PAYLOAD}", says="sends codes as it should"),
    }


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def opened(client: Client, name: str, door: Door, furnished: dict[str, Any]) -> Any:
    url = reverse(name, kwargs={key: furnished[what] for key, what in door.kwargs.items()})
    return knock(client, door, url, furnished, follow=True)


def the_form(page: str) -> dict[str, str]:
    """Where the scan field of a page sends what is scanned, and the fields that go with it."""
    (form,) = re.findall(r'<form class="scan"[^>]* action="([^"]+)"[^>]*>(.*?)</form>', page, re.S)
    fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form[1]))
    assert 'name="code"' in form[1]
    return {"action": form[0], **fields}


def led_to(client: Client, form: dict[str, str], code: Code) -> str:
    """The address that the scan led to, else the words of its answer."""
    given = {name: html.unescape(value) for name, value in form.items() if name != "action"}
    given["raw"] = base64.b64encode(code.text.encode()).decode()
    answer = client.post(form["action"], given, headers={"HX-Request": "true", "HX-Target": "answer"})
    assert answer.status_code == 200
    return str(answer.headers.get("HX-Redirect") or html.unescape(answer.content.decode()))


def lost_from(client: Client, form: dict[str, str], codes: dict[str, Code]) -> dict[str, str]:
    """The codes that led elsewhere than they should, and where to."""
    lost = {}
    for kind, code in codes.items():
        there = led_to(client, form, code)
        if (there != code.page) if code.page else (code.says not in there):
            lost[kind] = there[:300]
    return lost


def test_every_code_is_resolved_from_the_first_page(world: World, codes: dict[str, Code]) -> None:
    client = signed_in(world.cast.keeper)
    form = the_form(client.get("/", follow=True).content.decode())
    assert work_page(form["page"]) is None
    assert lost_from(client, form, codes) == {}


@pytest.mark.parametrize("name", sorted(DOORS.keys() - WITHOUT))
def test_codes_are_resolved_from_every_page(
    name: str, world: World, furnished: dict[str, Any], codes: dict[str, Code]
) -> None:
    door = DOORS[name]
    client = signed_in(world.cast.keeper)
    answer = opened(client, name, door, furnished)
    if not answer["Content-Type"].startswith("text/html"):
        assert answer["Content-Type"] in NO_PAGES
        return
    if name == "sign-out":
        assert 'id="scan-form"' not in answer.content.decode()
        return
    form = the_form(answer.content.decode())
    some = {kind: codes[kind] for kind in ("pack", "unit", "number of a pick list")}
    if work_page(form["page"]) is not None:
        # There a scan does the page's own act, or is refused: see the tests of each page.
        assert all(led_to(client, form, code) for code in some.values())
        return
    assert lost_from(client, form, some) == {}


@pytest.mark.parametrize(
    "who", ["coordinator", "technician", "scrub", "surgeon", "stores", "quality", "supplier"]
)
def test_every_role_has_the_scan_field_on_its_first_page(
    who: str, world: World, furnished: dict[str, Any]
) -> None:
    page = signed_in(getattr(world.cast, who)).get("/", follow=True).content.decode()
    assert the_form(page)["action"] == reverse("scan")


def test_a_page_of_an_error_asks_for_nothing(world: World) -> None:
    page = signed_in(world.cast.keeper).get("/no/such/page/")
    assert page.status_code == 404
    assert 'id="scan-form"' not in page.content.decode()
