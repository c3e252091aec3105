"""What is asked of a workstation."""

from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from trays.parties.models import Site
from trays.places.models import Place
from trays.scanners import keys
from trays.scanners.models import Tones, Workstation
from trays.scanners.services import Settings


class PlaceChoice(forms.ModelChoiceField):
    """Places with their site behind the name."""

    def label_from_instance(self, obj: Any) -> str:
        return str(obj.name) if obj.site.name in obj.name else f"{obj.name}, {obj.site.name}"


class WorkstationForm(forms.Form):
    """One workstation: its name and place, and how its scanner sends a code."""

    name = forms.CharField(
        label=_("Name"), max_length=60, help_text=_("What people call it: “Implant store, left PC”.")
    )
    place = PlaceChoice(
        label=_("Where it stands"),
        queryset=Place.objects.none(),
        required=False,
        empty_label=_("nowhere in particular"),
        help_text=_("In a theatre, tones are off unless they are switched on below."),
    )
    separator = forms.CharField(
        label=_("Sign for the separator"),
        max_length=keys.MOST_SEPARATOR,
        required=False,
        strip=False,
        help_text=_("Empty where the scanner sends GS (ASCII 29), <GS>, {GS}, Ctrl and ], Alt 029 or F8."),
    )
    sends_separators = forms.BooleanField(
        label=_("No separator is ever lost here"),
        required=False,
        help_text=_(
            "Tick it only when the test has shown so, and no other scanner is used here: you are then no "
            "longer asked where a code without separators could be read in several ways."
        ),
    )
    # The form's own prefix is not used.
    prefix = forms.CharField(  # type: ignore[assignment]
        label=_("Key before each scan"),
        max_length=10,
        required=False,
        help_text=_("A sign such as ~, or F2, F3, F4, F6, F7, F9 to F12. Then a scan counts in any field."),
    )
    suffix = forms.CharField(
        label=_("Key after each scan"),
        max_length=10,
        required=False,
        help_text=_(
            "Empty for Enter or Tab; a sign or key as above; or the word none: then a pause ends the scan."
        ),
    )
    slower = forms.IntegerField(
        label=_("Times slower than usual"),
        min_value=1,
        max_value=keys.SLOWEST,
        initial=1,
        help_text=_("1 for most scanners: at most 50 ms between two keys. More for one that lags."),
    )
    by_position = forms.BooleanField(
        label=_("Take keys by their place on a US keyboard"),
        required=False,
        help_text=_("For a scanner that speaks US keyboard where the computer has another."),
    )
    tones = forms.ChoiceField(label=_("Tones"), choices=Tones.choices, widget=forms.RadioSelect)

    def __init__(self, *args: Any, sites: list[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sites = sites
        field = cast(forms.ModelChoiceField, self.fields["place"])
        field.queryset = Place.objects.filter(site__in=sites).select_related("site")
        if len(sites) > 1:
            self.fields["site"] = forms.ChoiceField(
                label=_("Site"), choices=[(site.code, site.name) for site in sites]
            )
            self.order_fields(["site"])

    @property
    def site(self) -> Site:
        """The site chosen, or the only one."""
        code = self.cleaned_data.get("site", self.sites[0].code)
        return next(site for site in self.sites if site.code == code)

    @property
    def settings(self) -> Settings:
        return Settings(**{name: self.cleaned_data[name] for name in Settings.__dataclass_fields__})


class DeviceForm(forms.Form):
    """Which of the known workstations this browser is."""

    workstation = forms.ModelChoiceField(
        label=_("This device is"), queryset=Workstation.objects.none(), empty_label=_("none of these")
    )

    def __init__(self, *args: Any, rows: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ModelChoiceField, self.fields["workstation"]).queryset = rows


class FoundForm(forms.Form):
    """The settings that the test page has found and a person has ticked; those not given stay as they are."""

    separator = forms.CharField(max_length=keys.MOST_SEPARATOR, required=False, strip=False)
    prefix = forms.CharField(max_length=10, required=False)  # type: ignore[assignment]
    suffix = forms.CharField(max_length=10, required=False)
    slower = forms.IntegerField(required=False)
    by_position = forms.BooleanField(required=False)
    sends_separators = forms.BooleanField(required=False)

    @property
    def changes(self) -> dict[str, Any]:
        """What was given, as the settings have it; nothing of it when one of them is nonsense."""
        if not self.is_valid():
            return {}
        return {name: value for name, value in self.cleaned_data.items() if self.data.get(name)}
