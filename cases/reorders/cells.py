"""The small cells of an alert: usable by owner, on order, missing, and an upright where wanted ends."""

from collections.abc import Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from trays.parties.models import Tenure

PITCH, CELL, TOP = 17, 12, 10
MOST_CELLS = 10


def cell_marks(tenure: str, x: int) -> SafeString:
    """One unit, 12 × 12: owned full, consigned half full, loaned open with a dot."""
    box = f"M{x} {TOP}h{CELL}v{CELL}h-{CELL}z"
    if tenure == Tenure.OWNED:
        return format_html('<path class="own" d="{}"/>', box)
    if tenure == Tenure.CONSIGNED:
        half = f"M{x} {TOP + CELL // 2}h{CELL}v{CELL // 2}h-{CELL}z"
        return format_html('<path class="open" d="{}"/><path class="half" d="{}"/>', box, half)
    return format_html(
        '<path class="open" d="{}"/><circle class="dot" cx="{}" cy="{}" r="2.5"/>',
        box,
        x + CELL // 2,
        TOP + CELL // 2,
    )


def gap_marks(x: int) -> SafeString:
    """An empty place: four corner marks."""
    y = TOP
    corners = f"M{x} {y + 4}v-4h4M{x + 8} {y}h4v4M{x + CELL} {y + 8}v4h-4M{x + 4} {y + CELL}h-4v-4"
    return format_html('<path class="gap" d="{}"/>', corners)


def order_marks(x: int) -> SafeString:
    """One on order: dashed and empty."""
    return format_html('<path class="order" d="M{} {}h{}v{}h-{}z"/>', x, TOP, CELL, CELL, CELL)


def cells(tenures: Sequence[str], wanted: int, on_order: int = 0) -> SafeString:
    """The drawing, or nothing when it would be too long to count with the eye."""
    there = len(tenures) + on_order
    if wanted > MOST_CELLS or there > MOST_CELLS:
        return SafeString("")
    marks = [cell_marks(tenure, 1 + PITCH * n) for n, tenure in enumerate(tenures)]
    marks += [order_marks(1 + PITCH * n) for n in range(len(tenures), there)]
    marks += [gap_marks(1 + PITCH * n) for n in range(there, wanted)]
    return format_html(
        '<svg class="mini pic" viewBox="0 0 176 32" aria-hidden="true">{}'
        '<path class="axis" d="M{} 4v24"/></svg>',
        format_html_join("", "{}", ((mark,) for mark in marks)),
        PITCH * wanted,
    )
