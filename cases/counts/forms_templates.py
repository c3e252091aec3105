"""A count template as it is written on its page: three tables of rows, each row in its turn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.forms import BaseFormSet, formset_factory
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Procedure
from cases.counts.kinds_template import SEATS, ClassPlan, StagePlan, StepPlan, TemplatePlan, starts
from cases.counts.models_templates import CountClass, StageKind, StepKind, StepWhen
from trays.staff.models import RoleKind
from trays.web.acting import KeyForm

# Rows that stand empty below those that are filled.
SPARE = 2
MOST_ROWS = 40
_SEATS = [(seat.value, RoleKind(seat).label) for seat in SEATS]


class HeadForm(KeyForm):
    """The template's name, and the way round in which it is counted."""

    name = forms.CharField(label=_("Name"), max_length=80)
    direction = forms.CharField(
        label=_("Way round"), max_length=120, required=False,
        help_text=_("The order in which places are counted, always the same: it stands on page and sheet."),
    )  # fmt: skip


class BeginForm(forms.Form):
    """What a new template is for, and what it begins as."""

    procedure = forms.ModelChoiceField(
        Procedure.objects.none(),
        label=_("For"),
        required=False,
        empty_label=_("all procedures without their own"),
    )
    start = forms.ChoiceField(label=_("Begin with"), choices=())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["procedure"].queryset = Procedure.objects.order_by("name")  # type: ignore[attr-defined]
        self.fields["start"].choices = [(plan.code, plan.name) for plan in starts()]  # type: ignore[attr-defined]


class _Row(forms.Form):
    """One row of a table. A row without its word is left out."""

    turn = forms.IntegerField(label=_("Turn"), min_value=1, max_value=99, required=False)
    word = forms.CharField(label=_("Word"), max_length=40, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["turn"].widget.attrs["class"] = "few"

    @property
    def filled(self) -> bool:
        return bool(self.cleaned_data.get("word"))


class StageRow(_Row):
    """One stage."""

    mark = forms.CharField(label=_("Number or letter"), max_length=3, required=False)
    kind = forms.ChoiceField(label=_("What it is for"), choices=StageKind.choices)
    when = forms.CharField(label=_("When it is done"), max_length=160, required=False)
    signers = forms.MultipleChoiceField(
        label=_("Who signs"), choices=_SEATS, widget=forms.CheckboxSelectMultiple, required=False
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["mark"].widget.attrs["class"] = "few"


class ClassRow(_Row):
    """One class in running order."""

    klass = forms.ChoiceField(label=_("Class"), choices=CountClass.choices)
    keys = forms.CharField(label=_("Keys add"), max_length=40, required=False)
    stages = forms.CharField(label=_("Counted at"), max_length=60, required=False)

    def clean_keys(self) -> tuple[int, ...]:
        """How many one press adds: whole numbers, with spaces or commas between them."""
        words = self.cleaned_data["keys"].replace(",", " ").split()
        if any(not (word.isascii() and word.isdigit() and 1 <= int(word) <= 100) for word in words):
            raise forms.ValidationError(gettext("Whole numbers from 1 to 100, such as 10 5 1."))
        return tuple(int(word) for word in words)

    def clean_stages(self) -> tuple[str, ...]:
        """Marks of stages, with spaces or commas between them."""
        return tuple(self.cleaned_data["stages"].replace(",", " ").split())


class StepRow(_Row):
    """One step of a discrepancy."""

    word = forms.CharField(label=_("What is to be done"), max_length=160, required=False)
    kind = forms.ChoiceField(label=_("Kind"), choices=StepKind.choices)
    when = forms.ChoiceField(label=_("Needed"), choices=StepWhen.choices)


def _set(row: type[_Row]) -> type[BaseFormSet[Any]]:
    return formset_factory(row, extra=SPARE, max_num=MOST_ROWS, absolute_max=MOST_ROWS + 10)


STAGES, CLASSES, STEPS = _set(StageRow), _set(ClassRow), _set(StepRow)


class TemplateForms:
    """The head and the three tables of one template: shown from a plan, or read from what was sent."""

    def __init__(self, *, plan: TemplatePlan | None = None, data: Any = None, **initial: Any) -> None:
        first = _initial(plan) if plan is not None else {}
        self.head = HeadForm(data, initial={**first.get("head", {}), **initial})
        self.stages = STAGES(data, prefix="stage", initial=first.get("stages"))
        self.classes = CLASSES(data, prefix="class", initial=first.get("classes"))
        self.steps = STEPS(data, prefix="step", initial=first.get("steps"))

    def is_valid(self) -> bool:
        """Whether every field can be read; whether it goes together is for the service to say."""
        return all([form.is_valid() for form in (self.head, self.stages, self.classes, self.steps)])

    def plan(self) -> TemplatePlan:
        """What was written, each table in the order of its turns. Call it only if all is valid."""
        stages = _rows(self.stages)
        marks = {row["mark"]: number for number, row in enumerate(stages, start=1)}
        return TemplatePlan(
            code="",
            name=self.head.cleaned_data["name"],
            direction=self.head.cleaned_data["direction"],
            stages=tuple(
                StagePlan(row["mark"], row["word"], row["kind"], row["when"], tuple(row["signers"]))
                for row in stages
            ),
            classes=tuple(
                # A mark that no stage has becomes number 0, and is told by the service.
                ClassPlan(
                    row["klass"],
                    row["word"],
                    row["keys"],
                    tuple(marks.get(mark, 0) for mark in row["stages"]),
                )
                for row in _rows(self.classes)
            ),
            steps=tuple(StepPlan(row["kind"], row["word"], row["when"]) for row in _rows(self.steps)),
        )


def _rows(formset: BaseFormSet[Any]) -> list[dict[str, Any]]:
    filled = [form.cleaned_data for form in formset.forms if form.filled]
    return sorted(filled, key=lambda row: row["turn"] or MOST_ROWS + 1)


def _initial(plan: TemplatePlan) -> dict[str, Any]:
    marks = [stage.mark for stage in plan.stages]
    return {
        "head": {"name": plan.name, "direction": plan.direction},
        "stages": [
            {
                "turn": turn, "mark": one.mark, "word": one.word, "kind": one.kind, "when": one.when,
                "signers": list(one.signers),
            }
            for turn, one in enumerate(plan.stages, start=1)
        ],
        "classes": [
            {
                "turn": turn, "klass": one.klass, "word": one.word, "keys": _spaced(one.keys),
                "stages": _spaced([marks[number - 1] for number in one.stages]),
            }
            for turn, one in enumerate(plan.classes, start=1)
        ],
        "steps": [
            {"turn": turn, "word": one.words, "kind": one.kind, "when": one.when}
            for turn, one in enumerate(plan.steps, start=1)
        ],
    }  # fmt: skip


def _spaced(words: Sequence[object]) -> str:
    return " ".join(str(word) for word in words)
