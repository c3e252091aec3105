"""What is entered afterwards from a sheet: with the paper's own time and the names on it."""

from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case
from cases.usage.forms import LONG, ByHandForm
from cases.usage.models import Card, Fate, Why
from cases.usage.models_record import SignRole
from trays.processing.forms import KeyForm

WHEN = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")


class PaperTime(forms.DateTimeField):
    """The moment that stands on the paper, by the site's clock; never one to come."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=WHEN, label=_("Time on the paper"), **kwargs)

    def clean(self, value: Any) -> Any:
        moment: datetime | None = super().clean(value)
        if moment is not None and moment > timezone.now():
            raise forms.ValidationError(gettext("This time has not come yet."), code="to-come")
        return moment


class PaperBoxForm(ByHandForm):
    """A box as it stands on the implant sheet, with how it ended."""

    happened_at = PaperTime()
    fate = forms.ChoiceField(label=_("How it ended"), choices=Fate.choices, widget=forms.RadioSelect)
    why = forms.ChoiceField(
        label=_("Why, if it was wasted or taken out again"), choices=[("", "–"), *Why.choices], required=False
    )
    why_words = forms.CharField(label=_("In words"), max_length=LONG, required=False)
    card = forms.ChoiceField(label=_("Implant card"), choices=[("", "–"), *Card.choices], required=False)
    word_of = forms.CharField(label=_("Who stands for it on the paper"), max_length=120)

    field_order = (
        "happened_at", "construct", "component", "described", "device", "lot", "serial", "expires", "owner",
        "fate", "why", "why_words", "card", "word_of",
    )  # fmt: skip

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, case=case, **kwargs)
        for name in ("typed_reason", "override_reason", "override_name", "from_scan"):
            del self.fields[name]

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        given["typed_reason"] = gettext("from the implant sheet")
        ended_early = given.get("fate") in (Fate.WASTED, Fate.IMPLANTED_REMOVED)
        if ended_early and not given.get("why"):
            self.add_error("why", gettext("Choose why it was not left in."))
        if not ended_early:
            given["why"] = given["why_words"] = ""
        elif given.get("why") == Why.OTHER and not given.get("why_words"):
            self.add_error("why_words", gettext("Say it in a few words."))
        return given


class PaperSignForm(KeyForm):
    """Whose signature stands on the paper, and when."""

    role = forms.ChoiceField(label=_("For whom"), choices=SignRole.choices)
    name = forms.CharField(label=_("Name on the paper"), max_length=120)
    happened_at = PaperTime()
    sheet = forms.CharField(label=_("Number of the sheet"), max_length=20, required=False)


class PaperStageForm(KeyForm):
    """One stage of the count as it stands on the sheet: who, when; the figures come beside it, by line."""

    happened_at = PaperTime()
    scrub = forms.CharField(label=_("Scrub, name on the paper"), max_length=120)
    circulating = forms.CharField(label=_("Circulating, name on the paper"), max_length=120)
    sheet = forms.CharField(label=_("Number of the sheet"), max_length=20, required=False)
    rest_agrees = forms.BooleanField(
        label=_("Every line left empty agrees on the paper with what is printed"), required=False
    )

