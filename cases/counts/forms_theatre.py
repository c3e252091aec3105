"""Forms of the theatre's pages: who counts, a pack brought in."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from cases.counts.models_counts import IndicatorSeen
from cases.counts.said import OPENED_REASONS
from trays.web.acting import KeyForm


class CountersForm(KeyForm):
    """Who counts: two different people."""

    scrub = forms.TypedChoiceField(label=_("Scrub nurse"), coerce=int, required=False)
    circulating = forms.TypedChoiceField(label=_("Circulating nurse"), coerce=int, required=False)

    def __init__(self, *args: Any, people: list[dict[str, Any]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, kind in (("scrub", "scrub_nurse"), ("circulating", "circulating_nurse")):
            own = sorted(people, key=lambda one: kind not in one["seats"])
            self.fields[name].choices = [("", _("Not known yet"))] + [  # type: ignore[attr-defined]
                (one["pk"], one["name"]) for one in own
            ]


class PackInForm(KeyForm):
    """What the scrub nurse said of the indicator; and, for a pack that is not as it should be, why."""

    indicator = forms.ChoiceField(
        label=_("The indicator inside"),
        choices=IndicatorSeen.choices,
        error_messages={"required": _("Say whether the indicator was seen.")},
    )


class PackAllTheSameForm(PackInForm):
    """The same for a pack that speaks against itself: taken down all the same, with reason and name."""

    reason = forms.ChoiceField(label=_("Reason"), choices=list(OPENED_REASONS.items()))
    decided_by = forms.CharField(label=_("Who stands for it"), max_length=120)
    note = forms.CharField(label=_("In words"), max_length=200, required=False)
