"""The sign-in form."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.utils.translation import gettext_lazy as _


class SignInForm(AuthenticationForm):
    """Name and password; paste and password managers work."""

    username = UsernameField(
        label=_("Sign-in name"),
        # Longer than any name on file, and shorter than what the record of failed tries can hold.
        max_length=60,
        widget=forms.TextInput(
            attrs={"autofocus": True, "autocapitalize": "none", "autocomplete": "username"}
        ),
    )
    error_messages = {
        "invalid_login": _(
            "This name and password do not belong together. Type both again; after eight tries "
            "the sign-in is closed for a quarter of an hour."
        ),
        "inactive": _("This sign-in is no longer in use. Ask whoever keeps the roles at your site."),
    }


class PinForm(forms.Form):
    """A new PIN, twice, proven by the password."""

    _figures = forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
    pin = forms.CharField(
        label=_("New PIN"), max_length=12, widget=_figures, help_text=_("4 to 12 figures, not in a row.")
    )
    again = forms.CharField(label=_("New PIN again"), max_length=12, widget=_figures)
    password = forms.CharField(
        label=_("Your password"),
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        help_text=_("The one you sign in with."),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("pin") and given.get("again") and given["pin"] != given["again"]:
            self.add_error("again", _("This differs from the PIN above."))
        return given
