"""What templates ask of the room of implants."""

from collections.abc import Iterable

from django import template

from cases.bookings.models import Case
from cases.usage.avoiding import avoided_of
from cases.usage.models_closing import SetFailure

register = template.Library()


@register.filter
def owed(failures: Iterable[SetFailure]) -> bool:
    """Whether an answer of sterile services is still to come."""
    return any(not one.answer for one in failures)


@register.simple_tag
def avoided(case: Case) -> list[str]:
    """The materials that the case is to avoid (one query)."""
    return [row.material for row in avoided_of(case)]
