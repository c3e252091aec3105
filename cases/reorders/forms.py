"""Filters of the reorder and stock pages."""

from django import forms

from trays.web.filters import GetForm


class AlertFilter(GetForm):
    """Which alerts: by when they must be ordered, and by supplier."""

    when = forms.ChoiceField(choices=[("today", "today"), ("late", "late")], required=False)
    supplier = forms.CharField(required=False, max_length=40)


class UnitFilter(GetForm):
    """Which units of a family."""

    state = forms.ChoiceField(
        choices=[("free", "free"), ("held", "held"), ("dated", "dated")], required=False
    )
    side = forms.ChoiceField(choices=[("left", "left"), ("right", "right")], required=False)
