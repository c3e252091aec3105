"""The form behind the one button."""

from django import forms


class MakeForm(forms.Form):
    """Only the key that makes a second press of the button harmless."""

    client_key = forms.UUIDField(required=False, widget=forms.HiddenInput)
