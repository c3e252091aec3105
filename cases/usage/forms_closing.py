"""What is asked when a set fails on the table, at signing, at the close, and of what is chased."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.usage.models_closing import ExceptionReason, FailureAnswer, FailureCause
from cases.usage.models_record import SignRole
from trays.instruments.models import Pack
from trays.parties.models import Site
from trays.places.models import Place
from trays.processing.forms import KeyForm
from trays.web.fields import RowsField

LONG = 200
PIN = {"inputmode": "numeric", "autocomplete": "off"}


class PackField(forms.ModelChoiceField):
    """A pack by its set and number; the page says more of it beside the choice."""

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.set.code} {obj.number}"


class SetFailForm(KeyForm):
    """Which pack is off the field, why, and which one theatre asks for instead."""

    pack = PackField(Pack.objects.none(), widget=forms.RadioSelect, label=_("Which pack"), empty_label=None)
    cause = forms.ChoiceField(
        label=_("What is wrong"), choices=FailureCause.choices, widget=forms.RadioSelect
    )
    words = forms.CharField(label=_("In words"), max_length=LONG, required=False)

    def __init__(self, *args: Any, packs: Sequence[Pack], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["pack"]
        field.queryset = Pack.objects.filter(pk__in=[pack.pk for pack in packs]).select_related("set")


class AnswerForm(KeyForm):
    """What sterile services say to a set that failed on the table."""

    answer = forms.ChoiceField(label=_("Answer"), choices=FailureAnswer.choices, widget=forms.RadioSelect)
    replacement = PackField(
        Pack.objects.none(), label=_("Which pack comes"), required=False, empty_label=_("none named")
    )
    words = forms.CharField(label=_("In words, for the theatre"), max_length=LONG, required=False)

    def __init__(self, *args: Any, packs: Sequence[Pack], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["replacement"]
        field.queryset = Pack.objects.filter(pk__in=[pack.pk for pack in packs]).select_related("set")


class SignForm(KeyForm):
    """One person's name under the record, on whatever screen is there."""

    role = forms.ChoiceField(choices=SignRole.choices, widget=forms.HiddenInput)
    name = forms.CharField(
        label=_("Badge or sign-in name"),
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    pin = forms.CharField(label=_("PIN"), max_length=12, widget=forms.PasswordInput(attrs=PIN))

    def __init__(self, *args: Any, role: str = "", **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", f"sign_{role}_%s")
        super().__init__(*args, **kwargs)


class UnsignedForm(KeyForm):
    """Somebody who agreed but cannot sign now: named, with the cause, and chased."""

    role = forms.ChoiceField(label=_("For whom"), choices=SignRole.choices)
    name = forms.CharField(label=_("Name"), max_length=120)
    why = forms.CharField(label=_("Why there is no signature"), max_length=LONG)


class ExceptionForm(KeyForm):
    """A senior person closes although something is open."""

    reason = forms.ChoiceField(
        label=_("Why it is closed all the same"), choices=ExceptionReason.choices, widget=forms.RadioSelect
    )
    words = forms.CharField(label=_("In words"), max_length=LONG, required=False)
    name = forms.CharField(
        label=_("Badge or sign-in name of the senior person"),
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    pin = forms.CharField(label=_("PIN"), max_length=12, widget=forms.PasswordInput(attrs=PIN))


class SendForm(KeyForm):
    """Used packs that go to the dirty trolley, and where it stands."""

    packs = RowsField(
        Pack.objects.none(),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose the packs that go.")},
    )
    place = forms.ModelChoiceField(
        Place.objects.none(), label=_("Where to"), required=False, empty_label=_("the dirty trolley")
    )

    def __init__(self, *args: Any, packs: Sequence[Pack], site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["packs"]
        field.queryset = Pack.objects.filter(pk__in=[pack.pk for pack in packs])
        place: Any = self.fields["place"]
        place.queryset = Place.objects.filter(site=site, kind=Place.Kind.TROLLEY).order_by("walk")


class ClearForm(KeyForm):
    """What came of something that was marked."""

    words = forms.CharField(label=_("What came of it"), max_length=LONG)


class NoCardForm(KeyForm):
    """The kinds of slot for which the site gives no implant card."""

    slots = forms.MultipleChoiceField(
        label=_("No card is given for"), widget=forms.CheckboxSelectMultiple, required=False
    )

    def __init__(self, *args: Any, known: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["slots"]
        field.choices = [(slot, slot) for slot in known]


class AvoidForm(KeyForm):
    """The materials of the catalogue that a case is to avoid."""

    materials = forms.MultipleChoiceField(
        label=_("To avoid"), widget=forms.CheckboxSelectMultiple, required=False
    )

    def __init__(self, *args: Any, known: Sequence[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["materials"]
        field.choices = [(material, material) for material in known]
