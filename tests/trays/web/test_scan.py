"""The server's side of the scan field: bytes come in whole, nonsense gets a sentence."""

import base64
from uuid import UUID

import pytest
from django.test import Client

from trays.web.scanbox import SCAN_LIMIT_BYTES, ScanForm

GS1 = b"]d201095212345678901727113010L40722C\x1d21S1"


def raw(scan: bytes) -> str:
    return base64.b64encode(scan).decode()


def test_a_scan_keeps_its_control_characters() -> None:
    form = ScanForm({"raw": raw(GS1), "code": "what the field showed"})
    assert form.is_valid()
    assert form.scan == GS1
    assert not form.typed


@pytest.mark.parametrize("scan", [bytes(range(256)), b"\x00\x01", "Größe".encode()])
def test_any_bytes_come_through(scan: bytes) -> None:
    form = ScanForm({"raw": raw(scan)})
    assert form.is_valid()
    assert form.scan == scan


def test_typed_text_comes_as_it_was_typed() -> None:
    form = ScanForm({"code": " L40\x1d722C "})
    assert form.is_valid()
    assert form.scan == b" L40\x1d722C "
    assert form.typed


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({}, "scan-empty"),
        ({"code": "   "}, "scan-empty"),
        ({"raw": raw(b" \t ")}, "scan-empty"),
        ({"code": "x" * (SCAN_LIMIT_BYTES + 1)}, "scan-too-long"),
        ({"raw": raw(b"x" * (SCAN_LIMIT_BYTES + 1))}, "scan-too-long"),
        ({"raw": "A" * 1_000_000}, "scan-too-long"),
        ({"raw": "not base64!"}, "scan-broken"),
        ({"raw": "é"}, "scan-broken"),
    ],
)
def test_what_is_no_scan_gets_a_sentence(given: dict[str, str], code: str) -> None:
    form = ScanForm(given)
    assert not form.is_valid()
    assert [error.code for errors in form.errors.as_data().values() for error in errors] == [code]


def test_the_longest_scan_is_taken() -> None:
    form = ScanForm({"raw": raw(b"x" * SCAN_LIMIT_BYTES)})
    assert form.is_valid()
    assert len(form.scan) == SCAN_LIMIT_BYTES


@pytest.mark.parametrize(
    ("page", "kept"),
    [
        ("/pick/1187/", "/pick/1187/"),
        ("//example.org/", ""),
        ("https://example.org/", ""),
        ("/a\nb", ""),
        ("/" + "a" * 600, ""),
        ("", ""),
    ],
)
def test_only_a_path_of_this_site_tells_where_the_scan_was_made(page: str, kept: str) -> None:
    form = ScanForm({"code": "L4", "page": page})
    assert form.is_valid()
    assert form.made_on == kept


def test_a_scan_that_is_sent_again_has_the_same_key() -> None:
    key = "6f1e1c3a-0b5d-4c2e-9c1d-2f6a8b9c0d1e"
    form = ScanForm({"code": "L4", "client_key": key})
    assert form.is_valid()
    assert form.key == UUID(key)
    without = ScanForm({"code": "L4"})
    assert without.is_valid()
    assert without.key is None


def test_the_answer_to_htmx_goes_into_its_place(client: Client, site: object) -> None:
    answer = client.post("/scan/", {"raw": raw(GS1), "page": "/pick/"}, headers={"HX-Request": "true"})
    part = answer.content.decode()
    assert answer["HX-Retarget"] == "#answer"
    assert 'data-tone="accepted"' in part
    assert f"Read {GS1.hex()}" in part
    assert "made on /pick/, scanned" in part
    assert "<html" not in part


def test_without_scripts_the_answer_is_a_page(client: Client, site: object) -> None:
    page = client.post("/scan/", {"code": "L4"}).content.decode()
    assert "<html" in page
    assert page.index("Read 4c34") < page.index("<h1>")


def test_a_broken_scan_is_answered_not_failed(client: Client, site: object) -> None:
    answer = client.post("/scan/", {"raw": "%%%"}, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert "did not arrive whole" in answer.content.decode()
    assert 'data-tone="refused"' in answer.content.decode()
