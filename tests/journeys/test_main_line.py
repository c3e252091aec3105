"""The main line, as its people walk it in Chromium."""

import re
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def words_of(pdf: Path) -> str:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return "\n".join(page.get_textpage().get_text_bounded() for page in document)
    finally:
        document.close()


def wanted_of_femoral(page: Any, size: str, side: str) -> int:
    """How many of a femoral size the reorder page wants; 0 where it has no line."""
    page.goto("/reorders/?site=larkmere")
    line = page.locator("table tbody tr", has_text=f"Femoral component, {side}").filter(
        has=page.locator(f"th:has-text('{size}')")
    )
    if not line.count():
        return 0
    found = re.search(r"(\d+) wanted", line.first.inner_text())
    assert found, line.first.inner_text()
    return int(found[1])


def book_a_knee(page: Any, *, reference: str, low: str, high: str) -> None:
    page.goto("/fortnight/")
    page.get_by_role("link", name="Book a case").click()
    page.get_by_label("Procedure").select_option(label="Total knee")
    page.get_by_role("radio", name=re.compile("^left$", re.I)).check()
    page.get_by_label("Surgeon").select_option(label="Mr Haldersley")
    page.get_by_label("Theatre").select_option(index=3)
    page.get_by_label("Day", exact=True).fill((date.today() + timedelta(days=2)).isoformat())
    page.get_by_role("button", name="Go on to place and sizes").click()
    page.get_by_label("Reference").fill(reference)
    for slot in ("femoral", "tibial"):
        group = page.get_by_role("group", name=re.compile(slot, re.I)).first
        group.get_by_label("From").select_option(label=low)
        group.get_by_label("To", exact=True).select_option(label=high)
        group.get_by_label("Method").select_option(label="X-ray template")
    page.get_by_role("button", name="Book this case").click()
    page.wait_for_url(re.compile(r"/cases/\d+/$"))


def test_from_a_booked_range_to_pick_list_count_sheets_and_the_moved_alert(walk: Any, tmp_path: Path) -> None:
    stores = walk("ossett")
    before = wanted_of_femoral(stores, "2", "LEFT")

    coordinator = walk("addlestrop")
    assert coordinator.url.endswith("/fortnight/")
    book_a_knee(coordinator, reference="LK-JOURNEY", low="1", high="2")

    heading = coordinator.get_by_role("heading", level=1).inner_text()
    assert "LEFT" in heading and "LK-JOURNEY" in heading
    told = coordinator.locator("main").inner_text()
    assert re.search(r"On site\s+(Covered|Thin|Short|Not known)", told)
    assert re.search(r"in 100", told)
    assert "Femoral" in told

    coordinator.get_by_role("button", name="Make the pick list").click()
    coordinator.wait_for_url(re.compile(r"/pick-lists/\d+/$"))
    with coordinator.expect_download() as waiting:
        coordinator.get_by_role("link", name=re.compile("print|pdf", re.I)).first.click()
    waiting.value.save_as(tmp_path / "pick-list.pdf")
    picked = words_of(tmp_path / "pick-list.pdf")
    assert "LK-JOURNEY" in picked and "Total knee, LEFT" in picked

    coordinator.go_back()
    coordinator.get_by_role("link", name=re.compile("count sheets", re.I)).first.click()
    coordinator.get_by_role("button", name=re.compile("make the count sheets", re.I)).click()
    with coordinator.expect_download() as waiting:
        coordinator.get_by_role("link", name=re.compile("print|pdf", re.I)).first.click()
    waiting.value.save_as(tmp_path / "counts.pdf")
    counted = words_of(tmp_path / "counts.pdf")
    assert "LK-JOURNEY" in counted and "patient’s sticker here" in counted

    assert wanted_of_femoral(stores, "2", "LEFT") > before
    assert coordinator.complaints == [] and stores.complaints == []
