"""What is asked of moves, transfers, counts and notices."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from trays.parties.models import Party, PartyKind, Site
from trays.places.models import Place
from trays.stock.forms import (
    ChosenForm,
    DayInput,
    PiecesForm,
    PinForm,
    PinInput,
    ShelfForm,
    ThingForm,
    item_named,
    shelves,
)
from trays.stock.models_apart import ApartCause, ReturnWhy
from trays.stock.models_notices import NoticeOutcome
from trays.stock.models_takes import AdjustmentReason
from trays.stock.models_transfers import CarriedState
from trays.stock.noticing import LotNamed
from trays.stock.services import SHELVES
from trays.web.acting import KeyForm
from trays.web.errors import Refusal

APART_CHOICES = [
    (cause.value, cause.label)
    for cause in (ApartCause.DAMAGED, ApartCause.OUT_OF_DATE, ApartCause.SHORT_DATED, ApartCause.UNSURE)
]


class ToForm(forms.Form):
    """Where things go."""

    to = forms.ModelChoiceField(Place.objects.none(), label=_("Shelf"), empty_label=_("not chosen"))

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["to"]
        field.queryset = shelves(site)  # type: ignore[attr-defined]


class FromForm(forms.Form):
    """From where things come."""

    origin = forms.ModelChoiceField(Place.objects.none(), label=_("Shelf"), empty_label=_("not chosen"))

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["origin"]
        field.queryset = shelves(site)  # type: ignore[attr-defined]


class MoveThingForm(ThingForm):
    """One unit by its label, and from where if its lot lies at several places."""

    origin = forms.ModelChoiceField(
        Place.objects.none(), label=_("Comes from"), required=False, empty_label=_("wherever it lies")
    )

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["origin"]
        field.queryset = shelves(site)  # type: ignore[attr-defined]


class MoveForm(ChosenForm):
    """Ticked units."""


class MovePiecesForm(PiecesForm):
    """Pieces of a pile that go along."""

    pieces = forms.IntegerField(label=_("Pieces"), min_value=1, max_value=1_000_000)


class TransferForm(KeyForm):
    """Where to, until when, and why."""

    target = forms.ModelChoiceField(Site.objects.none(), label=_("To"), empty_label=_("not chosen"))
    needed_on = forms.DateField(label=_("Needed on"), required=False, widget=DayInput)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["target"]
        field.queryset = Site.objects.exclude(pk=site.pk).order_by("name")  # type: ignore[attr-defined]


class ArriveForm(ThingForm, ShelfForm):
    """One unit of a transfer by its label, and the shelf it goes to."""

    field_order = ("item", "lot", "serial", "place", "bin")


class ArrivePiecesForm(ShelfForm):
    """Pieces of a transfer that came, and where they go."""

    pieces = forms.IntegerField(label=_("Pieces"), min_value=1, max_value=1_000_000)


class ExplainForm(KeyForm):
    """What became of a unit that did not arrive."""

    how = forms.ChoiceField(
        label=_("It"),
        choices=[
            (CarriedState.ARRIVED_LATER, CarriedState.ARRIVED_LATER.label),
            (CarriedState.NEVER_LEFT, CarriedState.NEVER_LEFT.label),
            (CarriedState.LOST, CarriedState.LOST.label),
        ],
    )
    note = forms.CharField(label=_("What was found out"), max_length=200)
    place = forms.ModelChoiceField(
        Place.objects.none(), label=_("It lies at"), required=False, empty_label=_("nowhere yet")
    )

    def __init__(self, *args: Any, sites: list[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["place"]
        rows = Place.objects.filter(site__in=sites, kind__in=SHELVES).select_related("site")
        field.queryset = rows  # type: ignore[attr-defined]
        field.label_from_instance = lambda one: f"{one.site.name}, {one.name}"  # type: ignore[attr-defined]


class BeginTakeForm(KeyForm):
    """Which place is counted."""

    place = forms.ModelChoiceField(Place.objects.none(), label=_("Place"), empty_label=_("not chosen"))

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["place"]
        field.queryset = shelves(site)  # type: ignore[attr-defined]


class AdjustForm(PinForm):
    """Why the record changes, and who signs: two where the site asks for it."""

    reason = forms.ChoiceField(
        label=_("Why"), choices=AdjustmentReason.choices, widget=forms.RadioSelect
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)
    second = forms.CharField(label=_("Second person’s sign-in or badge"), max_length=60, required=False)
    second_pin = forms.CharField(
        label=_("Second person’s PIN"), max_length=12, required=False, widget=PinInput
    )

    field_order = ("reason", "note", "pin", "second", "second_pin")


class NoticeForm(KeyForm):
    """Whose notice, what is wrong, and which lots."""

    supplier = forms.ModelChoiceField(
        Party.objects.filter(kind=PartyKind.SUPPLIER).order_by("name"), label=_("Supplier"),
        empty_label=_("not chosen"),
    )  # fmt: skip
    letter = forms.CharField(label=_("The supplier’s own number of it"), max_length=40, required=False)
    reason = forms.CharField(label=_("What is wrong"), max_length=200)
    lots = forms.CharField(
        label=_("Items and lots"), max_length=8000, widget=forms.Textarea(attrs={"rows": 6}),
        help_text=_("A line for each: the item’s code, then the lot. The code alone means every lot."),
    )  # fmt: skip

    def named(self) -> list[LotNamed]:
        """The lots that are named. Raises Refusal, Unreadable with the line that is meant."""
        found = []
        for number, line in enumerate(self.cleaned_data["lots"].splitlines(), start=1):
            words = line.split()
            if not words:
                continue
            try:
                component, _held = item_named(words[0])
            except Refusal as refusal:
                raise Refusal(
                    refusal.code,
                    gettext("Line %(number)s: %(said)s") % {"number": number, "said": refusal.sentence},
                    refusal.next_step,
                ) from refusal
            lot = words[1] if len(words) > 1 else ""
            if len(words) > 2 or len(lot) > 20:
                raise Refusal(
                    "line-unreadable",
                    gettext("Line %(number)s is no item code with a lot.") % {"number": number},
                    gettext("Write the code, a blank, the lot; a line for each lot."),
                )
            found.append(LotNamed(component, lot))
        return found


class NoticeAccountForm(KeyForm):
    """How one unit of a notice is accounted for."""

    outcome = forms.ChoiceField(
        choices=[
            (NoticeOutcome.SECURED, NoticeOutcome.SECURED.label),
            (NoticeOutcome.USED, NoticeOutcome.USED.label),
            (NoticeOutcome.UNTRACEABLE, NoticeOutcome.UNTRACEABLE.label),
        ]
    )
    note = forms.CharField(max_length=200, required=False)


class CloseNoticeForm(PinForm):
    """How a notice ended, signed."""

    conclusion = forms.CharField(label=_("How it ended"), max_length=200)

    field_order = ("conclusion", "pin")


class ApartForm(ThingForm):
    """What is to be kept from use, by its label, and why."""

    count = forms.IntegerField(label=_("How many"), min_value=1, max_value=1000, initial=1)
    cause = forms.ChoiceField(label=_("Why"), choices=APART_CHOICES, widget=forms.RadioSelect)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)


class ReturnForm(ChosenForm):
    """Ticked units that go back, why, and what was agreed."""

    why = forms.ChoiceField(label=_("Why"), choices=ReturnWhy.choices, widget=forms.RadioSelect)
    note = forms.CharField(
        label=_("What was agreed with the supplier"), max_length=200, required=False
    )


class NoteForm(KeyForm):
    """A few words."""

    note = forms.CharField(label=_("Note"), max_length=200, required=False)


class PolicyForm(KeyForm):
    """A site's limits for its stock."""

    adjustment_limit = forms.DecimalField(
        label=_("A count that changes more than this is signed by two"), min_value=0, max_digits=10,
        decimal_places=2, help_text=_("In the site’s currency. What has no price is signed by two as well."),
    )  # fmt: skip
    short_dated_days = forms.IntegerField(
        label=_("Asked about on arrival: fewer days left than"), min_value=0, max_value=1000
    )
    warning_days = forms.IntegerField(
        label=_("Listed as expiring: within so many days"), min_value=0, max_value=2000
    )
