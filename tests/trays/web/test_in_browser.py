"""The pages in Chromium under their own policy: sorting, themes, accessibility."""

from typing import Any

import pytest

from tests.scanner import Scanner

pytestmark = pytest.mark.browser
GS1 = "]d2010952123456789017271130\x1d21S1"


def test_sorting_swaps_only_the_lines_and_keeps_the_address(page: Any) -> None:
    page.goto("/table/")
    page.evaluate("() => { window.stays = true; }")
    page.click("#table-lines-by-lot")
    page.wait_for_selector("th.asc")
    page.click("#table-lines-by-lot")
    page.wait_for_selector("th.desc")
    assert page.url.endswith("?sort=-lot")
    assert page.inner_text("tbody th[scope=row]").strip() == "L40119"
    assert page.evaluate("() => window.stays === true")
    assert page.evaluate("() => document.activeElement.id") == "table-lines-by-lot"


def test_the_same_works_without_scripts(chromium: Any, address: str) -> None:
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    page = context.new_page()
    page.goto("/table/")
    page.click("text=Lot >> nth=0")
    assert page.url.endswith("?sort=lot")
    page.fill("#scan", "L4")
    page.press("#scan", "Enter")
    assert f"Read {b'L4'.hex()}" in page.inner_text("main")
    context.close()


def test_faults_of_a_form_have_the_focus_and_lead_to_the_field(page: Any) -> None:
    page.goto("/case/")
    page.evaluate("() => document.querySelector('form.form').submit()")
    page.wait_for_selector("#faults")
    assert page.evaluate("() => document.activeElement.id") == "faults"
    page.click("#faults a >> nth=0")
    assert page.evaluate("() => document.activeElement.id") == "id_reference"


def test_dark_is_chosen_by_a_plain_form(page: Any) -> None:
    page.goto("/stock/?x=1")
    page.click("button[value=dark]")
    page.wait_for_url("**/stock/?x=1")
    assert (
        page.evaluate("() => getComputedStyle(document.documentElement).backgroundColor") == "rgb(13, 20, 18)"
    )


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 820, 1280])
def test_pages_have_no_known_barrier_and_fit_their_width(
    chromium: Any, address: str, theme: str, width: int
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    context = chromium.new_context(
        base_url=address, viewport={"width": width, "height": 900}, color_scheme=theme, bypass_csp=True
    )
    page = context.new_page()
    barriers: list[tuple[str, str, list[str]]] = []
    for path in ("/stock/", "/table/?page=2", "/table/?rows=0", "/case/", "/refuse/held/", "/nowhere/"):
        page.goto(path)
        if path == "/case/":
            page.evaluate("() => document.querySelector('form.form').submit()")
            page.wait_for_selector("#faults")
        if path == "/stock/":
            Scanner(page).scan(GS1)
            page.wait_for_selector("text=Read")
        for one in Axe().run(page).response["violations"]:
            barriers.append((path, one["id"], [node["html"][:120] for node in one["nodes"]]))
        if page.evaluate("() => document.documentElement.scrollWidth > innerWidth"):
            barriers.append((path, "wider than the window", []))
    context.close()
    assert barriers == []
