"""Every main page, light and dark, wide and narrow: axe finds nothing, nothing sticks out of the window."""

import re
from collections.abc import Iterator, Sequence
from typing import Any

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow]

WIDE, NARROW = {"width": 1280, "height": 900}, {"width": 320, "height": 800}
# A narrow page in the dark has the colours of one and the shape of another of these.
# The dark differs from the light in its colours alone, the narrow from the wide in where things stand.
COLOURS = ("color-contrast", "link-in-text-block")
PLACES = ("color-contrast", "target-size", "scrollable-region-focusable", "nested-interactive")
LOOKS = ((WIDE, "light", ()), (WIDE, "dark", COLOURS), (NARROW, "light", PLACES))
# Who looks at which pages; a page in braces is the first that a page before it links to.
TRIPS = {
    "addlestrop": (
        "/fortnight/",
        r"{/fortnight/[^/]+/[^/]+/sets/}",
        r"{/lists/\d+/what-if/}",
        r"{/cases/\d+/}",
        r"{/cases/\d+/actions/}",
        r"{/cases/\d+/predict/}",
        r"{/cases/\d+/change/}",
        r"{/cases/\d+/move/}",
        r"{/cases/\d+/cancel/}",
        r"{/cases/\d+/count-sheets/}",
        r"{/lists/\d+/order/}",
        "/cases/book/",
        r"{/cases/\d+/avoid/}",
        "/pick-lists/",
        "/chase/",
        "/count-templates/",
        r"{/count-templates/\d+/}",
        "/no-card/",
        "/help/",
    ),
    "ossett": (
        "/reorders/",
        "/reorders/budget/",
        "/reorders/used/",
        r"{/reorders/\d+/set-aside/\?site=\w+}",
        "/expiry/",
        "/orders/",
        r"{/orders/\d+/}",
        "/order-limits/",
        "/loans/",
        r"{/loans/\d+/}",
        r"{/loans/\d+/arrive/}",
        r"{/loans/sets/\d+/check/}",
        "/loans/ask/",
        "/loans/rules/",
        "/agreements/",
        r"{/agreements/\d+/}",
        r"{/agreements/\d+/count/}",
        "/goods/",
        "/receiving/",
        "/catalogue-drafts/",
        r"{/catalogue-drafts/\d+/}",
        "/catalogue-drafts/new/",
        "/stock-moves/",
        "/transfers/",
        r"{/transfers/\d+/}",
        "/stock-takes/",
        r"{/stock-takes/\d+/}",
        "/safety-notices/",
        r"{/safety-notices/\d+/}",
        r"{/safety-notices/\d+/cases/}",
        "/set-apart/",
        "/stock-policy/",
        "/stock/",
        "/stock/mk-femoral/",
        "/stock/mk-insert-ps/",
        "/imports/",
        "/imports/new/",
        "/scanner/",
        "/scanner/test/",
        "/refused-scans/",
    ),
    "garrowby": (
        "/work/",
        "/receive/",
        "/bench/",
        "/store/",
        "/machines/",
        r"{/machines/\d+/}",
        "/recalls/",
        "/missing/",
        r"{/packs/\d+/}",
        "/my-pin/",
    ),
    "wickstead": (
        "/sets/",
        r"{/sets/[^/?]+/}",
        r"{/trace/sets/[^/?]+/}",
        "/labels/",
        "/labels/stock/",
        "/labels/stock/new/",
    ),
}


@pytest.mark.parametrize("person", sorted(TRIPS))
def test_nothing_stands_in_the_way_of_anybody(person: str, walk: Any) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = walk(person, viewport=WIDE)
    found = [fault for _ in pages(page, TRIPS[person]) for fault in in_every_look(page, axe)]
    assert found == []
    assert page.complaints == []


def test_nor_on_pages_that_an_act_leads_to(walk: Any) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = walk("addlestrop", viewport=WIDE)
    page.goto("/cases/book/")
    page.get_by_role("button", name="Go on to place and sizes").click()
    page.get_by_text("Choose a procedure.").first.wait_for()
    found = in_every_look(page, axe)

    page.set_viewport_size(WIDE)
    page.goto("/fortnight/")
    page.get_by_role("rowheader").get_by_role("link").first.click()
    page.get_by_role("button", name="Make the pick list").click()
    page.wait_for_url(re.compile(r"/pick-lists/\d+/$"))
    found += in_every_look(page, axe)

    page.set_viewport_size(WIDE)
    page.get_by_label("Scan or type a code").fill("nothing is called so")
    page.keyboard.press("Enter")
    page.locator("#answer").get_by_role("alert").wait_for()
    found += in_every_look(page, axe)
    assert found == []


def in_every_look(page: Any, axe: Any) -> list[str]:
    """What is wrong with the page that stands open, in light and dark, wide and narrow."""
    found = []
    for size, scheme, rules in LOOKS:
        page.set_viewport_size(size)
        page.emulate_media(color_scheme=scheme)
        found += [f"{page.url} {size['width']} {scheme}: {fault}" for fault in faults(page, axe, rules)]
    return found


def pages(page: Any, trip: tuple[str, ...]) -> Iterator[str]:
    """Open one page of the trip after the other."""
    seen: list[str] = []
    for address in trip:
        if address.startswith("{"):
            address = next(link for link in seen if re.fullmatch(address[1:-1], link))
        answer = page.goto(address)
        assert answer.status == 200, address
        seen += page.eval_on_selector_all("a[href]", "links => links.map(link => link.getAttribute('href'))")
        yield address


def faults(page: Any, axe: Any, rules: Sequence[str] = ()) -> list[str]:
    """What axe finds, by these rules or all of its own, and what sticks out of the window."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(axe.axe_script)
    asked = {"resultTypes": ["violations"], **({"runOnly": list(rules)} if rules else {})}
    violations = page.evaluate("async (asked) => (await axe.run(document, asked)).violations", asked)
    found = [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in violations]
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return found + ([f"{over} px wider than the window"] if over > 0 else [])
