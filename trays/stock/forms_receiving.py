"""What is asked of goods that come in, and of codes that nobody knew."""

import base64
import binascii
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component, Family, FamilyKind, Side
from trays.parties.models import Party, PartyKind, Site, Tenure
from trays.places.models import Place
from trays.stock.arriving import Goods
from trays.stock.drafts import Came, Described
from trays.stock.forms import DayInput, ItemForm, item_named, shelves
from trays.stock.models_arrivals import Condition
from trays.web.acting import KeyForm

ON_TERMS = (
    (Tenure.OWNED, _("The hospital’s own")),
    (Tenure.CONSIGNED, _("The supplier’s, consigned")),
    (Tenure.LOANED, _("The supplier’s, on loan")),
)


class ArrivesForm(KeyForm):
    """Where goods are put, whose they are, and from whom they came."""

    place = forms.ModelChoiceField(Place.objects.none(), label=_("Shelf"), empty_label=_("not chosen"))
    tenure = forms.ChoiceField(
        label=_("Whose it is"), choices=ON_TERMS, widget=forms.RadioSelect, initial=Tenure.OWNED
    )
    supplier = forms.ModelChoiceField(
        Party.objects.filter(kind=PartyKind.SUPPLIER).order_by("name"),
        label=_("Came from"),
        required=False,
        empty_label=_("not said"),
        help_text=_("As the delivery note says: another supplier’s item is then noticed."),
    )

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.site = site
        field = self.fields["place"]
        field.queryset = shelves(site)  # type: ignore[attr-defined]

    def owner(self, supplier: Party | None) -> Party:
        """The hospital, or else who supplies the item."""
        given = self.cleaned_data
        if given["tenure"] == Tenure.OWNED:
            return self.site.party
        chosen: Party | None = given["supplier"]
        return chosen or supplier or self.site.party


class LabelFields(forms.Form):
    """What a label says beside its item."""

    lot = forms.CharField(label=_("Lot"), max_length=20, required=False)
    serial = forms.CharField(label=_("Serial"), max_length=20, required=False)
    expires = forms.DateField(
        label=_("Use by"), required=False, widget=DayInput, help_text=_("Usable on this day, not after it.")
    )
    count = forms.IntegerField(label=_("How many"), min_value=1, max_value=1_000_000, initial=1)
    raw = forms.CharField(required=False, max_length=6000, widget=forms.HiddenInput)

    def clean_raw(self) -> bytes:
        """The label as the scanner sent it; b"" where it was typed."""
        try:
            return base64.b64decode(self.cleaned_data["raw"], validate=True)
        except (binascii.Error, ValueError):
            return b""


class ReceiveForm(ItemForm, LabelFields, ArrivesForm):
    """One receipt: so many of one lot, or one serial."""

    condition = forms.ChoiceField(
        label=_("It arrived"), choices=Condition.choices, widget=forms.RadioSelect, initial=Condition.GOOD
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)
    bin = forms.CharField(label=_("Bin"), max_length=20, required=False)

    field_order = (
        "item", "lot", "serial", "expires", "count", "place", "bin", "tenure", "supplier", "condition",
        "note",
    )  # fmt: skip

    def goods(self) -> tuple[Goods, int]:
        """What came, and how many: a box stands for all that is in it. Raises as `component`."""
        given = self.cleaned_data
        component, held = self.component()
        goods = Goods(
            component=component, owner=self.owner(component.supplier), tenure=given["tenure"],
            place=given["place"], lot=given["lot"], serial=given["serial"], expires=given["expires"],
            bin=given["bin"], delivered_by=given["supplier"],
        )  # fmt: skip
        return goods, given["count"] * held


class StraightForm(ArrivesForm):
    """Where each scan goes straight."""


class DraftForm(KeyForm):
    """What an unknown code is: another code of an item on file, or a new item."""

    code = forms.CharField(label=_("Code"), max_length=40)
    quantity = forms.IntegerField(
        label=_("So many in the pack"), min_value=1, max_value=1000, initial=1,
        help_text=_("1 for a single unit; for a box what is inside."),
    )  # fmt: skip
    known = forms.CharField(
        label=_("Another code of this item"), max_length=40, required=False,
        help_text=_("The code of the item on file; or leave it empty and say what is new."),
    )  # fmt: skip
    family = forms.ModelChoiceField(
        Family.objects.order_by("name"), label=_("New item of this family"), required=False,
        empty_label=_("none of these"),
    )  # fmt: skip
    new_family = forms.CharField(label=_("Or of a new family"), max_length=120, required=False)
    kind = forms.ChoiceField(
        label=_("Kind of the new family"), choices=FamilyKind.choices, initial=FamilyKind.IMPLANT
    )
    name = forms.CharField(label=_("Name, as the label says it"), max_length=160, required=False)
    size = forms.CharField(label=_("Size"), max_length=20, required=False)
    second = forms.CharField(label=_("Second measure"), max_length=20, required=False)
    side = forms.ChoiceField(label=_("Side"), choices=Side.choices, initial=Side.NONE)
    supplier = forms.ModelChoiceField(
        Party.objects.filter(kind=PartyKind.SUPPLIER).order_by("name"), label=_("Supplied by"),
        required=False, empty_label=_("not chosen"),
    )  # fmt: skip

    def described(self) -> Described:
        """What was said. Raises Refusal "unknown-item" for an item that is not on file."""
        given = self.cleaned_data
        component: Component | None = item_named(given["known"])[0] if given["known"] else None
        return Described(
            code=given["code"], quantity=given["quantity"], component=component, family=given["family"],
            new_family=given["new_family"], kind=given["kind"], name=given["name"], size=given["size"],
            second=given["second"], side=given["side"], supplier=given["supplier"],
        )  # fmt: skip


class CorrectForm(DraftForm):
    """The same said otherwise; the code itself stays."""

    code = forms.CharField(max_length=40, widget=forms.HiddenInput)


class DraftArrivesForm(DraftForm, LabelFields, ArrivesForm):
    """The same, with what came in of it."""

    field_order = (
        "code", "quantity", "known", "family", "new_family", "kind", "name", "size", "second", "side",
        "lot", "serial", "expires", "count", "place", "tenure", "supplier",
    )  # fmt: skip

    def came(self, described: Described) -> Came:
        """What came in."""
        given = self.cleaned_data
        supplier = described.component.supplier if described.component else described.supplier
        return Came(
            place=given["place"], owner=self.owner(supplier), tenure=given["tenure"], lot=given["lot"],
            serial=given["serial"], expires=given["expires"], count=given["count"], raw=given["raw"],
        )  # fmt: skip

