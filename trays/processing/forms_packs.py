"""What is asked of packs that come in, are put away, go out, or leave the round."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from trays.instruments.models import ContentsLine, Pack
from trays.parties.models import Site
from trays.places.models import Place, PlaceKind
from trays.processing import words
from trays.processing.forms import KeyForm, SignForm
from trays.processing.models import ShortfallCause
from trays.processing.storing import OUTLETS, SHELVES
from trays.web.numbers import whole

RECEPTION = (PlaceKind.STERILE_SERVICES,)


class PlaceForm(KeyForm):
    """A place of a site, of certain kinds; chosen beforehand where there is only one."""

    kinds: tuple[str, ...] = ()
    place = forms.ModelChoiceField(Place.objects.none(), label=_("Place"), empty_label=None)

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Place.objects.filter(site=site, kind__in=self.kinds)
        field = self.fields["place"]
        field.queryset = rows  # type: ignore[attr-defined]


class TogetherForm(PlaceForm):
    """Packs that are acted on together: those that the page showed, whatever has been scanned since."""

    packs = forms.CharField(widget=forms.HiddenInput, required=False)

    def clean_packs(self) -> list[int]:
        return [pk for text in self.cleaned_data["packs"].split(",") if (pk := whole(text)) is not None]


class ReceiveForm(TogetherForm):
    """Where they are received, and whether they are wanted soon."""

    kinds = RECEPTION
    urgent = forms.BooleanField(label=_("Urgent: wash these first"), required=False)

    field_order = ("urgent", "place")


class BackForm(TogetherForm):
    """Not used, and yet to be done again: why."""

    kinds = RECEPTION
    reason = forms.ChoiceField(label=_("Why"), choices=list(words.BACK.items()))

    field_order = ("reason", "place")


class LackForm(forms.Form):
    """So many of one contents line of a pack are missing or broken."""

    line = forms.ModelChoiceField(ContentsLine.objects.none(), label=_("Line"), empty_label=None)
    quantity = forms.IntegerField(label=_("How many"), min_value=1, max_value=999, initial=1)
    cause = forms.ChoiceField(
        label=_("They are"), choices=ShortfallCause.choices, widget=forms.RadioSelect, initial="missing"
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, pack: Pack, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lines = ContentsLine.objects.filter(version=pack.set.version_id, tray=pack.tray)
        field = self.fields["line"]
        field.queryset = lines.select_related("instrument", "rack_stock").order_by("number")  # type: ignore[attr-defined]
        field.label_from_instance = _line_words  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        line, quantity = given.get("line"), given.get("quantity")
        if line is not None and quantity is not None and quantity > line.quantity:
            self.add_error("quantity", _("The list has %(most)s of these.") % {"most": line.quantity})
        return given


def _line_words(line: ContentsLine) -> str:
    thing = line.instrument or line.rack_stock
    number = f"{line.number}  {thing.name if thing else ''}"
    return f"{number} × {line.quantity}" if line.quantity > 1 else number


class ShelfForm(PlaceForm):
    """Which shelf, and where on it."""

    kinds = SHELVES
    place = forms.ModelChoiceField(Place.objects.none(), label=_("Shelf"), empty_label=None)
    bin = forms.CharField(label=_("Bin"), max_length=20, required=False)


class OutletForm(PlaceForm):
    """Which theatre or trolley."""

    kinds = OUTLETS
    place = forms.ModelChoiceField(Place.objects.none(), label=_("Theatre or trolley"), empty_label=None)


class AnywhereForm(PlaceForm):
    """A shelf, a theatre or a trolley."""

    kinds = (*SHELVES, *OUTLETS)
    place = forms.ModelChoiceField(
        Place.objects.none(), label=_("Shelf, theatre or trolley"), empty_label=_("not chosen")
    )


class PutForm(AnywhereForm, TogetherForm):
    """Where everything in hand goes."""

    bin = forms.CharField(label=_("Bin, on a shelf"), max_length=20, required=False)


class QuarantineForm(KeyForm):
    """Why nobody may use it."""

    reason = forms.ChoiceField(label=_("Why"), choices=list(words.QUARANTINE.items()))


class LiftForm(SignForm):
    """The quality lead's own PIN."""


class OutForm(KeyForm):
    """How it leaves the round."""

    how = forms.ChoiceField(label=_("It goes"), choices=list(words.OUT.items()))
