"""What the pages of stock ask again and again: places, items, sites, a PIN."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component
from trays.catalogue.queries import component_by_gtin
from trays.identifiers.checkdigits import holds_mod10, is_digits
from trays.parties.models import Site
from trays.places.models import Place
from trays.stock.models import Pile, Unit
from trays.stock.services import SHELVES
from trays.web.acting import KeyForm
from trays.web.errors import Refusal, Unreadable
from trays.web.fields import RowsField

GTIN_LENGTHS = (8, 12, 13, 14)


class DayInput(forms.DateInput):
    """A day, by the device's own calendar."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class PinInput(forms.PasswordInput):
    """A PIN."""

    def __init__(self) -> None:
        super().__init__(attrs={"inputmode": "numeric", "autocomplete": "off"})


class ShelfForm(KeyForm):
    """A shelf of a site, and where on it."""

    place = forms.ModelChoiceField(Place.objects.none(), label=_("Shelf"), empty_label=_("not chosen"))
    bin = forms.CharField(label=_("Bin"), max_length=20, required=False)

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.site = site
        field = self.fields["place"]
        field.queryset = shelves(site)  # type: ignore[attr-defined]


class ItemForm(KeyForm):
    """An item by its code, or by the number under its bars."""

    item = forms.CharField(
        label=_("Item"), max_length=40, help_text=_("Scan it; or its code, or the number under the bars.")
    )

    def component(self) -> tuple[Component, int]:
        """The item that is meant, and how many of it the code stands for.

        Raises Unreadable "check-digit", Refusal "unknown-item" (with the code).
        """
        return item_named(self.cleaned_data["item"])


class ThingForm(KeyForm):
    """One unit, as a person reads it from the label: item with lot or serial."""

    item = forms.CharField(label=_("Item"), max_length=40)
    lot = forms.CharField(label=_("Lot"), max_length=20, required=False)
    serial = forms.CharField(label=_("Serial"), max_length=20, required=False)

    def component(self) -> Component:
        return item_named(self.cleaned_data["item"])[0]


class ReasonForm(KeyForm):
    """A few words of why."""

    reason = forms.CharField(label=_("Why"), max_length=200)


class PinForm(KeyForm):
    """One's own PIN."""

    pin = forms.CharField(label=_("Your PIN"), max_length=12, widget=PinInput)


class ChosenForm(KeyForm):
    """Units that a page showed, as they were ticked."""

    units = RowsField(Unit.objects.none(), label=_("Units"))

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Unit.objects.filter(site=site).select_related("component", "place", "site", "owner")
        field = self.fields["units"]
        field.queryset = rows  # type: ignore[attr-defined]


class PiecesForm(KeyForm):
    """A number of pieces of a pile."""

    pile = forms.ModelChoiceField(Pile.objects.none(), label=_("Pile"), widget=forms.HiddenInput)
    pieces = forms.IntegerField(label=_("Pieces"), min_value=0, max_value=1_000_000)

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Pile.objects.filter(site=site).select_related("component", "place", "site")
        field = self.fields["pile"]
        field.queryset = rows  # type: ignore[attr-defined]


def shelves(site: Site) -> Any:
    """Where stock of a site lies."""
    return Place.objects.filter(site=site, kind__in=SHELVES).select_related("site")


def item_named(text: str) -> tuple[Component, int]:
    """The item of a code that was typed or read, and how many of it the code stands for.

    Raises Unreadable "check-digit", Refusal "unknown-item" with the code as its fact "unknown".
    """
    code = text.strip()
    rows = Component.objects.select_related("family", "supplier")
    exact = rows.filter(code__iexact=code).first()
    if exact is not None:
        return exact, 1
    found = component_by_gtin(code)
    if found is not None:
        return found
    if is_digits(code) and len(code) in GTIN_LENGTHS and not holds_mod10(code):
        raise Unreadable(
            "check-digit",
            gettext("The check digit of %(code)s does not hold.") % {"code": code},
            gettext("Scan it again, or type it as it stands below the bars."),
        )
    raise Refusal(
        "unknown-item",
        gettext("No item with the code %(code)s is on file.") % {"code": code},
        gettext("Look at the code again; if it is right, add it to the catalogue."),
        unknown=code,
    )
