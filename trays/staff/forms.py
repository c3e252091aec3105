"""The sign-in form."""

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
