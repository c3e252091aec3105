"""A look at labels before they are printed: the very page that would be, and the facts of its symbols."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from trays.labels.kinds import Label, Refused
from trays.labels.services import Order
from trays.labels.writer import LabelWriter, SymbolFacts
from trays.symbols.picture import page_png
from trays.web.errors import Refusal

# A roll shows one label and the copies that follow it, a sheet its first page.
_ROLL_LABELS = 1


@dataclass(frozen=True, slots=True)
class Preview:
    """What is shown, in words; the symbols on it; and the picture of each page."""

    called: str
    symbols: tuple[str, ...]
    pages: tuple[str, ...]


def preview_of(order: Order) -> Preview:
    """The first page of an order. Raises Refusal "nothing-to-print" where no label of it can be drawn."""
    shown = _first(order)
    writer = _drawn(order, shown)
    first, *others = (label.row_id for label in shown)
    query = {
        "carrier": order.setup.carrier.value,
        "start": order.start,
        "site": order.site.code,
        "with": ",".join(map(str, others)),
    }
    url = reverse("labels-preview", args=[first, order.source.kind.value, order.setup.code])
    pages = range(writer.pages) if not order.setup.stock.sheet else range(1)
    return Preview(
        called=", ".join(label.called for label in shown[:3]) + (" …" if len(shown) > 3 else ""),
        symbols=symbol_words(writer.symbols),
        pages=tuple(f"{url}?{urlencode({**query, 'page': page})}" for page in pages),
    )


def preview_png(order: Order, page: int) -> bytes:
    """One page of the preview as a picture, dot for dot. Raises Refusal, and IndexError for no such page."""
    writer = _drawn(order, _first(order))
    return page_png(writer.pdf(test_page=False), order.setup.grid.dpi, page)


def symbol_words(symbols: set[SymbolFacts]) -> tuple[str, ...]:
    """X-dimension and quiet zone of each symbol as it is drawn, in words."""
    return tuple(
        _("%(symbol)s: X %(x)s mm, quiet zone %(quiet)s mm on each side")
        % {"symbol": "GS1-128" if linear else "GS1 DataMatrix", "x": f"{x:.3f}", "quiet": f"{quiet:.2f}"}
        for linear, x, quiet in sorted(symbols)
    )


def _first(order: Order) -> list[Label]:
    stock = order.setup.stock
    most = stock.per_page if stock.sheet else _ROLL_LABELS
    made = order.source.labels(order.source.at_sites([order.site.pk], order.ids[:most]))
    found = [one for one in made if not isinstance(one, Refused)]
    if not found:
        why = next((one.why for one in made if isinstance(one, Refused)), "")
        raise Refusal("nothing-to-print", why or _("No label can be made."), _("Choose another line."))
    return found


def _drawn(order: Order, shown: list[Label]) -> LabelWriter:
    writer = LabelWriter(order.setup, start=order.start)
    refused = None
    for label in shown:
        refused = writer.add(label) or refused
    if not writer.labels and refused:
        raise Refusal(
            "nothing-to-print", f"{refused.called}: {refused.why}", _("Choose another line or stock.")
        )
    return writer
