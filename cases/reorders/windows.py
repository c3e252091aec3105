"""How far ahead orders look: what has to be ordered within the next working days, and until it arrives."""

from datetime import date

from trays.catalogue.models import Component
from trays.parties.workdays import due, later

LOOK_AHEAD = 5
"""Working days."""


def window_end(component: Component, day: date) -> date:
    """The day until which its stock must last: `LOOK_AHEAD` working days and its lead time from today."""
    return due(later(day, LOOK_AHEAD), component.supplier.lead_working_days)
