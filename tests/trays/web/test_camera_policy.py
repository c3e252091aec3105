"""The camera's button, and the one thing that its page may do beyond the others."""

from typing import Any

import pytest
from django.test import Client

WASM = "'wasm-unsafe-eval'"


def policy(answer: Any) -> dict[str, list[str]]:
    parts = (part.split() for part in answer["Content-Security-Policy"].split(";") if part.strip())
    return {name: sources for name, *sources in parts}


@pytest.fixture
def installed(site: Any) -> None:
    site.CAMERA_READER = True


def test_a_page_with_the_button_may_compile_the_reader_and_nothing_else_is_looser(
    client: Client, site: Any
) -> None:
    site.CAMERA_READER = False
    without = policy(client.get("/stock/"))
    site.CAMERA_READER = True
    page = client.get("/stock/")
    assert 'id="camera"' in page.content.decode()
    given = policy(page)
    assert WASM in given["script-src"] and WASM not in without["script-src"]
    given["script-src"].remove(WASM)
    assert given == without
    assert "unsafe-eval" not in str(without) and "unsafe-inline" not in str(page["Content-Security-Policy"])


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("/bare/", {}),
        ("/nowhere/", {}),
        ("/kept/", {}),
        ("/table/?as=csv", {}),
        ("/table/", {"HX-Request": "true", "HX-Target": "table-lines"}),
    ],
)
def test_answers_without_the_button_may_not(
    client: Client, installed: None, path: str, headers: dict[str, str]
) -> None:
    answer = client.get(path, headers=headers)
    assert b'id="camera"' not in answer.content
    assert WASM not in answer["Content-Security-Policy"]


def test_where_the_reader_is_not_installed_there_is_no_button(client: Client, site: Any) -> None:
    site.CAMERA_READER = False
    page = client.get("/stock/").content.decode()
    assert 'id="camera' not in page and "zxing" not in page


def test_the_button_waits_for_a_browser_that_has_cameras(client: Client, installed: None) -> None:
    page = client.get("/stock/").content.decode()
    button = page[page.index('id="camera"') :].partition(">")[0]
    assert " hidden" in button
    assert "/static/zxing/index.js" in button and "/static/zxing/zxing_reader.wasm" in button
