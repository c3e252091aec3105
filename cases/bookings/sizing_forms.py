"""The predicted sizes of several slots as one group of small forms: from, to, how, how sure.

Sizes are chosen by their words; the family that is chosen beside them says which ranks they are.
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from cases.bookings import checks
from cases.bookings.kinds import FamilySheet, PlanSheet, PredictedSize
from cases.bookings.models import Prediction
from cases.bookings.queries import SlotWhole
from trays.catalogue.models import Family, Side
from trays.staff.models import Person
from trays.web.errors import Fault, Refusal, faults_from


@dataclass(frozen=True, slots=True)
class SlotToFill:
    """A slot of the page: `key` names it for the service, `prefix` for the form."""

    key: Hashable
    prefix: str
    name: str
    side: str
    predicted: bool
    families: tuple[FamilySheet, ...]
    earlier: tuple[str, ...] = field(default=())

    @property
    def words(self) -> str:
        """The slot and the side it is for: "Femoral, left"."""
        return self.name if self.side == Side.NONE else f"{self.name}, {Side(self.side).label.lower()}"

    @property
    def labels(self) -> list[str]:
        """The words of all sizes to choose from, in the families' order."""
        return list(dict.fromkeys(mark.label for one in self.families for mark in one.marks(self.side)))


def slots_to_book(sheet: PlanSheet, sides: Sequence[str]) -> list[SlotToFill]:
    """What the booking page asks for: slots that are predicted, or that leave a choice of family."""
    found = []
    for side in sides:
        for one in sheet.slots:
            families = one.fitting(side)
            if families and (one.slot.predicted or len(families) > 1):
                slot = one.slot
                prefix = f"{side}-{slot.pk}"
                found.append(
                    SlotToFill((side, slot.code), prefix, slot.name, side, slot.predicted, families)
                )
    return found


def slots_to_predict(slots: Iterable[SlotWhole]) -> list[SlotToFill]:
    """What the prediction page asks for: the case's predicted slots, in the family each of them has."""
    found = []
    for one in slots:
        if not one.slot.plan_slot.predicted:
            continue
        sizes = {one.side if one.slot.family.sided else Side.NONE.value: one.marks}
        family = FamilySheet(one.slot.family, False, sizes)
        name = one.slot.plan_slot.name
        found.append(SlotToFill(one.slot.pk, f"slot-{one.slot.pk}", name, one.side, True, (family,)))
    return found


class SizesForm(forms.Form):
    """One slot. All of it may stay empty; one size alone is given as "from"."""

    family = forms.ChoiceField(label=gettext_lazy("Family"), required=False)
    low = forms.ChoiceField(label=pgettext_lazy("size", "From"), required=False)
    high = forms.ChoiceField(label=pgettext_lazy("size", "To"), required=False)
    method = forms.ChoiceField(label=gettext_lazy("Method"), required=False)
    confidence = forms.IntegerField(
        label=gettext_lazy("Sure, in 100"), required=False, min_value=1, max_value=100
    )

    def __init__(
        self, data: Any = None, *, slot: SlotToFill, first: bool = True, initial: dict[str, Any] | None = None
    ) -> None:
        super().__init__(data, prefix=slot.prefix, initial=initial, use_required_attribute=False)
        self.slot = slot
        if len(slot.families) > 1:
            names = [(str(one.family.pk), one.family.name) for one in slot.families]
            self._choices("family", names)
        else:
            del self.fields["family"]
        if not slot.predicted:
            for name in ("low", "high", "method", "confidence"):
                del self.fields[name]
            return
        sizes = [(label, label) for label in slot.labels]
        self._choices("low", [("", _("not known")), *sizes])
        self._choices("high", [("", _("the same")), *sizes])
        nothing = _("choose") if first else _("as above")
        self._choices("method", [("", nothing), *Prediction.Method.choices])

    def _choices(self, name: str, choices: list[tuple[Any, Any]]) -> None:
        cast(forms.ChoiceField, self.fields[name]).choices = choices

    @property
    def sheet(self) -> FamilySheet:
        """The family chosen, the first one until something is."""
        wanted = self.cleaned_data.get("family") if hasattr(self, "cleaned_data") else None
        families = self.slot.families
        return next((one for one in families if str(one.family.pk) == wanted), families[0])

    def prediction(self, *, method: str, planner: Person | None) -> PredictedSize | None:
        """What is predicted, None if nothing is; what cannot be is said at its field and gives None."""
        given = self.cleaned_data
        low, high = given.get("low", ""), given.get("high", "")
        if not low:
            if high or given.get("method") or given.get("confidence"):
                self.add_error("low", _("Choose the size, or the lowest of the range."))
            return None
        ranks = {mark.label: mark.rank for mark in self.sheet.marks(self.slot.side)}
        side = self.slot.side
        sure = given.get("confidence")
        try:
            for label, at_field in ((low, "low"), (high or low, "high")):
                if label not in ranks:
                    raise checks.outside_family(self.sheet, side, field=at_field)
            predicted = PredictedSize(
                ranks[low], ranks[high or low], method, sure / 100 if sure else None, planner
            )
            return checks.prediction_checked(self.sheet, side, predicted)
        except Refusal as refused:
            self.add_error(refused.facts["field"], refused.as_error())
            return None


def typed_before(typed: Mapping[str, Any], prefix: str) -> dict[str, Any]:
    """What was typed into the form of this prefix on the page before."""
    names = {name: f"{prefix}-{name}" for name in SizesForm.base_fields}
    return {name: typed[key] for name, key in names.items() if key in typed}


class SizesForms:
    """The forms of all slots; valid when each is. A method left empty is the one of the slot above."""

    def __init__(
        self,
        slots: Sequence[SlotToFill],
        data: Mapping[str, Any] | None = None,
        *,
        typed: Mapping[str, Any] | None = None,
    ) -> None:
        """`data` is judged; `typed` is only shown again."""
        self.forms = [
            SizesForm(data, slot=slot, first=number == 0, initial=typed_before(typed or {}, slot.prefix))
            for number, slot in enumerate(slots)
        ]
        self.predictions: dict[Any, PredictedSize] = {}
        self.families: dict[Any, Family] = {}

    def __iter__(self) -> Iterator[SizesForm]:
        return iter(self.forms)

    def is_valid(self, *, planner: Person | None) -> bool:
        """Judge every slot, keep what is predicted and which families are chosen."""
        method = ""
        for one in self.forms:
            if not one.is_valid():
                continue
            method = one.cleaned_data.get("method") or method
            if predicted := one.prediction(method=method, planner=planner):
                self.predictions[one.slot.key] = predicted
            if one.cleaned_data.get("family"):
                self.families[one.slot.key] = one.sheet.family
        return all(one.is_valid() for one in self.forms)

    def faults(self) -> list[Fault]:
        """What is wrong, each with its slot and side before the field's name."""
        return [
            Fault(one.field_id, ", ".join(filter(None, (form.slot.words, one.label))), one.sentence)
            for form in self.forms
            if form.is_bound
            for one in faults_from(form)
        ]
