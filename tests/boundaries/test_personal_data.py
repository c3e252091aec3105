"""Nothing asks for a patient's name, number, birthday or address, and what asks for a reference says so."""

import re
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from django import forms
from django.apps import apps

from cases.desks.imports import KINDS
from tests.boundaries.tree import ROOT

# Words of a patient's identity in the name of a field or column; a person who signs in has a name.
OF_A_PATIENT = re.compile(
    r"patient|forename|surname|first_?name|last_?name|birth|\bdob\b|\bmrn\b|\bnhs|hospital_?number|address|"
    r"postcode|phone|email|sex\b|gender|diagnosis"
)
OWN = ("trays", "cases")


def own_forms() -> list[type[forms.BaseForm]]:
    for path in sorted(ROOT.glob("[ct]*/*/*forms*.py")):
        import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))

    def below(kind: Any) -> list[Any]:
        return [kind, *(one for sub in kind.__subclasses__() for one in below(sub))]

    return [form for form in dict.fromkeys(below(forms.BaseForm)) if form.__module__.startswith(OWN)]


def test_no_row_has_a_place_for_a_patient() -> None:
    fields = [
        f"{model._meta.label}.{field.name}"
        for app in OWN
        for model in apps.get_app_config(app).get_models()
        for field in model._meta.get_fields()
    ]
    assert len(fields) > 150
    assert [field for field in fields if OF_A_PATIENT.search(field.lower())] == []


def test_no_form_and_no_file_asks_for_one() -> None:
    asked = [f"{form.__name__}.{name}" for form in own_forms() for name in getattr(form, "base_fields", {})]
    asked += [f"{kind.code}.{column.name}" for kind in KINDS for column in kind.columns]
    assert len(asked) > 150
    assert [name for name in asked if OF_A_PATIENT.search(name.lower())] == []


def test_wherever_a_reference_is_typed_it_says_never_a_name() -> None:
    hints = [
        str(form.base_fields["reference"].help_text)
        for form in own_forms()
        if "reference" in getattr(form, "base_fields", {})
    ]
    hints += [
        str(column.about)
        for kind in KINDS
        if kind.code == "cases"
        for column in kind.columns
        if column.name == "reference"
    ]
    assert len(hints) >= 3
    assert all("never a name" in hint.lower() for hint in hints)


@pytest.mark.parametrize("page", ["README.md", "docs/imports.md"])
def test_the_pages_for_people_say_it_too(page: str) -> None:
    text = " ".join(Path(ROOT / page).read_text(encoding="utf-8").split()).lower()
    assert "never a name" in text or "do not enter a patient’s name" in text.replace("'", "’")
