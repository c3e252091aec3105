"""The count of a knee from its pick list on, walked in Chromium with a scanner."""

from typing import Any

import pytest

from tests.journeys.conftest import Server
from tests.journeys.test_every_page_is_accessible import in_every_look
from tests.journeys.theatre import WIDE, Table, entries, first_count, knee_of, pick

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def case(server: Server) -> int:
    return knee_of(server.database)


def line_and_keys_in_sight(nurse: Table) -> bool:
    """The line in hand stands above its keys, and both on the screen."""
    height = nurse.page.viewport_size["height"]
    line, keys = (nurse.page.locator(what).bounding_box() for what in ("#board tr.hand", "#keys"))
    return bool(0 <= line["y"] and line["y"] + line["height"] <= keys["y"] + 1) and bool(
        keys["y"] + keys["height"] <= height + 1
    )


def test_a_knee_from_its_pick_list_to_the_closed_final_count(walk: Any, server: Server, case: int) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    pick(walk("addlestrop", viewport=WIDE), case)
    nurse = Table(walk("marrin", viewport=WIDE), case)
    assert nurse.page.url.endswith("/theatre/")
    found = in_every_look(nurse.page, axe)
    nurse.page.set_viewport_size(WIDE)

    nurse.open()
    numbers = nurse.packs()
    assert len(numbers) > 3
    for number in numbers:
        nurse.bring_in(number)
    nurse.scanner.scan(numbers[0])
    nurse.says(f"Pack {numbers[0]} has been brought in for this case already.")
    found += in_every_look(nurse.page, axe)
    nurse.page.set_viewport_size(WIDE)

    nurse.page.get_by_role("link", name="To the count").click()
    nurse.says("Not begun yet.")
    found += in_every_look(nurse.page, axe)
    nurse.page.set_viewport_size(WIDE)
    soft = first_count(nurse)
    assert soft

    nurse.press("Begin: Cavity or joint")
    nurse.choose(nurse.lines()[-1])
    assert line_and_keys_in_sight(nurse)
    nurse.choose(soft[0])
    nurse.tap("5")
    assert line_and_keys_in_sight(nurse)
    nurse.tap("1", 5)
    nurse.page.locator("#undo").click()
    nurse.enter()
    assert nurse.verdict(soft[0]) == "1 fewer"
    nurse.says(f"Does not agree: {soft[0]}.")
    nurse.press("Begin the steps")
    nurse.page.get_by_placeholder("whom, and what was said").fill("Ms Thornby-Vale, said aloud")
    nurse.press("Done")
    nurse.says("Ms Thornby-Vale, said aloud")
    found += in_every_look(nurse.page, axe)
    nurse.page.set_viewport_size(WIDE)
    nurse.tap("5", 2)
    nurse.enter()
    assert nurse.verdict(soft[0]) == "agrees"
    nurse.choose(soft[0])
    nurse.press("Done")
    nurse.says("It agrees now. Say how.")
    nurse.page.get_by_label("Outcome").select_option(label="Found: the count is right now")
    nurse.page.get_by_label("The second person, who agrees aloud").select_option(label="S. Pellow")
    nurse.press("Both say that it ended so")
    for name in soft[1:]:
        nurse.choose(name)
        nurse.tap("5", 2)
        nurse.enter()
    nurse.page.locator("#none").click()
    nurse.wait_until_sent()
    # A pack whose lines were counted aloud is accepted by its scan as well as by touch.
    nurse.scanner.scan(numbers[0])
    nurse.says(f"{numbers[0]}: counted aloud and accepted.")
    nurse.accept_packs()
    nurse.close()

    nurse.press("Begin: Final count")
    for name in soft:
        nurse.choose(name)
        nurse.tap("5", 2)
        nurse.enter()
    nurse.page.locator("#none").click()
    nurse.accept_packs()
    nurse.close()
    nurse.says("All counts have ended")
    nurse.wait_until_sent()
    assert [counted for counted, _key in entries(server, soft[0])] == [10, 9, 10, 10]
    assert found == []
    assert nurse.page.complaints == []
