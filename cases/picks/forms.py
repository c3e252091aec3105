"""Forms behind the buttons of pick lists."""

from django import forms
from django.utils.translation import gettext_lazy as _

from trays.parties.models import Site
from trays.places.models import Place
from trays.processing.storing import SHELVES


class MakeForm(forms.Form):
    """Only the key that makes a second press of the button harmless."""

    client_key = forms.UUIDField(required=False, widget=forms.HiddenInput)


class LineForm(MakeForm):
    """A line of consumables by its number."""

    number = forms.IntegerField(min_value=1, max_value=32_000)


class PacksForm(MakeForm):
    """Packs that are with a case, by their keys."""

    packs = forms.TypedMultipleChoiceField(coerce=int, error_messages={"required": _("Choose a pack.")})

    def __init__(self, *args: object, known: list[int], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["packs"].choices = [(str(pk), str(pk)) for pk in known]  # type: ignore[attr-defined]


class BackForm(PacksForm):
    """The same, and the shelf they come back to."""

    place = forms.ModelChoiceField(queryset=Place.objects.none(), label=_("Back to"))

    def __init__(self, *args: object, site: Site, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["place"].queryset = site.places.filter(kind__in=SHELVES).order_by("walk")  # type: ignore[attr-defined]
