"""The scanner test: its symbols read back, and a scan of them is answered in place."""

import base64
import re
from typing import Any

import numpy
import pytest
import zxingcpp
from numpy.typing import NDArray

from tests.scanner import CAPS_LOCK
from tests.trays.symbols import rendering
from tests.world import World
from trays.identifiers.gs1 import GS
from trays.refusals.models import RefusedScan
from trays.scanners.pictures import symbols_drawn, symbols_sheet
from trays.scanners.probe import TEST_PAYLOAD

PIXELS = 4


def painted(svg: str) -> NDArray[numpy.uint8]:
    """The rectangles of a drawing as grey dots, some for each module, the linear one made taller."""
    wide, high = (int(side) for side in re.findall(r'viewBox="0 0 (\d+) (\d+)"', svg)[0])
    tall = 40 if high == 1 else 1
    dots = numpy.full((high * tall, wide), 255, dtype=numpy.uint8)
    _ground, *dark = re.findall(r"<rect ([^/]*)/>", svg)
    for rect in dark:
        x, y, width, height = (int(value) for value in re.findall(r'="(\d+)"', rect))
        dots[y * tall : (y + height) * tall, x : x + width] = 0
    return numpy.repeat(numpy.repeat(dots, PIXELS, axis=0), PIXELS, axis=1)


def test_the_symbols_on_the_screen_read_back() -> None:
    read = [zxingcpp.read_barcodes(painted(str(symbol.svg))) for symbol in symbols_drawn()]
    assert [[(one.symbology_identifier, one.bytes.decode()) for one in found] for found in read] == [
        [("]d2", TEST_PAYLOAD)],
        [("]C1", TEST_PAYLOAD)],
    ]


def test_the_symbols_on_paper_read_back() -> None:
    (page,) = rendering.pages(symbols_sheet(), 300)
    assert [(one.identifier, one.text) for one in rendering.read(page)] == [
        ("]d2", TEST_PAYLOAD),
        ("]C1", TEST_PAYLOAD),
    ]
    assert "Scanner test" in rendering.texts(symbols_sheet())[0]


def probed(client: Any, text: str, *, page: str = "/scanner/test/", **more: str) -> str:
    def coded(one: str) -> str:
        return base64.b64encode(one.encode()).decode()

    given = {"raw": coded(text), "page": page, "how": "scanner", "positions": coded(TEST_PAYLOAD)} | more
    return str(client.post("/scan/", given, headers={"HX-Request": "true"}).content.decode())


def test_the_page_offers_the_symbols_and_their_paper(world: World, as_person: Any) -> None:
    client = as_person("scrub")
    page = client.get("/scanner/test/").content.decode()
    assert page.count("<svg class=") > 2 and "data-probes" in page
    paper = client.get("/scanner/test.pdf")
    assert paper["Content-Type"] == "application/pdf" and paper.content.startswith(b"%PDF")


def test_a_scan_of_the_symbol_is_told_on_any_page_and_kept_nowhere(world: World, as_person: Any) -> None:
    client = as_person("stores")
    for page in ("/scanner/test/", "/stock/"):
        fine = probed(client, f"]d2{TEST_PAYLOAD}", page=page, end="Enter", gap="12")
        assert "The scanner sends codes as it should." in fine and 'data-tone="accepted"' in fine
        lost = probed(client, TEST_PAYLOAD.replace(GS, ""), page=page)
        assert "lot and serial run into each other" in lost and 'data-tone="refused"' in lost
    assert not RefusedScan.objects.exists()


def test_what_the_browser_tells_beside_it_is_used(world: World, as_person: Any) -> None:
    client = as_person("stores")
    turned = "".join(CAPS_LOCK.get(letter, letter) for letter in TEST_PAYLOAD)
    assert "CapsLock is on." in probed(client, turned, caps="1")
    page = probed(client, TEST_PAYLOAD.replace("y", "z"), end="none", gap="130")
    assert "another keyboard’s language" in page
    assert "No Enter and no Tab" in page
    assert 'name="slower" value="4" checked' in page
    assert "Name this workstation, with what is ticked" in page
    assert "ticked" not in probed(as_person("scrub"), TEST_PAYLOAD.replace("y", "z"))


@pytest.mark.parametrize("nonsense", [{"gap": "-1"}, {"gap": "soon"}, {"positions": "%%%"}, {"end": "\x00"}])
def test_nonsense_beside_it_loses_no_scan(world: World, as_person: Any, nonsense: dict[str, str]) -> None:
    assert "sends codes as it should" in probed(as_person("stores"), TEST_PAYLOAD, **nonsense)


def test_another_code_on_the_test_page_is_answered_as_anywhere(world: World, as_person: Any) -> None:
    world.a_set("general", "KG-01")
    client = as_person("stores")
    going = client.post("/scan/", {"code": "KG-01", "page": "/scanner/test/"})
    assert going["Location"] == "/sets/KG-01/"
    assert "Nothing is called" in probed(client, "garbled by something", positions="")
