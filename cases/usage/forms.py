"""What is asked on the pages of what was brought to the table, and how it ended."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case, Construct
from cases.usage.kinds import Scanned
from cases.usage.models import Card, Fate, Why
from cases.usage.models_record import Said, Whereto
from trays.catalogue.models import Component
from trays.catalogue.words import side_word
from trays.parties.models import Party
from trays.processing.forms import KeyForm
from trays.staff.models import Person, Role

LONG = 200


def construct_words(construct: Construct) -> str:
    """A construct as people name it: its side, or its number where it has none."""
    return side_word(construct.side) or gettext("construct %(n)s") % {"n": construct.number}


class ConstructField(forms.ModelChoiceField):
    """Which side, or which of several constructs; nothing is chosen beforehand."""

    widget = forms.RadioSelect

    def label_from_instance(self, obj: Any) -> str:
        return construct_words(obj)


class CaseForm(KeyForm):
    """A form on one case's page; the construct is asked only where there are several."""

    construct = ConstructField(Construct.objects.none(), label=_("Side"), empty_label=None)

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        own = list(Construct.objects.filter(case=case).order_by("number"))
        field: Any = self.fields["construct"]
        field.queryset = Construct.objects.filter(case=case).order_by("number")
        field.choices = [(one.pk, construct_words(one)) for one in own]
        if len(own) == 1:
            field.widget = forms.HiddenInput()
            field.initial = own[0].pk


class OverrideForm(KeyForm):
    """Taken all the same: why, and on whose word."""

    override_reason = forms.CharField(label=_("Why it is taken all the same"), max_length=LONG)
    override_name = forms.CharField(label=_("On whose word"), max_length=120)


class FateForm(KeyForm):
    """How one piece ended; the reason where it was not simply implanted or put back."""

    fate = forms.ChoiceField(label=_("How it ended"), choices=Fate.choices, widget=forms.RadioSelect)
    why = forms.ChoiceField(
        label=_("Why, if it was wasted or taken out again"),
        choices=[("", "–"), *Why.choices],
        required=False,
    )
    why_words = forms.CharField(label=_("In words"), max_length=LONG, required=False)


class CardForm(KeyForm):
    """Whether the patient's implant card was given."""

    card = forms.ChoiceField(choices=Card.choices)


class PlaceForm(CaseForm):
    """In which construct a piece stands, where it was not clear."""


class ByHandForm(CaseForm):
    """A box taken down without its code: what stands on its label, and why it was not scanned."""

    described = forms.CharField(
        label=_("What it is"), max_length=160, required=False, help_text=_("As it stands on the label.")
    )
    component = forms.ModelChoiceField(
        Component.objects.none(),
        label=_("In the catalogue"),
        required=False,
        empty_label=_("not in the catalogue, or not known"),
    )
    device = forms.CharField(label=_("Item number"), max_length=60, required=False)
    lot = forms.CharField(label=_("Lot"), max_length=20, required=False)
    serial = forms.CharField(label=_("Serial"), max_length=20, required=False)
    expires = forms.DateField(
        label=_("Use by"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    owner = forms.ModelChoiceField(
        Party.objects.none(), label=_("Whose it is"), required=False, empty_label=_("not known")
    )
    typed_reason = forms.CharField(label=_("Why it is not scanned"), max_length=LONG)
    override_reason = forms.CharField(
        label=_("Why it is taken all the same"), max_length=LONG, required=False
    )
    override_name = forms.CharField(label=_("On whose word"), max_length=120, required=False)
    # What a scanner read of a code that is not on file goes with it, byte for byte.
    from_scan = forms.BooleanField(required=False, widget=forms.HiddenInput)

    field_order: tuple[str, ...] = (
        "construct", "component", "described", "device", "lot", "serial", "expires", "owner", "typed_reason",
        "override_reason", "override_name",
    )  # fmt: skip

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, case=case, **kwargs)
        rows = Component.objects.filter(family__kind="implant", family__slot__in=_slots_of(case))
        component: Any = self.fields["component"]
        component.queryset = rows.order_by("family__name", "side", "size_rank", "second_rank")
        owner: Any = self.fields["owner"]
        owner.queryset = Party.objects.order_by("name")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        named = any(given.get(name) for name in ("component", "described", "device", "from_scan"))
        if not named:
            said = gettext("Say what it is: by the catalogue, in words, or by its number.")
            self.add_error("described", said)
        if bool(given.get("override_reason")) != bool(given.get("override_name")):
            missing = "override_name" if given.get("override_reason") else "override_reason"
            self.add_error(missing, gettext("A reason and a name go together."))
        return given

    @property
    def scanned(self) -> Scanned:
        """What was typed, as what a label says."""
        given = self.cleaned_data
        typed = [given[name] for name in ("device", "lot", "serial") if given[name]]
        return Scanned(
            raw=" ".join(typed).encode(),
            device=given["device"],
            lot=given["lot"],
            serial=given["serial"],
            expires=given["expires"],
            typed_reason=given["typed_reason"],
            described=given["described"],
        )


def _slots_of(case: Case) -> list[str]:
    return list(case.plan.slots.values_list("code", flat=True))


class SurgeonField(forms.ModelChoiceField):
    """A surgeon of the site."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(Person.objects.none(), **kwargs)

    def of_site(self, site_id: int) -> None:
        people = Person.objects.filter(is_active=True, roles__kind=Role.Kind.SURGEON, roles__site_id=site_id)
        self.queryset = people.distinct().order_by("name")


class DecisionForm(CaseForm):
    """The surgeon's decision over what the rules say: who, and why."""

    surgeon = SurgeonField(label=_("Surgeon"), required=False, empty_label=_("somebody else, named below"))
    surgeon_name = forms.CharField(label=_("Name, if not on the list"), max_length=120, required=False)
    reason = forms.CharField(label=_("Why"), max_length=LONG)

    field_order = ("construct", "surgeon", "surgeon_name", "reason")

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, case=case, **kwargs)
        field: Any = self.fields["surgeon"]
        field.of_site(case.site_id)
        field.initial = case.surgeon_id

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if not given.get("surgeon") and not given.get("surgeon_name"):
            self.add_error("surgeon", gettext("Say who decided."))
        elif given.get("surgeon"):
            given["surgeon_name"] = given["surgeon"].name
        return given


class ExplantForm(CaseForm):
    """An implant of an earlier operation that came out."""

    what = forms.CharField(label=_("What came out"), max_length=160)
    lot = forms.CharField(label=_("Lot, if it can be read"), max_length=20, required=False)
    serial = forms.CharField(label=_("Serial, if it can be read"), max_length=20, required=False)
    reason = forms.CharField(label=_("Why"), max_length=LONG, required=False)
    whereto = forms.ChoiceField(label=_("Where it goes"), choices=Whereto.choices, initial=Whereto.NOT_SAID)

    field_order = ("construct", "what", "lot", "serial", "reason", "whereto")


class StopForm(KeyForm):
    """What was said aloud at the stop before implanting."""

    said = forms.MultipleChoiceField(
        label=_("Said aloud, boxes in view"),
        choices=Said.choices,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Mark what was said aloud.")},
    )
    note = forms.CharField(label=_("Anything else"), max_length=LONG, required=False)
