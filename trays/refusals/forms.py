"""Which refused scans are listed."""

from django import forms

from trays.refusals.models import HowScanned
from trays.web.filters import GetForm


class RefusedFilter(GetForm):
    """By reason, and by the way the code came in."""

    code = forms.CharField(max_length=60, required=False)
    how = forms.ChoiceField(choices=HowScanned.choices, required=False)
