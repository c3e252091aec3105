"""A whole knee case in theatre, from its pick list to the signed record, with the scanner: bring in, count,
implants, stop moment, final count, sign, close; then stock and the reorder side know it.
"""

import itertools
import re
import sqlite3
from pathlib import Path
from typing import Any, NamedTuple

import pypdfium2
import pytest

from tests.journeys.conftest import Server
from tests.journeys.test_every_page_is_accessible import in_every_look
from tests.journeys.theatre import WIDE, Table, knee_of, pick

pytestmark = [pytest.mark.browser, pytest.mark.slow]
PIN = "4820"
# So long the page takes a second scan of one box for the first one read twice.
TWICE_MS = 3200


class Box(NamedTuple):
    """A unit of the pick list with what stands on its label."""

    slot: str
    name: str
    family: int
    rank: int
    unit: int
    lot: str
    label: str
    # Whether the supplier is to bill its use.
    theirs: bool


@pytest.fixture
def case(server: Server) -> int:
    return knee_of(server.database)


def boxes(database: Path, case: int) -> list[Box]:
    """The units on the case's pick list: of each kind one, by slot."""
    question = """
        SELECT family.slot, component.name, family.id, component.size_rank, unit.id, unit.lot, unit.serial,
            unit.expires, unit.tenure,
            (SELECT min(code) FROM trays_packlevel WHERE component_id = component.id AND quantity = 1)
        FROM cases_pickline AS line JOIN cases_picklist AS list ON list.id = line.pick_list_id
        JOIN trays_unit AS unit ON unit.id = line.unit_id
        JOIN trays_component AS component ON component.id = unit.component_id
        JOIN trays_family AS family ON family.id = component.family_id
        WHERE list.case_id = ? AND list.replaced_at IS NULL ORDER BY line.number
    """
    with sqlite3.connect(database) as world:
        rows = world.execute(question, (case,)).fetchall()
    found = []
    for slot, name, family, rank, unit, lot, serial, expires, tenure, code in rows:
        # With the lot before the date a separator stands in each: none can be read in two ways.
        label = f"]d201{code}10{lot}\x1d17{expires[2:].replace('-', '')}"
        label = f"{label}21{serial}" if serial else label
        found.append(Box(slot, name, family, rank, unit, lot, label, tenure != "owned"))
    return found


def allowed_together(database: Path, found: list[Box], slots: tuple[str, ...]) -> list[Box]:
    """One box for each slot, such that no rule on file speaks against a pair of them."""
    with sqlite3.connect(database) as world:
        rules = world.execute("SELECT family_a_id, rank_a, family_b_id, rank_b, verdict FROM trays_fitrule")
        verdicts: dict[frozenset[tuple[int, int]], str] = {}
        families: set[frozenset[int]] = set()
        for a, rank_a, b, rank_b, verdict in rules.fetchall():
            verdicts[frozenset({(a, rank_a), (b, rank_b)})] = verdict
            families.add(frozenset({a, b}))

    def fine(a: Box, b: Box) -> bool:
        if frozenset({a.family, b.family}) not in families:
            return True
        return verdicts.get(frozenset({(a.family, a.rank), (b.family, b.rank)})) == "allowed"

    choices = [[box for box in found if box.slot == slot] for slot in slots]
    for chosen in itertools.product(*choices):
        if all(fine(a, b) for a, b in itertools.combinations(chosen, 2)):
            return list(chosen)
    raise AssertionError("no construct of the pick list is allowed by the rules")


def whole_stage(nurse: Table, begin: str) -> None:
    """A count in which everything agrees: what is counted in fives, none of the rest, every pack."""
    nurse.press(f"Begin: {begin}")
    seen: list[str] = []
    while nurse.page.locator("#key-5").count():
        name = str(nurse.page.locator('#board [aria-current="true"]').inner_text())
        if name in seen:
            break
        seen.append(name)
        nurse.tap("5", 2)
        nurse.enter()
    nurse.page.locator("#none").click()
    nurse.accept_packs()
    nurse.close()
    nurse.wait_until_sent()


def sign_as(nurse: Table, seat: str, name: str) -> None:
    page = nurse.page
    form = page.locator("form").filter(has=page.get_by_role("button", name=f"Sign as {seat}"))
    form.get_by_label("Badge or sign-in name").fill(name)
    form.get_by_label("PIN").fill(PIN)
    nurse.press(f"Sign as {seat}")
    page.wait_for_url(re.compile(r"/sign/$"))


def words_of(pdf: Path) -> str:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return "\n".join(page.get_textpage().get_text_bounded() for page in document)
    finally:
        document.close()


