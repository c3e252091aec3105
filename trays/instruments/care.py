"""The care that a set and its marked instruments are due: after so many uses, or so many days."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Q

from trays.instruments.models import InstrumentSet, Pack
from trays.instruments.models_pieces import Care


@dataclass(frozen=True, slots=True)
class CareLine:
    """One kind of care of one thing. `uses_left` and `due_on` are None where it does not go by them.

    A round is a use. A single instrument has been through the rounds of the pack that it is in.
    """

    care: Care
    thing: str
    uses_left: int | None
    due_on: date | None
    due: bool


def care_of(one: InstrumentSet, *, day: date) -> list[CareLine]:
    """What a set and the marked instruments in its packs are due, what is due first (two queries at most)."""
    of_it = Q(set=one) | Q(piece__pack__set=one)
    rows = list(
        Care.objects.filter(of_it).select_related("piece__type", "piece__pack").order_by("what", "pk")
    )
    if not rows:
        return []
    first = one.packs.order_by("tray").only("round").first()
    lines = [_line(row, day, row.piece.pack if row.piece else first) for row in rows]
    return sorted(lines, key=lambda line: not line.due)


def round_of(care: Care) -> int:
    """The round in which the thing is now; 0 for an instrument in no pack."""
    if care.piece is not None:
        return care.piece.pack.round if care.piece.pack else 0
    first = care.set.packs.order_by("tray").only("round").first() if care.set else None
    return first.round if first else 0


def _line(care: Care, day: date, pack: Pack | None) -> CareLine:
    uses_left = due_on = None
    if care.every_uses is not None and pack is not None:
        uses_left = max(care.every_uses - max(pack.round - care.done_round, 0), 0)
    if care.every_days is not None:
        due_on = care.done_on + timedelta(days=care.every_days)
    return CareLine(
        care=care,
        thing=f"{care.piece.type.name}, {care.piece.mark}" if care.piece else "",
        uses_left=uses_left,
        due_on=due_on,
        due=uses_left == 0 or (due_on is not None and due_on <= day),
    )
