"""What is asked before labels are made: which, on what stock, with what head, from which position."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from trays.labels.kinds import LabelKind
from trays.labels.models import LENGTHS, LabelPaper
from trays.labels.setup import USUAL_DPI
from trays.labels.sources import Source
from trays.symbols.labelstock import COMMON, PAGE_LIMIT_MM, LabelStock
from trays.symbols.payload import Carrier
from trays.symbols.stock import GRIDS, LABEL_DOTS
from trays.web.filters import GetForm
from trays.web.numbers import whole

# The stock that a kind is most often printed on.
USUAL_STOCK = {LabelKind.PACK: "pack-roll", LabelKind.INSTRUMENT: "pack-roll"}
OTHER_STOCK = "roll"


def dpi_choices() -> list[tuple[str, str]]:
    """The heads in words, each with the true X-dimension of its DataMatrix: whole dots of the printer."""
    words = _("%(dpi)s dpi; X %(x)s mm")
    return [
        (str(dpi), words % {"dpi": dpi, "x": f"{grid.mm(LABEL_DOTS[dpi].main):.3f}"})
        for dpi, grid in GRIDS.items()
    ]


def stock_choices(stocks: Mapping[str, LabelStock]) -> list[tuple[Any, Any]]:
    """The stocks in two groups, rolls and sheets."""
    rolls = [(one.code, one.name) for one in stocks.values() if not one.sheet]
    sheets = [(one.code, one.name) for one in stocks.values() if one.sheet]
    return [(_("Rolls"), rolls), (_("Sheets"), sheets)]


class LabelFilter(GetForm):
    """Which rows the page lists."""

    kind = forms.ChoiceField(required=False)
    of = forms.CharField(max_length=40, required=False)

    def __init__(self, query: QueryDict, *, kinds: Iterable[Source], **kwargs: Any) -> None:
        super().__init__(query, **kwargs)
        self.kinds = [(source.kind.value, str(source.words)) for source in kinds]
        self.fields["kind"].choices = self.kinds  # type: ignore[attr-defined]


class LabelForm(forms.Form):
    """The labels to make: on what stock, and from where; `ticked` are the rows ticked in the table."""

    kind = forms.ChoiceField(
        choices=[(kind.value, kind.value) for kind in LabelKind], widget=forms.HiddenInput
    )
    site = forms.CharField(max_length=40, required=False, widget=forms.HiddenInput)
    of = forms.CharField(max_length=40, required=False, widget=forms.HiddenInput)
    client_key = forms.UUIDField(required=False, widget=forms.HiddenInput)
    every = forms.BooleanField(label=_("All lines that can be made, also on further pages"), required=False)
    stock = forms.ChoiceField(label=_("Stock"))
    dpi = forms.ChoiceField(label=_("Printer of the roll"), choices=dpi_choices, widget=forms.RadioSelect)
    carrier = forms.ChoiceField(
        label=_("Symbol"),
        choices=[(Carrier.MATRIX, _("GS1 DataMatrix")), (Carrier.LINEAR, _("GS1-128, where it fits"))],
        widget=forms.RadioSelect,
    )
    start = forms.IntegerField(
        label=_("First free position of the sheet"),
        help_text=_("From 1, along the row first. A roll does not need it."),
        min_value=1,
        required=False,
    )

    def __init__(self, *args: Any, stocks: Mapping[str, LabelStock] = COMMON, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stocks = stocks
        if isinstance(self.data, QueryDict):
            # Who leaves these out means the usual.
            self.data = self.data.copy()
            self.data.setdefault("dpi", str(USUAL_DPI))
            self.data.setdefault("carrier", Carrier.MATRIX.value)
        self.fields["stock"].choices = stock_choices(stocks)  # type: ignore[attr-defined]
        self.ticked: set[int] = set()
        if isinstance(self.data, QueryDict):
            # Nonsense among the keys names no row.
            given = map(whole, self.data.getlist("ids"))
            self.ticked = {key for key in given if key is not None}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.ticked and not cleaned.get("every"):
            self.add_error(None, _("Tick at least one line. Nothing was printed."))
        stock = self.stocks.get(cleaned.get("stock", ""))
        if stock is not None and self.first > stock.per_page:
            cleaned.pop("start", None)
            if stock.sheet:
                self.add_error(
                    "start", _("This sheet has positions 1 to %(last)s.") % {"last": stock.per_page}
                )
        return cleaned

    @property
    def first(self) -> int:
        """The position to start at: 1 when nothing was given."""
        return self.cleaned_data.get("start") or 1

    @property
    def setup_name(self) -> str:
        """Stock and head as one name."""
        code = str(self.cleaned_data["stock"])
        return code if self.stocks[code].sheet else f"{code}-{self.cleaned_data['dpi']}"

    @property
    def carrier_name(self) -> str:
        return str(self.cleaned_data["carrier"])


_SIZES = ("label_width", "label_height", "copy_width", "copy_height", "page_width", "page_height")
_MARGINS = ("left", "top", "gap_x", "gap_y", "shift_x", "shift_y")


class PaperForm(forms.ModelForm[LabelPaper]):
    """Label stock of a site: its lengths in mm, and the offset of the printer."""

    class Meta:
        model = LabelPaper
        fields = ("code", "name", "sheet", *LENGTHS, "columns", "rows")
        labels = {
            "code": _("Code"),
            "name": _("Name"),
            "sheet": _("A sheet of labels, not a roll"),
            "label_width": _("Width of a label, mm"),
            "label_height": _("Height of a label, mm"),
            "page_width": _("Width of the sheet, mm"),
            "page_height": _("Height of the sheet, mm"),
            "columns": _("Labels in a row"),
            "rows": _("Rows"),
            "left": _("Left margin of the sheet, mm"),
            "top": _("Top margin of the sheet, mm"),
            "gap_x": _("Gap between columns, mm"),
            "gap_y": _("Gap between rows, mm"),
            "copy_width": _("Width of the peel-off copies, mm"),
            "copy_height": _("Height of each peel-off copy, mm"),
            "shift_x": _("Printer’s offset to the right, mm"),
            "shift_y": _("Printer’s offset down, mm"),
        }
        help_texts = {
            "sheet": _("An office printer’s page of labels; a roll is a label printer’s."),
            "code": _("Such as roll-80x40. With the code of a common stock this one takes its place here."),
            "copy_width": _("0 for none. Two copies lie one above the other at the right edge of a label."),
            "shift_x": _("Measure it on the test page. A minus moves left."),
        }

    def parts(self) -> list[tuple[str, str, list[forms.BoundField]]]:
        """The fields as they belong together: title, a word beside it, fields."""
        parts = (
            (_("Stock"), "", ("code", "name", "sheet")),
            (_("Label"), "", ("label_width", "label_height", "copy_width", "copy_height")),
            (
                _("Sheet"),
                _("a roll needs none of it"),
                ("page_width", "page_height", "columns", "rows", "left", "top", "gap_x", "gap_y"),
            ),
            (_("Printer"), _("the offset of yours"), ("shift_x", "shift_y")),
        )
        return [(str(title), str(word), [self[name] for name in names]) for title, word, names in parts]

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"])
        others = LabelPaper.objects.filter(site=self.instance.site, code=code).exclude(pk=self.instance.pk)
        if others.exists():
            raise forms.ValidationError(_("The site has stock with this code already: change that one."))
        return code

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            self._lies_within(cleaned)
        return cleaned

    def _lies_within(self, cleaned: dict[str, Any]) -> None:
        """Labels on their sheet, copies on their label."""
        if cleaned["copy_width"] >= cleaned["label_width"]:
            self.add_error("copy_width", _("The copies leave nothing of the label."))
        if 2 * cleaned["copy_height"] > cleaned["label_height"]:
            self.add_error("copy_height", _("Two copies of this height are higher than the label."))
        if not cleaned["sheet"]:
            return
        for side, number, gap, margin in (
            ("width", "columns", "gap_x", "left"),
            ("height", "rows", "gap_y", "top"),
        ):
            label, page, count = cleaned[f"label_{side}"], cleaned[f"page_{side}"], cleaned[number]
            needed = cleaned[margin] + count * label + (count - 1) * cleaned[gap]
            if not page or page > PAGE_LIMIT_MM or needed > page:
                self.add_error(
                    f"page_{side}",
                    _("Margin, labels and gaps come to %(needed)s mm, which is more than the sheet.")
                    % {"needed": f"{needed:g}"},
                )
