"""What is asked at the machines, at the release of a load, and in a recall."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from trays.instruments.models import Pack
from trays.parties.models import Site
from trays.processing.models_machines import (
    DayTestRule,
    IndicatorKind,
    IndicatorResult,
    Programme,
)
from trays.processing.models_recall import RecallCause, RecallOutcome, RecallScope
from trays.web.acting import KeyForm
from trays.web.errors import Refusal

PASSED = (("passed", _("Passed")), ("failed", _("Failed")))


class TestForm(KeyForm):
    """The result of one of the day's tests."""

    rule = forms.ModelChoiceField(DayTestRule.objects.all(), widget=forms.HiddenInput)
    result = forms.ChoiceField(label=_("Result"), choices=PASSED)
    note = forms.CharField(label=_("Note"), max_length=160, required=False)


class ReasonForm(KeyForm):
    """A few words of why."""

    reason = forms.CharField(label=_("What is wrong"), max_length=160)


class OpenRunForm(KeyForm):
    """Which programme."""

    programme = forms.ModelChoiceField(
        Programme.objects.none(), label=_("Programme"), widget=forms.RadioSelect, empty_label=None
    )

    def __init__(self, *args: Any, programmes: list[Programme], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["programme"]
        field.queryset = Programme.objects.filter(pk__in=[one.pk for one in programmes])  # type: ignore[attr-defined]
        if len(programmes) == 1:
            field.initial = programmes[0].pk


class FillForm(KeyForm):
    """A pack by its number, or a set by its code: typed, or as a scan left it."""

    what = forms.CharField(label=_("Pack or set"), max_length=60, help_text=_("Scan it, or type its number."))

    def packs(self, site: Site) -> list[Pack]:
        """The packs that are meant: the pack of that number, or all packs of that set.

        Raises Refusal "no-such-pack".
        """
        text = self.cleaned_data["what"].strip()
        rows = Pack.objects.select_related("set__site", "place").filter(set__site=site)
        found = list(rows.filter(number__iexact=text)) or list(rows.filter(set__code__iexact=text))
        if not found:
            raise Refusal(
                "no-such-pack",
                gettext("No pack and no set of this site has that number."),
                gettext("Scan the label again, or type the number as it is printed."),
            )
        return found


class StartForm(KeyForm):
    """The lot of the biological indicator, if one goes in."""

    indicator_lot = forms.CharField(
        label=_("Lot of the biological indicator"),
        max_length=20,
        required=False,
        help_text=_("Only if one goes in. A load with implants needs one here."),
    )


class EndForm(KeyForm):
    """What the machine itself says."""

    verdict = forms.ChoiceField(label=_("The machine says"), choices=PASSED, widget=forms.RadioSelect)


class LogForm(KeyForm):
    """The machine's temperature log."""

    file = forms.FileField(
        label=_("Temperature log"),
        help_text=_("CSV or XLSX with a head: time, and one or more temperatures in degrees Celsius."),
    )


class IndicatorForm(KeyForm):
    """An indicator of this run, and what it says."""

    kind = forms.ChoiceField(label=_("Indicator"), choices=IndicatorKind.choices)
    lot = forms.CharField(label=_("Its lot"), max_length=20, required=False)
    result = forms.ChoiceField(label=_("Result"), choices=IndicatorResult.choices)


class WashForm(KeyForm):
    """Whether the wash was good."""

    result = forms.ChoiceField(label=_("The wash is"), choices=PASSED, widget=forms.RadioSelect)
    reason = forms.CharField(label=_("If it failed: why"), max_length=200, required=False)


class SignForm(KeyForm):
    """One's own PIN."""

    pin = forms.CharField(
        label=_("Your PIN"),
        max_length=12,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


class ReleaseForm(SignForm):
    """The release of a load; a second person only where it is before its indicator is known."""

    early = forms.BooleanField(
        label=_("Release early, before the biological indicator is known"), required=False
    )
    reason = forms.CharField(label=_("Early: why it cannot wait"), max_length=200, required=False)
    second = forms.CharField(label=_("Early: second person’s sign-in"), max_length=60, required=False)
    second_pin = forms.CharField(
        label=_("Early: second person’s PIN"),
        max_length=12,
        required=False,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    field_order = ("pin", "early", "reason", "second", "second_pin")


class FailForm(SignForm):
    """The refusal of a load."""

    reason = forms.CharField(label=_("What failed"), max_length=200)

    field_order = ("reason", "pin")


class ReadForm(KeyForm):
    """A biological result that was owed."""

    result = forms.ChoiceField(
        label=_("The indicator"),
        choices=(("negative", _("Did not grow")), ("positive", _("Grew"))),
        widget=forms.RadioSelect,
    )
    scope = forms.ChoiceField(
        label=_("If it grew, recall"), choices=RecallScope.choices, initial=RecallScope.THIS_LOAD
    )


class RecallForm(KeyForm):
    """Why, and how far."""

    cause = forms.ChoiceField(label=_("Cause"), choices=RecallCause.choices)
    scope = forms.ChoiceField(label=_("Recall"), choices=RecallScope.choices, widget=forms.RadioSelect)
    reason = forms.CharField(label=_("What is wrong"), max_length=200)


class AccountForm(KeyForm):
    """How one pack of a recall is accounted for."""

    outcome = forms.ChoiceField(
        choices=[
            (RecallOutcome.SECURED, RecallOutcome.SECURED.label),
            (RecallOutcome.USED, RecallOutcome.USED.label),
            (RecallOutcome.UNTRACEABLE, RecallOutcome.UNTRACEABLE.label),
        ]
    )
    note = forms.CharField(max_length=200, required=False)
