"""A refusal reaches the person as page, part or data, with its status; failures never show their insides."""

import copy
import json
import logging
from typing import Any

import pytest
from django.test import Client

from tests.trays.web.pages import CaseForm
from trays.web.errors import NotThere, ReferenceFilter, Refusal, faults_from, reference_now

HTMX = {"HX-Request": "true", "HX-Target": "lines"}


@pytest.mark.parametrize(("kind", "status"), [("held", 409), ("unreadable", 422), ("not-there", 404)])
def test_a_refusal_becomes_a_page_with_its_status(client: Client, site: Any, kind: str, status: int) -> None:
    answer = client.get(f"/refuse/{kind}/")
    page = answer.content.decode()
    assert answer.status_code == status
    assert "This pack is held for case 1182." in page
    assert "Take the next one." in page
    assert answer["Trayspan-Reference"] in page
    assert answer["Cache-Control"] == "no-store"


def test_a_refusal_to_htmx_goes_into_the_answers_place(client: Client, site: Any) -> None:
    answer = client.get("/refuse/held/", headers=HTMX)
    part = answer.content.decode()
    assert answer.status_code == 409
    assert (answer["HX-Retarget"], answer["HX-Reswap"]) == ("#answer", "innerHTML")
    assert "<html" not in part
    assert 'role="alert"' in part
    assert 'data-tone="refused"' in part


def test_a_refusal_to_a_script_is_data(client: Client, site: Any) -> None:
    answer = client.get("/refuse/held/", headers={"Accept": "application/json"})
    said = json.loads(answer.content)
    assert answer.status_code == 409
    assert said == {
        "code": "held",
        "sentence": "This pack is held for case 1182.",
        "next_step": "Take the next one.",
        "reference": answer["Trayspan-Reference"],
    }


def test_a_failure_gives_a_page_with_a_reference_and_no_insides(
    client: Client, site: Any, caplog: Any
) -> None:
    client.raise_request_exception = False
    answer = client.get("/fail/")
    page = answer.content.decode()
    assert answer.status_code == 500
    assert answer["Trayspan-Reference"] in page
    assert "ZeroDivisionError" not in page
    assert "Traceback" not in page
    assert "ZeroDivisionError" in caplog.text


def test_a_failure_in_a_part_stays_a_part(client: Client, site: Any) -> None:
    client.raise_request_exception = False
    answer = client.get("/fail/", headers=HTMX)
    assert answer.status_code == 500
    assert answer["HX-Retarget"] == "#answer"
    assert "<html" not in answer.content.decode()


def test_a_page_that_is_not_there_says_so_and_shows_the_way_back(client: Client, site: Any) -> None:
    answer = client.get("/nowhere/")
    page = answer.content.decode()
    assert answer.status_code == 404
    assert "Nothing here" in page
    assert 'href="/"' in page


@pytest.mark.parametrize(
    ("view", "status", "words"),
    [
        ("bad_request", 400, "could not be read"),
        ("forbidden", 403, "Not for this sign-in"),
        ("csrf_failure", 403, "open too long"),
        ("too_many", 429, "Too many tries"),
    ],
)
def test_each_error_has_its_page(rf: Any, site: Any, view: str, status: int, words: str) -> None:
    from trays.web import views

    answer = getattr(views, view)(rf.get("/"))
    assert answer.status_code == status
    assert words in answer.content.decode()


def test_each_request_has_a_reference_of_its_own(client: Client, site: Any) -> None:
    first, second = (client.get("/stock/")["Trayspan-Reference"] for _ in range(2))
    assert first != second
    assert len(first) == 8
    assert not set(first) & set("01OIL")


def test_the_log_knows_the_reference_only_within_the_request() -> None:
    record = logging.makeLogRecord({})
    ReferenceFilter().filter(record)
    assert record.__dict__["reference"] == "-"
    token = reference_now.set("ABCD2345")
    ReferenceFilter().filter(record)
    reference_now.reset(token)
    assert record.__dict__["reference"] == "ABCD2345"


def test_a_refusal_can_be_taken_apart_and_put_together_again() -> None:
    refusal = NotThere("no-such-pack", "There is no such pack.", "Scan again.", pack="P-1")
    back = copy.copy(refusal)
    assert isinstance(back, NotThere)
    assert (back.code, back.sentence, back.next_step, back.facts) == (
        "no-such-pack",
        "There is no such pack.",
        "Scan again.",
        {"pack": "P-1"},
    )


def test_a_refusal_in_a_form_keeps_its_code_and_both_sentences() -> None:
    form = CaseForm({"reference": "1187", "side": "right"})
    assert form.is_valid()
    form.add_error(None, Refusal("held", "It is held.", "Take another.").as_error())
    assert form.errors.as_data()["__all__"][0].code == "held"
    assert [(fault.field_id, fault.sentence) for fault in faults_from(form)] == [
        ("", "It is held. Take another.")
    ]


def test_faults_come_in_the_order_of_the_fields() -> None:
    form = CaseForm({"reference": "much longer than twelve letters"})
    assert [(fault.field_id, fault.label) for fault in faults_from(form)] == [
        ("id_reference", "Local reference"),
        ("id_side_0", "Side"),
    ]
