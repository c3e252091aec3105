"""What is asked on the bench."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from trays.instruments.models import InstrumentType
from trays.instruments.models_pieces import Spare
from trays.parties.models import Site
from trays.processing.bench import Found
from trays.processing.forms import KeyForm
from trays.processing.models import LineState, Packaging
from trays.processing.queries_bench import BenchLine
from trays.web.numbers import whole

_SECRET = {"inputmode": "numeric", "autocomplete": "off", "size": 12}


class LineForm(KeyForm):
    """What is found of one line. `do` is the button: a state, "refilled", "other" (a spare of another
    kind), or "spare-" and which.

    `present` and `refilled` are asked only where there is more than one of it, or it is rack stock.
    """

    line = forms.CharField(max_length=6, widget=forms.HiddenInput)
    do = forms.CharField(max_length=30)
    present = forms.IntegerField(label=_("How many are there"), min_value=0, max_value=9999, required=False)
    refilled = forms.IntegerField(
        label=_("Of these, put in now"), min_value=0, max_value=9999, required=False
    )
    other = forms.CharField(label=_("A spare of another kind"), max_length=20, required=False)
    instead = forms.CharField(
        label=_("Any other instrument"),
        max_length=120,
        required=False,
        help_text=_("Its code or its name."),
    )

    def __init__(self, *args: Any, site: Site, on: BenchLine | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.site, self.on = site, on
        if on is not None and not self.is_bound:
            whole = on.line.quantity
            self.initial["line"] = on.line.number
            self.initial["present"] = whole if on.rack else max(whole - 1, 0)
            if on.rack:
                self.initial["refilled"] = on.lacking

    def clean_instead(self) -> InstrumentType | None:
        text = self.cleaned_data["instead"].strip()
        if not text:
            return None
        rows = InstrumentType.objects
        found = rows.filter(code__iexact=text).first() or rows.filter(name__iexact=text).first()
        if found is None:
            raise forms.ValidationError(_("No instrument has this code or name."), code="no-such-instrument")
        return found

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if self.on is None:
            raise forms.ValidationError(
                _("Line %(line)s is not on this list. Load the page again."),
                code="not-its-line",
                params={"line": self.data.get("line", "")},
            )
        do = given.get("do", "")
        if do == "other":
            do = given["do"] = f"spare-{given.get('other', '')}"
        if do.startswith("spare-"):
            given["spare"] = Spare.objects.filter(site=self.site, pk=whole(do[6:]) or 0).first()
            if given["spare"] is None:
                raise forms.ValidationError(_("There is no such spare here."), code="no-spare")
        elif do not in (*LineState.values, "refilled"):
            raise forms.ValidationError(_("Press one of the buttons."), code="no-such-state")
        if do == LineState.REPLACED and not given.get("instead"):
            self.add_error("instead", _("Say by which instrument it is replaced."))
        return given

    def found(self) -> Found:
        """What is found, as the service takes it."""
        given, on = self.cleaned_data, self.on
        if on is None:
            raise ValueError("a form without its line finds nothing")
        line, do = on.line, given["do"]
        whole = line.quantity
        there: int | None = given["present"]
        if do == LineState.THERE:
            return Found(line, do, whole)
        if do == "refilled":
            present = whole if there is None else there
            state = LineState.THERE if present == whole else LineState.MISSING
            return Found(line, state, present, refilled=given["refilled"] or 0)
        left = whole - 1 if there is None else there
        if do == LineState.REPLACED:
            return Found(line, do, whole, instead=given["instead"])
        if do.startswith("spare-"):
            spare: Spare = given["spare"]
            other = None if spare.type_id == line.instrument_id else spare.type
            put_in = max(whole - left, 1)
            return Found(line, LineState.REPLACED, whole, refilled=put_in, instead=other, spare=spare)
        return Found(line, do, left)


class CloseForm(KeyForm):
    """Who else stands for the list: who lets it go short, and who looked a second time."""

    allowed_by = forms.CharField(label=_("Who allows it: sign-in or badge"), max_length=60, required=False)
    allowed_pin = forms.CharField(
        label=_("Their PIN"), max_length=12, required=False, widget=forms.PasswordInput(attrs=_SECRET)
    )
    reason = forms.CharField(label=_("Why it is packed all the same"), max_length=200, required=False)
    second = forms.CharField(label=_("Who checked it too: sign-in or badge"), max_length=60, required=False)
    second_pin = forms.CharField(
        label=_("Their PIN"), max_length=12, required=False, widget=forms.PasswordInput(attrs=_SECRET)
    )


class PackForm(KeyForm):
    """How it is packed, and what it weighs."""

    packaging = forms.ChoiceField(label=_("Packaging"), choices=Packaging.choices, widget=forms.RadioSelect)
    indicator_lot = forms.CharField(label=_("Lot of the indicator inside"), max_length=20)
    weight = forms.DecimalField(
        label=_("Weight in kilograms"),
        min_value=Decimal("0.001"),
        max_value=Decimal(99),
        decimal_places=3,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": 8}),
    )

    @property
    def grams(self) -> int | None:
        """The weight that was typed, as far as it is one."""
        weight = getattr(self, "cleaned_data", {}).get("weight")
        return round(weight * 1000) if weight is not None else None
