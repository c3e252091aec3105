"""What is asked before labels are made: which, on what stock, from which position of the sheet."""

from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from trays.labels.draw import x_dimensions
from trays.labels.kinds import LabelKind, Stock
from trays.symbols.stock import A4_LABELS_24
from trays.web.filters import GetForm

KINDS = (
    (LabelKind.PACK.value, _("Packs")),
    (LabelKind.SHELF.value, _("Shelves")),
    (LabelKind.UNIT.value, _("Units that do not scan")),
)
_STOCKS = (
    (Stock.ROLL_203, _("Roll 100 × 50 mm, 203 dpi")),
    (Stock.ROLL_300, _("Roll 100 × 50 mm, 300 dpi")),
    (Stock.A4, _("A4 sheet, 3 × 8 of 63.5 × 33.9 mm")),
)


def stock_choices() -> list[tuple[str, str]]:
    """The stocks in words, each with the true X-dimension of its DataMatrix: whole dots of the printer."""
    choices = []
    for stock, words in _STOCKS:
        x, _copy = x_dimensions(stock)
        choices.append((stock.value, f"{words}; X {x:.3f} mm"))
    return choices


class LabelFilter(GetForm):
    """Which rows the page lists."""

    kind = forms.ChoiceField(choices=KINDS, required=False)
    of = forms.CharField(max_length=40, required=False)


class LabelForm(forms.Form):
    """The labels to make: on what stock, and from where; `ticked` are the rows ticked in the table."""

    kind = forms.ChoiceField(choices=KINDS, widget=forms.HiddenInput)
    site = forms.CharField(max_length=40, required=False, widget=forms.HiddenInput)
    of = forms.CharField(max_length=40, required=False, widget=forms.HiddenInput)
    every = forms.BooleanField(label=_("All lines above that can be made"), required=False)
    stock = forms.ChoiceField(label=_("Stock"), choices=stock_choices, widget=forms.RadioSelect)
    start = forms.IntegerField(
        label=_("First free position of the A4 sheet"),
        help_text=_("1 to 24, along the row first. The roll does not need it."),
        min_value=1,
        max_value=A4_LABELS_24.per_page,
        required=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.ticked: set[int] = set()
        if isinstance(self.data, QueryDict):
            # Nonsense among the keys names no row.
            given = [key for key in self.data.getlist("ids") if key.isascii() and key.isdecimal()]
            self.ticked = {int(key) for key in given if len(key) < 19}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.ticked and not cleaned.get("every"):
            self.add_error(None, _("Tick at least one line. Nothing was printed."))
        return cleaned

    @property
    def first(self) -> int:
        """The position to start at: 1 when nothing was given."""
        return self.cleaned_data.get("start") or 1
