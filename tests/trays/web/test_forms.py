"""A form shows label, hint and fault at each field, and keeps what was typed."""

import re
from typing import Any

import pytest
from django import forms
from django.http import QueryDict
from django.template import Context, Template
from django.test import Client

from tests.trays.web.pages import CaseForm
from trays.web.filters import GetForm

pytestmark = pytest.mark.usefixtures("site")


def drawn(source: str, **context: Any) -> str:
    return Template("{% load look %}" + source).render(Context(context))


def test_a_fresh_form_has_labels_hints_and_no_faults() -> None:
    html = drawn("{% form_fields form %}", form=CaseForm())
    assert '<label for="id_reference">Local reference</label>' in html
    assert 'id="id_reference_helptext">No names.</div>' in html
    assert 'aria-describedby="id_reference_helptext"' in html
    assert 'class="fault"' not in html
    assert 'type="hidden" name="kept"' in html


def test_a_wrong_form_says_what_is_wrong_above_and_at_the_field(client: Client) -> None:
    page = client.post("/case/", {"reference": "longer than twelve", "late": "on"}).content.decode()
    assert "2 things are to be put right" in page
    assert '<a href="#id_reference">Local reference</a>' in page
    assert '<a href="#id_side_0">' in page
    assert 'id="id_reference_error"' in page
    assert re.search(r'aria-describedby="id_reference_helptext id_reference_error"', page)
    assert 'aria-invalid="true"' in page


def test_nothing_typed_is_lost_on_a_fault(client: Client) -> None:
    page = client.post("/case/", {"reference": "longer than twelve", "late": "on"}).content.decode()
    assert 'value="longer than twelve"' in page
    assert re.search(r'name="late"[^>]*checked', page)


def test_every_described_by_names_an_element_of_the_page(client: Client) -> None:
    page = client.post("/case/", {}).content.decode()
    ids = set(re.findall(r' id="([^"]+)"', page))
    named = {name for value in re.findall(r'aria-describedby="([^"]+)"', page) for name in value.split()}
    assert named
    assert named <= ids
    assert set(re.findall(r'<a href="#(id_[^"]+)"', page)) <= ids


def test_the_side_is_asked_in_words_with_nothing_chosen() -> None:
    html = drawn("{% form_fields form %}", form=CaseForm())
    assert 'class="field sides"' in html
    assert "<legend>Side</legend>" in html
    assert "checked" not in html


def test_a_field_is_as_wide_as_what_goes_in() -> None:
    assert 'size="12"' in drawn("{% field form.reference %}", form=CaseForm())


def test_what_was_typed_is_escaped() -> None:
    html = drawn("{% form_fields form %}", form=CaseForm({"reference": "<script>1</script>"}))
    assert "<script>" not in html


class StateForm(GetForm):
    state = forms.ChoiceField(choices=[("open", "Open"), ("shut", "Shut")], required=False)
    days = forms.IntegerField(required=False, min_value=1)


def test_a_filter_takes_what_makes_sense_and_leaves_the_rest() -> None:
    assert StateForm(QueryDict("state=open&days=many")).chosen == {"state": "open"}
    assert StateForm(QueryDict("state=sideways&days=-1&else=1")).chosen == {}


def test_filter_links_keep_the_other_values_and_go_to_the_first_page() -> None:
    links = StateForm(QueryDict("state=open&days=3&page=7&as=csv")).links(
        "state", [(None, "All 60"), ("open", "Open, 10"), ("shut", "Shut, 50")]
    )
    assert [link.url for link in links] == ["?days=3", "?state=open&days=3", "?state=shut&days=3"]
    assert [link.current for link in links] == [False, True, False]
