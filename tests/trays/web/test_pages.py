"""Pages stand with and without what surrounds them, and answer with a part where a part is asked for."""

import re
from typing import Any

import pytest
from django.template.loader import render_to_string
from django.test import Client, RequestFactory

pytestmark = pytest.mark.usefixtures("site")
HTMX = {"HX-Request": "true"}


def text_of(answer: Any) -> str:
    return str(answer.content.decode())


def test_a_page_shows_the_roles_pages_the_person_and_the_scan_field(client: Client) -> None:
    page = text_of(client.get("/stock/"))
    assert '<a href="/stock/" aria-current="page">Stock</a>' in page
    assert '<a href="/reorder/">Reorder</a>' in page
    assert "H. Marrowby" in page
    assert 'id="scan-form"' in page
    assert 'action="/scan/"' in page
    assert "Sign out" in page
    assert "Larkmere · made-up data" in page


def test_a_page_stands_without_anything_that_surrounds_it(client: Client) -> None:
    answer = client.get("/bare/")
    page = text_of(answer)
    assert answer.status_code == 200
    assert "<nav" not in page
    assert 'id="scan-form"' not in page
    assert "Sign out" not in page
    assert 'id="answer"' in page


def test_the_caution_stands_last_in_main(client: Client) -> None:
    page = text_of(client.get("/stock/"))
    assert '<p class="caution">Look at the pack with your own eyes.</p></div></section>\n</main>' in page


def test_the_base_can_be_rendered_without_a_request() -> None:
    page = render_to_string("base.html", {})
    assert '<main class="page ' in page
    assert "hx-headers" not in page


def test_the_answers_place_comes_first_in_main(client: Client) -> None:
    page = text_of(client.get("/stock/"))
    assert re.search(r"<main [^>]*>\s*<div id=\"answer\"", page)


def test_nobody_keeps_a_page_unless_the_view_says_so(client: Client) -> None:
    assert client.get("/stock/")["Cache-Control"] == "no-store"
    assert client.get("/bare/")["Cache-Control"] == "no-store"
    assert client.get("/kept/")["Cache-Control"] == "private, max-age=60"


def test_a_page_varies_by_what_htmx_asks_for(client: Client) -> None:
    assert "HX-Request" in client.get("/bare/")["Vary"]


def test_headers_say_that_only_our_own_pages_use_the_camera(client: Client) -> None:
    answer = client.get("/stock/")
    assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
    assert answer["Permissions-Policy"].startswith("camera=(self), ")
    assert "microphone=()" in answer["Permissions-Policy"]


def test_an_act_that_worked_goes_on_by_303(client: Client) -> None:
    answer = client.post("/case/", {"reference": "1187", "side": "right"})
    assert (answer.status_code, answer["Location"]) == (303, "/stock/")


def test_an_act_by_htmx_goes_on_in_the_whole_window(client: Client) -> None:
    answer = client.post("/case/", {"reference": "1187", "side": "right"}, headers=HTMX)
    assert (answer.status_code, answer["HX-Redirect"], answer.content) == (200, "/stock/", b"")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_chosen_theme_is_kept_and_stands_on_the_page(client: Client, theme: str) -> None:
    answer = client.post("/look/", {"theme": theme, "next": "/stock/?a=1"})
    assert (answer.status_code, answer["Location"]) == (303, "/stock/?a=1")
    assert f'data-theme="{theme}"' in text_of(client.get("/stock/"))


def test_going_back_to_the_devices_theme_forgets_the_choice(client: Client) -> None:
    client.post("/look/", {"theme": "dark", "next": "/stock/"})
    client.post("/look/", {"theme": "", "next": "/stock/"})
    assert "data-theme" not in text_of(client.get("/stock/"))


def test_a_cookie_with_nonsense_is_no_theme(client: Client) -> None:
    client.cookies["theme"] = 'x" onload="y'
    assert "data-theme" not in text_of(client.get("/stock/"))


def test_choosing_a_theme_leaves_the_tones_alone(client: Client) -> None:
    client.post("/look/", {"sound": "on", "next": "/stock/"})
    client.post("/look/", {"theme": "dark", "next": "/stock/"})
    assert 'data-sound="on"' in text_of(client.get("/stock/"))


@pytest.mark.parametrize("elsewhere", ["https://example.org/", "//example.org", "javascript:alert(1)", ""])
def test_choosing_a_theme_never_leads_off_the_site(client: Client, elsewhere: str) -> None:
    assert client.post("/look/", {"theme": "dark", "next": elsewhere})["Location"] == "/"


def test_a_theme_is_not_chosen_by_a_link(client: Client) -> None:
    assert client.get("/look/", {"theme": "dark"}).status_code == 405


def test_messages_of_an_act_stand_in_the_answers_place(rf: RequestFactory) -> None:
    class Message:
        level_tag, message = "error", "Not saved: the lot is missing."

    page = render_to_string("base.html", {"messages": [Message()]}, rf.get("/"))
    place = page[page.index('id="answer"') : page.index("<h1>")]
    assert 'class="fault"' in place
    assert "Not saved: the lot is missing." in place
