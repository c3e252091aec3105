"""Scanning as people at Larkmere do it: real key events, on one page after the other, in the demo's world."""

import re
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.scanner import GERMAN, GS, Scanner
from trays.identifiers import gs1, ours
from trays.scanners.probe import TEST_PAYLOAD

pytestmark = [pytest.mark.browser, pytest.mark.slow]
PAGES = ("/fortnight/", "/stock/", "/stock/mk-femoral/", "/pick-lists/", "/sets/", "/help/", "/scanner/test/")


@dataclass(frozen=True)
class Box:
    """A unit on a shelf of the demo's world, and what a scan of it is answered with."""

    gtin: str
    lot: str
    expires: str
    place: str

    @property
    def label(self) -> str:
        """Its whole code; the lot is not last, so that it needs the separator."""
        return gs1.build([("01", self.gtin), ("10", self.lot), ("17", self.expires)])


@pytest.fixture
def box(demo_database: Path) -> Box:
    """A unit of a lot that stands once on a shelf at Larkmere, held for nobody."""
    question = """
        SELECT level.code, unit.lot, substr(replace(unit.expires, '-', ''), 3), place.name
        FROM trays_unit AS unit JOIN trays_place AS place ON place.id = unit.place_id
        JOIN trays_packlevel AS level ON level.component_id = unit.component_id AND level.quantity = 1
        JOIN trays_site AS site ON site.id = unit.site_id
        WHERE unit.state = 'shelf' AND unit.lot <> '' AND unit.expires IS NOT NULL AND site.code = 'larkmere'
        GROUP BY level.code, unit.lot HAVING count(*) = 1 ORDER BY unit.lot LIMIT 1
    """
    with sqlite3.connect(demo_database) as world:
        code, lot, expires, place = world.execute(question).fetchone()
    return Box(code.rjust(14, "0"), lot, expires, place)


@pytest.fixture
def grai(demo_database: Path) -> tuple[str, str]:
    """The code on a set's holder, and the set's own."""
    with sqlite3.connect(demo_database) as world:
        found = world.execute(
            "SELECT grai, code FROM trays_instrumentset WHERE grai <> '' ORDER BY id"
        ).fetchone()
    return found[0], found[1]


def answer(page: Any, words: str) -> str:
    """The answer to the scan, once it holds the words."""
    place = page.locator("#answer .part", has_text=words).first
    place.wait_for(timeout=10_000)
    return str(page.inner_text("#answer"))


def test_one_scan_from_any_page_finds_the_box_the_set_and_nothing_by_mistake(
    walk: Any, box: Box, grai: tuple[str, str]
) -> None:
    page = walk("brackenthwaite")
    for number, address in enumerate(PAGES):
        page.goto(address)
        way = ("ctrl", "alt", "key", "unnamed", "f8", "<GS>", "{GS}")[number % 7]
        Scanner(page, separator=way).scan(f"]C1{box.label}")
        said = answer(page, f"lot {box.lot}")
        assert box.place in said and "Read: 01" in said
        # The cursor stands in whatever field or list the page has.
        field = page.locator("main input:visible, main select:visible").first
        if field.count():
            field.focus()
            before = field.input_value()
            Scanner(page).scan(f"]d2{box.label.replace(box.lot, 'NOSUCH')}")
            answer(page, "lot NOSUCH")
            assert field.input_value() == before
        code = ours.set_label(grai[0][1:14], grai[0][14:])
        Scanner(page).scan(f"]d2{code}")
        page.wait_for_url(re.compile(rf"/sets/{re.escape(grai[1])}/$"))
    assert page.complaints == []


def test_a_label_in_two_codes_waits_over_a_reload_and_can_be_given_up(walk: Any, box: Box) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = walk("ossett")
    page.goto("/stock/")
    rest, item = f"17{box.expires}10{box.lot}", f"01{box.gtin}"
    Scanner(page).scan(rest)
    answer(page, "Waiting for the code with the item number")
    assert [one["id"] for one in axe.run(page).response["violations"]] == []
    page.reload()
    page.goto("/reorders/")
    assert "Waiting for the code with the item number" in page.inner_text("#answer")
    Scanner(page).scan(item)
    assert "Waiting" not in answer(page, box.place)

    Scanner(page).scan(rest)
    answer(page, "Waiting for the code with the item number")
    # By keyboard alone.
    page.get_by_role("button", name="Give up waiting").focus()
    page.keyboard.press("Enter")
    answer(page, "Given up")
    Scanner(page).scan(item)
    assert f"lot {box.lot}" not in answer(page, "On site")
    assert page.complaints == []


def test_a_code_that_reads_in_several_ways_is_chosen_by_keyboard(walk: Any, box: Box) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = walk("ossett")
    page.goto("/stock/")
    Scanner(page, separator="").scan(f"01{box.gtin}10{box.lot}{GS}21X7")
    answer(page, "can be read in")
    assert [one["id"] for one in axe.run(page).response["violations"]] == []
    choices = page.locator("#answer button").all_inner_texts()
    wanted = choices.index(f"(01){box.gtin} (10){box.lot} (21)X7")
    assert page.evaluate("() => document.activeElement.innerText") == choices[0]
    for _ in range(wanted):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    said = answer(page, "serial X7")
    assert "chosen by a person" in said


def test_the_scanner_test_finds_what_is_wrong_and_the_workstation_mends_it(walk: Any, box: Box) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = walk("ossett", viewport={"width": 1280, "height": 900})
    # It types # for the separator and ~ before the code, no key after it, is slow, and speaks US keyboard.
    wrong: dict[str, Any] = {"separator": "#", "computer": GERMAN, "gap": 0.06, "end": ""}
    page.goto("/scanner/test/")
    Scanner(page).scan(f"]d2{TEST_PAYLOAD}")
    assert "]d2, GS1 DataMatrix" in answer(page, "The scanner sends codes as it should.")
    Scanner(page, **wrong).scan(f"~{TEST_PAYLOAD}")
    said = answer(page, "The scanner changes what it reads")
    for words in (
        "came as #",
        "another keyboard’s language",
        "~ comes before",
        "No Enter and no Tab",
        "60 ms",
    ):
        assert words in said
    assert [one["id"] for one in axe.run(page).response["violations"]] == []
    page.get_by_role("button", name="Name this workstation").click()
    page.get_by_label("Name", exact=True).fill("Implant store, left PC")
    page.get_by_role("button", name="Add this workstation").click()
    page.get_by_text("this device is Implant store, left PC").wait_for()

    page.goto("/scanner/test/")
    Scanner(page, **wrong).scan(f"~{TEST_PAYLOAD}")
    answer(page, "The scanner sends codes as it should.")
    page.goto("/stock/")
    Scanner(page, **wrong).scan(f"~{box.label}")
    answer(page, f"lot {box.lot}")
    # Another scanner on the same desk still works.
    Scanner(page).scan(f"]C1{box.label.replace(box.lot, 'OTHER')}")
    answer(page, "lot OTHER")
    assert page.complaints == []
