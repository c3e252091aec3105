"""A code read by camera: a film of a printed label in place of a camera, through the page's own policy."""

import re
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from tests.conftest import CHROMIUM_ARGS, chromium_path
from tests.journeys.conftest import Server
from tests.journeys.theatre import TABLET, WIDE, Table, knee_of, pick
from tests.video import as_seen, film, page_of
from trays.identifiers import ours
from trays.scanners.pictures import symbols_sheet
from trays.scanners.probe import TEST_GTIN
from trays.symbols import datamatrix
from trays.symbols.paper import Paper
from trays.symbols.stock import GRID_300, Page

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.camera]
Filming = Callable[..., Any]


@pytest.fixture
def filming(chromium: Any, address: str, tmp_path: Path, sign_in: Any) -> Iterator[Filming]:
    """A page of somebody's whose browser has a camera that sees this picture."""
    opened = []

    def start(username: str, picture: Any, **options: Any) -> Any:
        seen = film(picture, tmp_path / "camera.y4m")
        flags = (
            "--use-fake-device-for-media-stream",
            "--use-fake-ui-for-media-stream",
            f"--use-file-for-fake-video-capture={seen}",
        )
        browser = chromium.browser_type.launch(executable_path=chromium_path(), args=[*CHROMIUM_ARGS, *flags])
        opened.append(browser)
        context = browser.new_context(base_url=address, permissions=["camera"], **options)
        return sign_in(context, username)

    yield start
    for browser in opened:
        browser.close()


def test_a_pick_list_is_found_by_its_paper(walk: Any, filming: Filming) -> None:
    page = walk("addlestrop")
    page.goto("/fortnight/")
    page.get_by_role("rowheader").get_by_role("link").first.click()
    page.get_by_role("button", name="Make the pick list").click()
    page.wait_for_url(re.compile(r"/pick-lists/\d+/$"))
    there = page.url
    sheet = page_of(page.request.get(f"{there}pick-list.pdf").body(), 0, dpi=300)
    # The head of the sheet, held into the camera.
    head = sheet.crop((150, 100, 1700, 760))

    holder = filming("addlestrop", as_seen(head))
    asked: list[str] = []
    holder.on("request", lambda request: asked.append(request.url))
    holder.goto("/help/")
    assert not any("zxing" in url for url in asked)
    holder.get_by_role("button", name="Camera", exact=True).click()
    holder.wait_for_url(there, timeout=15_000)
    own = there.partition("/pick-lists/")[0]
    assert [url for url in asked if not url.startswith((own, "data:"))] == []
    assert any(url.endswith(".wasm") for url in asked)
    assert holder.complaints == []


def test_what_a_camera_reads_is_judged_like_a_scan_and_its_window_has_no_barrier(filming: Filming) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    bars = page_of(symbols_sheet(), 0).crop((170, 1150, 2230, 1560))
    page = filming("ossett", as_seen(bars, turned=4), viewport={"width": 820, "height": 1180})
    page.goto("/scanner/test/")
    page.get_by_role("button", name="Camera", exact=True).click()
    page.locator("#answer", has_text="The scanner sends codes as it should.").wait_for(timeout=15_000)
    assert "]C1, GS1-128" in page.inner_text("#answer")
    assert not page.get_by_role("dialog").is_visible()
    assert [one["id"] for one in axe.run(page).response["violations"]] == []
    assert page.complaints == []


def test_nothing_is_taken_where_several_codes_are_seen_and_out_of_sight_the_camera_stops(
    filming: Filming,
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = filming("ossett", as_seen(two_codes()))
    page.goto("/help/")
    button = page.get_by_role("button", name="Camera", exact=True)
    button.click()
    page.get_by_text("More than one code is in the picture.").wait_for(timeout=15_000)
    assert page.inner_text("#answer").strip() == ""
    assert [one["id"] for one in axe.run(page).response["violations"]] == []
    page.evaluate(
        "() => { window.seen = document.getElementById('camera-picture').srcObject.getTracks()[0]; }"
    )
    page.evaluate(
        "() => { Object.defineProperty(document, 'hidden', { value: true, configurable: true });"
        " document.dispatchEvent(new Event('visibilitychange')); }"
    )
    assert page.evaluate("() => window.seen.readyState") == "ended"
    assert not page.get_by_role("dialog").is_visible()
    page.evaluate("() => { delete document.hidden; }")
    button.click()
    page.get_by_text("More than one code is in the picture.").wait_for(timeout=15_000)
    page.keyboard.press("Escape")
    assert not page.get_by_role("dialog").is_visible()
    assert page.evaluate("() => document.activeElement.id") == "camera"
    assert page.complaints == []


def test_in_theatre_the_camera_does_the_act_of_the_page_it_stands_on(
    walk: Any, server: Server, filming: Filming
) -> None:
    case = knee_of(server.database)
    pick(walk("addlestrop", viewport=WIDE), case, most=1)
    scrub = Table(walk("pellow", viewport=WIDE), case)
    scrub.open()
    (number,) = scrub.packs()
    with sqlite3.connect(server.database) as world:
        question = "SELECT giai, round FROM trays_pack WHERE number = ?"
        giai, turn = world.execute(question, (number,)).fetchone()
    paper = Paper(Page(60, 40, GRID_300), title="pack")
    paper.matrix(20, 10, datamatrix.modules(ours.pack_label(giai[:7], giai[7:], str(turn))), 16)
    paper.next_page()

    nurse = Table(filming("marrin", as_seen(page_of(paper.pdf(), 0)), viewport=TABLET), case)
    nurse.go()
    page = nurse.page
    page.get_by_role("button", name="Camera", exact=True).click()
    page.wait_for_url(re.compile(r"\?pack=\d+"), timeout=15_000)
    nurse.press("Seen, changed")
    nurse.says(f"Pack {number} is opened and counted with.")
    nurse.go("count/")
    nurse.press("Begin: First count")
    page.get_by_role("button", name="Camera", exact=True).click()
    page.locator("#answer", has_text=f"{number}: counted aloud and accepted.").wait_for(timeout=15_000)
    assert page.complaints == []


def two_codes() -> Image.Image:
    """Two labels side by side, each with a code of its own."""
    paper = Paper(Page(100, 50, GRID_300), title="two")
    for x, gtin in ((10, "09521234000013"), (60, TEST_GTIN)):
        paper.matrix(x, 10, datamatrix.modules(ours.component(gtin)), 14)
    paper.next_page()
    return page_of(paper.pdf(), 0)


def test_a_camera_that_may_not_be_used_is_told_in_words(walk: Any) -> None:
    page = walk("ossett")
    page.goto("/help/")
    page.evaluate(
        "() => { navigator.mediaDevices.getUserMedia ="
        " () => Promise.reject(new DOMException('no', 'NotAllowedError')); }"
    )
    page.get_by_role("button", name="Camera", exact=True).click()
    page.get_by_text("The camera may not be used").wait_for()
    page.get_by_role("button", name="Stop the camera").click()
    assert not page.get_by_role("dialog").is_visible()
