"""A used pack from the dirty trolley to its shelf, as sterile services at Larkmere do it: scanned, pressed,
signed by another person.

Each page on the way is looked at by axe, and a scan or a press changes the page where it stands.
"""

import re
import sqlite3
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.journeys.conftest import PASSWORD
from tests.journeys.test_every_page_is_accessible import faults
from tests.scanner import Scanner
from trays.identifiers import ours

pytestmark = [pytest.mark.browser, pytest.mark.slow]
PIN = "4820"
SHELF = ours.place("9521234900108", "STA")
WIDE = {"width": 1280, "height": 900}


@pytest.fixture
def used(demo_database: Path) -> str:
    """The number of a pack at Larkmere that theatre has used."""
    question = """
        SELECT pack.number FROM trays_pack AS pack JOIN trays_instrumentset AS one ON one.id = pack.set_id
        JOIN trays_site AS site ON site.id = one.site_id
        WHERE pack.state = 'used' AND site.code = 'larkmere' ORDER BY pack.id LIMIT 1
    """
    with sqlite3.connect(demo_database) as world:
        return str(world.execute(question).fetchone()[0])


@pytest.fixture
def shelf(demo_database: Path) -> str:
    """What stands on a shelf's label at Larkmere: another site has a shelf of the same short code."""
    question = """
        SELECT place.gln, place.extension FROM trays_place AS place JOIN trays_site AS site
        ON site.id = place.site_id WHERE site.code = 'larkmere' AND place.code = 'ST-A'
    """
    with sqlite3.connect(demo_database) as world:
        gln, extension = world.execute(question).fetchone()
    return f"]C1{ours.place(gln, extension)}"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A sterilizer's temperatures, a row every ten seconds: up, held for four minutes, down."""
    cycle = [(0, 22.0), (300, 90.0), (600, 121.0), (840, 134.6), (1080, 134.8), (1320, 101.0), (1620, 76.0)]
    rows = ["time (s),chamber (°C),drain (°C)"]
    for (start, low), (end, high) in pairwise(cycle):
        for second in range(start, end, 10):
            celsius = low + (high - low) * (second - start) / (end - start)
            rows.append(f"{second},{celsius:.1f},{celsius - 0.2:.1f}")
    path = tmp_path / "load.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


class Walk:
    """One person's page, with a scanner beside it."""

    def __init__(self, page: Any, axe: Any) -> None:
        self.page, self.axe = page, axe
        self.scanner = Scanner(page)
        self.found: list[str] = []

    def go(self, address: str) -> None:
        # Keys reach the page in front, and another person's may be.
        self.page.bring_to_front()
        self.page.goto(address)
        self.look()

    def look(self) -> None:
        """What is wrong with the page as it stands, wide and narrow."""
        for size in (WIDE, {"width": 320, "height": 800}):
            self.page.set_viewport_size(size)
            self.found += [f"{self.page.url} {size['width']}: {one}" for one in faults(self.page, self.axe)]
        self.page.set_viewport_size(WIDE)

    def press(self, name: str | re.Pattern[str]) -> None:
        self.page.get_by_role("button", name=name).first.click()

    def says(self, words: str) -> None:
        self.page.get_by_text(words).first.wait_for()

    def stays(self, act: Any, words: str) -> None:
        """The act changes the page in place: it is not loaded anew."""
        self.page.evaluate("window.stayed = true")
        act()
        self.says(words)
        assert self.page.evaluate("window.stayed") is True

    def set_pin(self) -> None:
        self.go("/my-pin/")
        self.page.get_by_label("New PIN", exact=True).fill(PIN)
        self.page.get_by_label("New PIN again").fill(PIN)
        self.page.get_by_label("Your password").fill(PASSWORD)
        self.press("Set my PIN")
        self.says("Your PIN is set")

    def fill_and_run(self, kind: str, programme: str, pack: str) -> None:
        """A machine that is empty: its day's tests, a new run, the pack in it by scan, started and ended."""
        self.go("/machines/")
        free = self.page.get_by_role("row").filter(has_text="empty").filter(has_text=kind).first
        free.get_by_role("link").first.click()
        self.says("Latest runs")
        while self.page.get_by_role("button", name="Passed").count():
            with self.page.expect_navigation():
                self.press("Passed")
        self.page.get_by_role("radio", name=programme).check()
        self.press("Begin a new run")
        self.says("Being filled.")
        self.look()
        self.stays(lambda: self.scanner.scan(pack), f"Pack {pack}: in.")
        self.page.get_by_role("rowheader").get_by_text(pack).wait_for()
        self.press("Start it")
        self.page.get_by_text("Running.", exact=True).wait_for()
        self.look()
        self.page.get_by_role("radio", name="Passed").check()
        self.press("It has ended")
        self.says("Ended, not yet decided.")
        self.look()


