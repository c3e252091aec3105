"""The pages in Chromium under their own policy: scanning, sorting, themes, accessibility."""

import threading
from collections.abc import Iterator
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer, make_server

import pytest
from django.core.wsgi import get_wsgi_application

pytestmark = pytest.mark.browser
GS1 = "]d2010952123456789017271130\x1d21S1"


class Quiet(WSGIRequestHandler):
    def log_message(self, *args: Any) -> None:
        return


class Threads(ThreadingMixIn, WSGIServer):
    daemon_threads = True


@pytest.fixture
def address(site: Any) -> Iterator[str]:
    """The small site behind a server of its own, without a database."""
    server = make_server("127.0.0.1", 0, get_wsgi_application(), server_class=Threads, handler_class=Quiet)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def page(chromium: Any, address: str) -> Iterator[Any]:
    """A page at 1280 × 900 that fails its test when the browser refuses something or a script breaks."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, base_url=address)
    opened = context.new_page()
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    opened.on("console", lambda said: faults.append(said.text) if "Content Security" in said.text else None)
    yield opened
    context.close()
    assert faults == []


def scan(page: Any, code: str, *, delay: int = 2) -> None:
    """Types as a keyboard-wedge scanner does: fast, separators as Ctrl and ], ended by Enter.

    Keys reach a busy machine's browser late, so the page is told of a scanner that lags.
    """
    if delay <= 10:
        page.evaluate("() => { document.getElementById('scan-form').dataset.slower = '40'; }")
    for letter in code:
        if letter == "\x1d":
            page.keyboard.press("Control+]")
        else:
            page.keyboard.type(letter, delay=0)
        if delay > 10:
            page.wait_for_timeout(delay)
    page.keyboard.press("Enter")


def test_a_scan_counts_wherever_the_cursor_is(page: Any) -> None:
    page.goto("/stock/")
    for place in ("#a-button", "#a-list", "body"):
        if place != "body":
            page.focus(place)
        scan(page, GS1)
        page.wait_for_selector(f"text=Read {GS1.encode().hex()}")
        assert "made on /stock/, scanned" in page.inner_text("#answer")
        page.reload()


def test_a_scan_presses_no_button_and_changes_no_choice(page: Any) -> None:
    page.goto("/stock/")
    page.evaluate("() => { document.getElementById('a-button').onclick = () => { window.pressed = true; }; }")
    page.focus("#a-button")
    scan(page, "5 522 5")
    page.wait_for_selector("text=Read")
    assert page.evaluate("() => window.pressed === true") is False
    page.focus("#a-list")
    scan(page, "55555")
    page.wait_for_selector(f"text=Read {b'55555'.hex()}")
    assert page.input_value("#a-list") == "1"


def test_typing_into_a_field_is_left_alone(page: Any) -> None:
    page.goto("/stock/")
    page.focus("#a-field")
    scan(page, "L40722C")
    page.wait_for_timeout(200)
    assert page.input_value("#a-field") == "L40722C"
    assert page.inner_text("#answer").strip() == ""


def test_slow_keys_are_a_person_not_a_scanner(page: Any) -> None:
    page.goto("/stock/")
    scan(page, "L40722C", delay=90)
    page.wait_for_timeout(200)
    assert page.inner_text("#answer").strip() == ""


def test_the_scan_field_takes_what_is_typed_and_is_free_again(page: Any) -> None:
    page.goto("/stock/")
    page.fill("#scan", "L40722C")
    page.press("#scan", "Enter")
    page.wait_for_selector(f"text=Read {b'L40722C'.hex()}")
    assert "typed" in page.inner_text("#answer")
    assert page.input_value("#scan") == ""


def test_the_answer_stands_first_in_main_and_stays_until_the_next_scan(page: Any) -> None:
    page.goto("/stock/")
    scan(page, "FIRST1")
    page.wait_for_selector(f"text=Read {b'FIRST1'.hex()}")
    scan(page, "SECOND2")
    page.wait_for_selector(f"text=Read {b'SECOND2'.hex()}")
    assert b"FIRST1".hex() not in page.inner_text("#answer")
    assert page.evaluate("() => document.querySelector('main').firstElementChild.id") == "answer"


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
            scan(page, GS1)
            page.wait_for_selector("text=Read")
        for one in Axe().run(page).response["violations"]:
            barriers.append((path, one["id"], [node["html"][:120] for node in one["nodes"]]))
        if page.evaluate("() => document.documentElement.scrollWidth > innerWidth"):
            barriers.append((path, "wider than the window", []))
    context.close()
    assert barriers == []
