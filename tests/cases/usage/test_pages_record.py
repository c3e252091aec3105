"""The record as files, the blank sheet, the list of implants without a card: by HTTP."""

import base64
import csv
import io
import json
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from cases.bookings.models import Case
from cases.usage.deciding import explant_record
from cases.usage.fates import fate_correct, fate_record
from cases.usage.models import CardExempt
from tests.cases.usage.conftest import Table
from tests.world import NOW


@pytest.fixture(autouse=True)
def steady(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def nurse(table: Table, as_person: Any) -> Client:
    client: Client = as_person("circulating")
    return client


def had(client: Client, table: Table, kind: str, **query: str) -> Any:
    answer = client.get(reverse(f"theatre-record-{kind}", args=[table.case.pk]), query)
    assert answer.status_code == 200
    assert answer["Cache-Control"] == "no-store"
    return answer


def test_the_lines_hold_every_piece_with_its_identifiers(table: Table, nurse: Client) -> None:
    used = table.bring("femoral", lot="A1")
    fate_record(by=table.by, brought=used, fate="implanted", card="given", at=NOW)
    wasted = table.bring("tibial", serial="S1")
    fate_record(by=table.by, brought=wasted, fate="wasted", why="other", why_words="=cmd()", at=NOW)
    text = had(nurse, table, "csv").content.decode("utf-8-sig")
    first, second = list(csv.DictReader(io.StringIO(text)))
    assert (first["Construct"], first["Side"], first["Lot"]) == ("1", "RIGHT", "A1")
    assert first["Card"] == "Card given"
    assert first["Production identifiers"].endswith("(10)A1")
    assert first["Code as scanned"].startswith("]d201")
    # The separator before the serial cannot be printed.
    assert "|21S1" in second["Code as scanned"]
    assert second["Why"] == "Another reason, =cmd()"


def test_the_data_hold_what_was_corrected_and_what_has_no_side(table: Table, nurse: Client) -> None:
    first = table.bring("femoral", lot="A1")
    fate_record(by=table.by, brought=first, fate="implanted", at=NOW)
    fate_correct(by=table.by, brought=first, fate="wasted", why="dropped", at=NOW)
    explant_record(by=table.by, case=table.case, construct=None, what="Old insert", at=NOW)
    data = json.loads(had(nurse, table, "json").content)
    assert (data["format_number"], data["case"], data["closed"]) == (1, table.case.reference, None)
    (construct,) = data["constructs"]
    (piece,) = construct["pieces"]
    assert (piece["fate"], piece["corrects"], construct["missing"]) == (
        "wasted", 1, ["Femoral", "Tibial", "Insert"],
    )  # fmt: skip
    assert base64.b64decode(piece["raw_base64"]).startswith(b"]d201")
    assert [one["fate"] for one in data["corrected"]] == ["implanted"]
    assert [one["what"] for one in data["without_a_construct"]["explants"]] == ["Old insert"]


def test_the_sheet_is_filled_or_blank(table: Table, nurse: Client) -> None:
    table.bring("femoral")
    for query in ({}, {"blank": "1"}):
        answer = had(nurse, table, "pdf", **query)
        assert answer.content.startswith(b"%PDF-")
        assert answer["Content-Type"] == "application/pdf"


def test_a_closed_case_leads_to_its_record(table: Table, as_person: Any) -> None:
    address = reverse("theatre-record", args=[table.case.pk])
    for who in ("surgeon", "quality"):
        page = as_person(who).get(reverse("case", args=[table.case.pk])).content.decode()
        assert address in page
    Case.objects.filter(pk=table.case.pk).update(status="booked")
    assert address not in as_person("surgeon").get(reverse("case", args=[table.case.pk])).content.decode()


def test_the_hospital_keeps_which_implants_get_no_card(table: Table, as_person: Any) -> None:
    quality, address = as_person("quality"), reverse("no-card")
    assert "patellar" in quality.get(address).content.decode()
    sent = {"client_key": str(uuid4()), "slots": ["patellar"]}
    assert quality.post(address, sent).status_code == 303
    assert [one.slot for one in CardExempt.objects.all()] == ["patellar"]
    again = quality.post(address, sent | {"client_key": str(uuid4())})
    assert again.status_code == 422
    assert "It is kept so already." in again.content.decode()
    brought = table.bring("patellar")
    fate_record(by=table.by, brought=brought, fate="implanted", at=NOW)
    page = as_person("circulating").get(reverse("theatre-implants", args=[table.case.pk])).content.decode()
    assert "Card given" not in page
    assert as_person("scrub").get(address).status_code == 403
