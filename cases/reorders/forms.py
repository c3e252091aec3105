"""Filters of the reorder and stock pages, and what an amount is."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.reorders.models import SetAsideReason
from trays.web.acting import KeyForm
from trays.web.filters import GetForm


class AlertFilter(GetForm):
    """Which alerts: by when they must be ordered, and by supplier."""

    when = forms.ChoiceField(
        choices=[(word, word) for word in ("today", "late", "way", "aside")], required=False
    )
    supplier = forms.CharField(required=False, max_length=40)


class UnitFilter(GetForm):
    """Which units of a family."""

    state = forms.ChoiceField(
        choices=[("free", "free"), ("held", "held"), ("dated", "dated")], required=False
    )
    side = forms.ChoiceField(choices=[("left", "left"), ("right", "right")], required=False)


class ExpiryFilter(GetForm):
    """Which units: those that are likely to expire unused, or all that expire."""

    show = forms.ChoiceField(choices=[("all", "all")], required=False)


class SetAsideForm(KeyForm):
    """Why an alert is set aside; `digest` stands for the facts that were shown."""

    digest = forms.CharField(max_length=32, widget=forms.HiddenInput)
    reason = forms.ChoiceField(
        label=_("Why"),
        choices=[("", _("Choose")), *SetAsideReason.choices],
        help_text=_("It is kept on file."),
    )
    note = forms.CharField(
        label=_("In your words"),
        required=False,
        max_length=200,
        help_text=_("Needed with another reason. No names of patients."),
    )


class BudgetForm(forms.Form):
    """An amount to spend: money where components have a price, or a number of units."""

    amount = forms.DecimalField(
        label=_("Amount"),
        min_value=Decimal("0.01"),
        max_value=Decimal("9999999"),
        decimal_places=2,
        help_text=_("How much may be spent, or how many units may be bought."),
    )
    of = forms.ChoiceField(label=_("In"))

    def __init__(self, query: Any, *, currency: str) -> None:
        super().__init__(query)
        choices = [(currency, currency)] if currency else []
        # mypy does not know that choices of this field can be set.
        self.fields["of"].choices = [*choices, ("units", _("units, each counted alike"))]  # type: ignore[attr-defined]

    @property
    def currency(self) -> str:
        """The currency chosen, "" for units."""
        chosen: str = self.cleaned_data["of"]
        return "" if chosen == "units" else chosen