def test_from_the_dirty_trolley_to_the_shelf(walk: Any, used: str, shelf: str, log: Path) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    technician = Walk(walk("wickstead", viewport=WIDE), axe)
    page = technician.page

    technician.go("/receive/")
    technician.stays(lambda: technician.scanner.scan(used), f"Pack {used}: in hand.")
    technician.says("1 pack in hand.")
    technician.look()
    technician.press("Receive 1 pack")
    technician.says("1 pack is received.")

    technician.fill_and_run("Washer 2", "Instruments, A0 600", used)
    page.get_by_role("radio", name="Passed").check()
    technician.press("Decide")
    technician.says("Passed.")

    technician.go("/bench/")
    technician.scanner.scan(used)
    technician.press("Take it to the bench")
    technician.says("0 of ")
    technician.look()
    first = page.locator("#line-1")
    technician.stays(first.click, "Undo line 1")
    technician.stays(lambda: page.locator("#not-2").click(), "Another instrument in its place")
    technician.look()
    technician.stays(lambda: technician.press(re.compile("missing")), "1 short")
    technician.look()
    technician.stays(lambda: technician.press("Undo line 2"), "Undo line 1")
    technician.stays(lambda: technician.press(re.compile(r"The other \d+ are there")), "Close the list")
    technician.stays(lambda: technician.press("Close the list"), "Weigh it and pack it.")
    technician.look()
    page.get_by_label("Lot of the indicator inside").fill("X20931")
    page.get_by_label("Weight in kilograms").fill("6.2")
    technician.stays(lambda: technician.press("It is packed"), "Print its label")
    technician.look()

    technician.fill_and_run("Sterilizer 2", "134 °C, wrapped", used)
    load = page.url
    page.get_by_text("Import the temperature log").click()
    page.get_by_label("Temperature log", exact=True).set_input_files(log)
    technician.press("Import it")
    technician.says("Worked out of 162 readings")
    assert "no log yet" not in page.inner_text("main")
    page.get_by_label("Your PIN").first.fill(PIN)
    technician.press("Sign and release the load")
    technician.says("You packed all of this load yourself")

    colleague = Walk(walk("garrowby", viewport=WIDE), axe)
    colleague.set_pin()
    colleague.go(load)
    colleague.page.get_by_label("Your PIN").first.fill(PIN)
    colleague.press("Sign and release the load")
    colleague.says("Passed.")

    technician.go("/store/")
    technician.stays(lambda: technician.scanner.scan(SHELF), "What you scan now goes to Sterile store, bay A")
    technician.stays(lambda: technician.scanner.scan(used), f"Pack {used} is on Sterile store, bay A.")
    technician.look()
    page.goto("/sets/")
    technician.scanner.scan(used)
    technician.says("Stored.")
    technician.look()

    assert technician.found + colleague.found == []
    # The refused signature was answered with a status of its own; the browser tells of that alone.
    told = [one for one in page.complaints if not re.search("status of (403|422)", one)]
    assert told + colleague.page.complaints == []
