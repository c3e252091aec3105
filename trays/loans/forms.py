"""What is asked of loans: shape and type; what may be is decided by the services."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from trays.instruments.models import SetDesign
from trays.loans import words
from trays.loans.models import CheckOutcome, Loan, LoanSet
from trays.loans.models_agreements import LoanOffer
from trays.loans.models_charges import ChargeKind
from trays.loans.queries_agreements import offers_in_force, suppliers
from trays.orders.forms import HandForm, ItemForm
from trays.parties.models import Party, Site
from trays.places.models import Place, PlaceKind
from trays.stock.models_arrivals import Condition
from trays.web.acting import KeyForm
from trays.web.filters import GetForm

WHICH = (
    ("", _("Open")),
    ("late", _("Late")),
    ("expected", _("Not here yet")),
    ("here", _("Here")),
    ("settle", _("To settle")),
    ("ended", _("Ended")),
)


class MomentInput(forms.DateTimeInput):
    """A day and a time, by the device's own calendar."""

    input_type = "datetime-local"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%dT%H:%M")


class ListFilter(GetForm):
    """Which loans."""

    which = forms.ChoiceField(choices=WHICH, required=False)


class AskForm(KeyForm):
    """What is wanted of whom, and when. An offer brings all it holds; else a set or an item is named."""

    offer = forms.ModelChoiceField(
        LoanOffer.objects.none(), label=_("Offer"), required=False, empty_label=_("none: named below")
    )
    supplier = forms.ModelChoiceField(
        Party.objects.none(), label=_("Supplier"), required=False, empty_label=_("of the offer")
    )
    design = forms.ModelChoiceField(
        SetDesign.objects.none(), label=_("Set"), required=False, empty_label=_("no set")
    )
    item = forms.CharField(
        label=_("Sealed item"),
        max_length=80,
        required=False,
        help_text=_("Its code, the number under its bars, or part of its name."),
    )
    quantity = forms.IntegerField(
        label=_("How many of the item"), min_value=1, max_value=200, required=False, initial=1
    )
    needed_from = forms.DateTimeField(label=_("The case starts"), widget=MomentInput())
    needed_until = forms.DateTimeField(label=_("The case ends"), widget=MomentInput())
    note = forms.CharField(
        label=_("Note for the supplier"), max_length=200, required=False,
        help_text=_("Never a name, nor anything about a patient."),
    )  # fmt: skip

    def __init__(self, *args: Any, day: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = {
            "offer": offers_in_force(day=day),
            "supplier": suppliers(),
            "design": SetDesign.objects.order_by("name"),
        }
        for name, queryset in rows.items():
            self.fields[name].queryset = queryset  # type: ignore[attr-defined]
        self.fields["offer"].label_from_instance = _offer_words  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if not given.get("offer") and not given.get("supplier"):
            self.add_error("supplier", _("Choose the supplier, or one of the offers."))
        return given


def _offer_words(offer: LoanOffer) -> str:
    return gettext("%(name)s, %(who)s: %(fee)s %(currency)s, %(days)s working days") % {
        "name": offer.name, "who": offer.supplier, "fee": offer.fee, "currency": offer.currency,
        "days": offer.lead_working_days,
    }  # fmt: skip


class ConfirmForm(KeyForm):
    """The supplier's word."""

    arrives_at = forms.DateTimeField(label=_("It will be here"), widget=MomentInput())
    supplier_reference = forms.CharField(
        label=_("The supplier’s number for it"), max_length=60, required=False
    )
    fee = forms.DecimalField(
        label=_("Fee"), min_value=0, max_digits=10, decimal_places=2, required=False,
        help_text=_("In the currency of the loan."),
    )  # fmt: skip


class EndForm(KeyForm):
    """Why a loan that is not here will not come."""

    reason = forms.ChoiceField(
        label=_("Why"),
        choices=[
            (_("The supplier says no"), list(words.DECLINE.items())),
            (_("We no longer want it"), list(words.CANCEL.items())),
        ],
    )


class ArriveForm(KeyForm):
    """One set at the door: which of the loan's it is, and the code on it."""

    loan_set = forms.ModelChoiceField(LoanSet.objects.none(), label=_("Which set"), empty_label=None)
    code = forms.CharField(
        label=_("The code on the set"), max_length=40, help_text=_("Scan it, or type it as it stands there.")
    )
    grai = forms.CharField(label=_("Its GRAI, if it has one"), max_length=30, required=False)
    place = forms.ModelChoiceField(Place.objects.none(), label=_("Brought to"), empty_label=None)

    def __init__(self, *args: Any, loan: Loan, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        waiting = loan.sets.filter(open=True, set__isnull=True).select_related("design")
        self.fields["loan_set"].queryset = waiting  # type: ignore[attr-defined]
        self.fields["loan_set"].label_from_instance = _set_words  # type: ignore[attr-defined]
        halls = Place.objects.filter(site=loan.site_id, kind=PlaceKind.STERILE_SERVICES)
        self.fields["place"].queryset = halls  # type: ignore[attr-defined]


def _set_words(row: LoanSet) -> str:
    return gettext("Set %(n)s, %(design)s") % {"n": row.number, "design": row.design.name}


class ShelfForm(KeyForm):
    """Where the sealed units go that are scanned now."""

    place = forms.ModelChoiceField(Place.objects.none(), label=_("Shelf for sealed units"), empty_label=None)

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Place.objects.filter(site=site, kind__in=(PlaceKind.SHELF, PlaceKind.STORE))
        self.fields["place"].queryset = rows  # type: ignore[attr-defined]


class UnitByHandForm(HandForm):
    """What the label of a sealed unit says, where no scanner reads it or it came damaged."""

    condition = forms.ChoiceField(
        label=_("How it arrived"),
        choices=[(Condition.GOOD, Condition.GOOD.label), (Condition.DAMAGED, Condition.DAMAGED.label)],
        widget=forms.RadioSelect,
        initial=Condition.GOOD,
    )


class CheckForm(KeyForm):
    """A set on arrival: each line of its list, what came with it, and what is decided."""

    instructions = forms.BooleanField(
        label=_("Its maker’s instructions for cleaning and sterilizing came with it"), required=False
    )
    certificate = forms.BooleanField(label=_("A certificate of decontamination came with it"), required=False)
    certificate_number = forms.CharField(label=_("The certificate’s number"), max_length=40, required=False)
    undamaged = forms.BooleanField(label=_("Nothing is damaged or soiled"), required=False)
    weight = forms.DecimalField(
        label=_("Weight of the heaviest tray, in kilograms"), min_value=0, max_value=99, max_digits=5,
        decimal_places=3,
    )  # fmt: skip
    outcome = forms.ChoiceField(label=_("It is"), choices=CheckOutcome.choices, widget=forms.RadioSelect)
    reason = forms.ChoiceField(
        label=_("If not simply accepted: why"),
        choices=[("", "–"), *words.TURN_AWAY.items()],
        required=False,
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, lines: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        for line in lines:
            self.fields[f"line_{line.pk}"] = forms.IntegerField(
                label=gettext("Line %(n)s: found") % {"n": line.number}, min_value=0, max_value=999,
                initial=line.quantity, widget=forms.NumberInput(attrs={"class": "few"}),
            )  # fmt: skip

    def rows(self) -> list[tuple[Any, Any]]:
        """Each line of the list with its field."""
        return [(line, self[f"line_{line.pk}"]) for line in self.lines]

    def counted(self) -> dict[int, int]:
        return {line.pk: self.cleaned_data[f"line_{line.pk}"] for line in self.lines}

    @property
    def grams(self) -> int:
        return int(self.cleaned_data["weight"] * 1000)


class CountForm(KeyForm):
    """Everything that goes home, line by line, as it is counted."""

    def __init__(self, *args: Any, lines: list[tuple[int, Any, int]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        for set_id, line, expected in lines:
            self.fields[f"line_{set_id}_{line.pk}"] = forms.IntegerField(
                label=gettext("Line %(n)s: counted") % {"n": line.number}, min_value=0, max_value=999,
                initial=expected, widget=forms.NumberInput(attrs={"class": "few"}),
            )  # fmt: skip

    def rows(self, set_id: int) -> list[tuple[Any, int, Any]]:
        """The lines of one set: what came, and the field for what is there."""
        return [
            (line, expected, self[f"line_{one}_{line.pk}"])
            for one, line, expected in self.lines
            if one == set_id
        ]

    def counted(self) -> dict[int, dict[int, int]]:
        found: dict[int, dict[int, int]] = {}
        for set_id, line, _expected in self.lines:
            found.setdefault(set_id, {})[line.pk] = self.cleaned_data[f"line_{set_id}_{line.pk}"]
        return found


class ReturnForm(KeyForm):
    """Sending a loan home."""

    carrier_reference = forms.CharField(label=_("Number of the collection"), max_length=60, required=False)
    told = forms.BooleanField(label=_("The supplier has been told what differs"), required=False)

    def __init__(self, *args: Any, differs: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not differs:
            del self.fields["told"]


class ClaimForm(KeyForm):
    """What the supplier claims."""

    kind = forms.ChoiceField(label=_("For"), choices=ChargeKind.choices)
    item = forms.CharField(
        label=_("Item, if used"), max_length=80, required=False,
        help_text=_("Its code, the number under its bars, or part of its name."),
    )  # fmt: skip
    quantity = forms.IntegerField(label=_("How many"), min_value=1, max_value=200, initial=1)
    amount = forms.DecimalField(label=_("Amount"), min_value=0, max_digits=10, decimal_places=2)
    claim_number = forms.CharField(label=_("Number of the claim"), max_length=60, required=False)


class RefuseChargeForm(KeyForm):
    """Why a charge is not paid."""

    reason = forms.ChoiceField(label=_("Why"), choices=list(words.CHARGE.items()))


_RULES = {
    "confirm_hours": _("Supplier’s word, before it must arrive: hours"),
    "check_hours": _("To check it on arrival: hours"),
    "unfamiliar_hours": _("More, for a set that was never here: hours"),
    "process_hours": _("To make it sterile: hours"),
    "ready_hours": _("To stand ready before the case: hours"),
    "clean_hours": _("To be clean again after the case: hours"),
    "count_hours": _("To count it out: hours"),
    "return_days": _("To send it home after the case: working days"),
    "close_days": _("To settle its charges: working days"),
    "soon_hours": _("Said to be due soon before a deadline: hours"),
}


class RulesForm(KeyForm):
    """How long before and after a case each step must be done."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, label in _RULES.items():
            self.fields[name] = forms.IntegerField(
                label=label, min_value=0, max_value=60 if name == "return_days" else 200,
                widget=forms.NumberInput(attrs={"class": "few"}),
            )  # fmt: skip

    def values(self) -> dict[str, int]:
        return {name: self.cleaned_data[name] for name in _RULES}


class AgreementCountForm(KeyForm):
    """What was seen of each item of an agreement; an empty field was not counted."""

    with_supplier = forms.CharField(
        label=_("Counted together with"), max_length=120, required=False,
        help_text=_("Who counted for the supplier. Empty where you counted alone."),
    )  # fmt: skip

    def __init__(self, *args: Any, components: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.components = components
        for component in components:
            self.fields[f"seen_{component.pk}"] = forms.IntegerField(
                label=component.name, min_value=0, max_value=9999, required=False,
                widget=forms.NumberInput(attrs={"class": "few"}),
            )  # fmt: skip

    def rows(self) -> list[tuple[Any, Any]]:
        return [(component, self[f"seen_{component.pk}"]) for component in self.components]

    def seen(self) -> dict[int, int]:
        given = {component.pk: self.cleaned_data[f"seen_{component.pk}"] for component in self.components}
        return {pk: count for pk, count in given.items() if count is not None}


class AgreementEndForm(KeyForm):
    """The last day of an agreement."""

    last = forms.DateField(label=_("Last day"), widget=forms.DateInput(attrs={"type": "date"}))


def component_named(text: str) -> Any:
    """The one component that is meant by its code, number or name; None for an empty text.

    Raises Refusal "no-such-item", "several-items".
    """
    if not text.strip():
        return None
    form = ItemForm({"item": text})
    form.is_valid()
    return form.component()