def test_a_knee_from_its_pick_list_to_the_signed_record(
    walk: Any, server: Server, case: int, tmp_path: Path
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    found: list[str] = []
    coordinator = walk("addlestrop", viewport=WIDE)
    pick(coordinator, case, most=2)
    listed = boxes(server.database, case)
    femoral, tibial, insert = allowed_together(server.database, listed, ("femoral", "tibial", "insert"))

    nurse = Table(walk("marrin", viewport=WIDE), case)
    page = nurse.page

    def look() -> None:
        found.extend(in_every_look(page, axe))
        page.set_viewport_size(WIDE)

    nurse.open()
    for number in nurse.packs():
        nurse.bring_in(number)
    nurse.go("count/")
    whole_stage(nurse, "First count")

    # A box is checked by its first scan; the second one, once it is open, takes down that it is.
    nurse.go("implants/")
    nurse.says("0 of 3 parts that are always used are here.")
    nurse.scanner.scan(femoral.label)
    page.locator("#in-hand").wait_for()
    look()
    page.wait_for_timeout(TWICE_MS)
    nurse.scanner.scan(femoral.label)
    nurse.says(re.compile("^Opened: "))
    for box in (tibial, insert):
        nurse.scanner.scan(box.label)
        page.locator("#in-hand").wait_for()
        with page.expect_navigation():
            page.locator("#in-hand").get_by_role("button", name="Opened", exact=True).click()
        assert not page.locator("#in-hand").count()
    nurse.says("3 boxes without a fate.")
    nurse.says("allowed by the hospital’s fit rules")

    # Another scan of what lies there is asked about, and let go.
    page.wait_for_timeout(TWICE_MS)
    nurse.scanner.scan(tibial.label)
    page.locator("#answer").get_by_role("alert").wait_for()
    look()
    with page.expect_navigation():
        page.locator("#in-hand").get_by_role("button").last.click()
    assert not page.locator("#in-hand").count()

    page.get_by_role("link", name="Stop moment").click()
    nurse.says("Before implanting: read it aloud, boxes in view.")
    look()
    for check in page.get_by_role("checkbox").all():
        check.check()
    nurse.press("It was said aloud")
    nurse.says(re.compile("Said aloud .* taken down by C. Marrin"))
    page.get_by_role("link", name="Implants", exact=True).click()
    while page.get_by_role("button", name=re.compile("^Implanted")).count():
        with page.expect_navigation():
            page.get_by_role("button", name=re.compile("^Implanted")).first.click()
    nurse.says("Every box has its fate.")
    while page.get_by_role("button", name=re.compile("^Card given")).count():
        with page.expect_navigation():
            page.get_by_role("button", name=re.compile("^Card given")).first.click()
    look()

    nurse.go("count/")
    whole_stage(nurse, "Cavity or joint")
    whole_stage(nurse, "Final count")

    page.get_by_role("link", name="Sign", exact=True).click()
    nurse.says("2 signatures are missing.")
    look()
    sign_as(nurse, "scrub", "pellow")
    sign_as(nurse, "circulating", "marrin")
    nurse.says("The record is signed.")
    assert "C. Marrin" in page.locator("header .who").inner_text()
    page.get_by_role("link", name="Send the sets away").click()
    look()
    nurse.press("Send the chosen packs")
    nurse.says("Nothing is open; the case can be closed.")
    look()
    nurse.press("Close the case")
    page.wait_for_url(re.compile(r"/record/$"))
    nurse.says(re.compile(r"\bClosed \w+ \d"))
    look()
    main = page.locator("main").inner_text()
    assert main.count("valid") >= 2
    assert "changed since" not in main
    assert "Implanted" in main
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Record to print").click()
    waiting.value.save_as(tmp_path / "record.pdf")
    assert "patient’s sticker here" in words_of(tmp_path / "record.pdf")

    # What was used has left stock, and whoever orders sees it.
    used = [box.unit for box in (femoral, tibial, insert)]
    marks = ",".join("?" * len(used))
    with sqlite3.connect(server.database) as world:
        question = f"SELECT DISTINCT state FROM trays_unit WHERE id IN ({marks})"  # noqa: S608
        states = world.execute(question, used).fetchall()
        status = world.execute("SELECT status FROM cases_case WHERE id = ?", (case,)).fetchone()
        held = world.execute(
            "SELECT count(*) FROM cases_hold WHERE case_id = ? AND ended_at IS NULL", (case,)
        ).fetchone()
    assert (states, status, held) == ([("implanted",)], ("closed",), (0,))
    stores = walk("ossett", viewport=WIDE)
    stores.goto("/reorders/used/?site=larkmere")
    told = stores.locator("main").inner_text()
    of_theirs = [box for box in (femoral, tibial, insert) if box.theirs]
    assert of_theirs
    assert f"{len(of_theirs)} uses of supplier’s stock wait for their bill" in told
    assert all(box.lot in told for box in of_theirs), told
    assert found == []
    assert page.complaints + coordinator.complaints + stores.complaints == []
