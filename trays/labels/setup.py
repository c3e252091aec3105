"""How labels are printed: on what stock, with what head, as which symbol."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _

from trays.symbols.labelstock import COMMON, LabelStock
from trays.symbols.payload import Carrier
from trays.symbols.stock import GRIDS, LABEL_DOTS, Grid
from trays.web.errors import Unreadable

USUAL_DPI = 300


@dataclass(frozen=True, slots=True)
class Setup:
    """Stock, head and symbol together."""

    stock: LabelStock
    dpi: int = USUAL_DPI
    carrier: Carrier = Carrier.MATRIX

    @property
    def grid(self) -> Grid:
        return self.stock.page(GRIDS[self.dpi]).grid

    @property
    def code(self) -> str:
        """As it stands in commands and events: a roll's with the dots of its head, "roll-203"."""
        return self.stock.code if self.stock.sheet else f"{self.stock.code}-{self.dpi}"

    @property
    def matrix_x(self) -> float:
        """True X-dimension of the DataMatrix on the label, in mm."""
        return self.grid.mm(LABEL_DOTS[self.grid.dpi].main)


def setup_named(
    name: str, *, carrier: str = Carrier.MATRIX, own: Mapping[str, LabelStock] | None = None
) -> Setup:
    """What a name stands for: "a4", or "pack-roll-203" with the dots of the head; `own` are a site's.

    Raises Unreadable: "unknown-stock", "unknown-symbol".
    """
    try:
        symbol = Carrier(carrier)
    except ValueError:
        raise Unreadable(
            "unknown-symbol",
            _("There is no such symbol."),
            _("Choose %(all)s.") % {"all": _either(Carrier)},
        ) from None
    stocks = {**COMMON, **(own or {})}
    code, hyphen, dots = name.rpartition("-")
    if hyphen and dots in {str(dpi) for dpi in GRIDS} and code in stocks and not stocks[code].sheet:
        return Setup(stocks[code], int(dots), symbol)
    if name in stocks:
        return Setup(stocks[name], carrier=symbol)
    raise Unreadable(
        "unknown-stock",
        _("“%(name)s” is no label stock on file here.") % {"name": name[:40]},
        _("Choose %(all)s, or add the stock to the site’s own.") % {"all": _either(stocks)},
    )


def _either(names: Iterable[str]) -> str:
    *first, last = names
    return _("%(first)s or %(last)s") % {"first": ", ".join(first), "last": last}


def stock_names() -> list[str]:
    """Every common stock by name, a roll once for each head."""
    return [
        name
        for code, stock in COMMON.items()
        for name in ([code] if stock.sheet else [f"{code}-{dpi}" for dpi in GRIDS])
    ]
