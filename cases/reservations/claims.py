"""What the shelf asks of reservations: for whom a unit is held, and that the hold ends when it leaves."""

from collections.abc import Collection, Mapping
from datetime import datetime

from cases.reservations import queries
from cases.reservations.hold import end_holds_within, held_for
from trays.ledger.append import Line
from trays.stock import claims
from trays.stock.models import Unit


def held_words(unit_ids: Collection[int]) -> Mapping[int, str]:
    """For whom each of these units is held, in words."""
    return {unit_id: held_for(hold) for unit_id, hold in queries.open_holds(unit_ids).items()}


def give_up(units: Collection[Unit], at: datetime) -> list[Line]:
    """End the holds of units that nobody can use any more; they are locked. Returns the event's lines."""
    return end_holds_within(units=units, reason="apart", at=at)


claims.register(held_words, give_up)
