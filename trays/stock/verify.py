"""Whether stock is what the record says: for each unit and pile the sum of its event lines."""

from django.db.models import Sum

from trays.ledger.models import EventLine
from trays.stock.models import Pile, Unit
from trays.stock.ways import STOCK


def _sums(subject: str) -> dict[int, int]:
    rows = EventLine.objects.filter(subject=subject).order_by().values_list("subject_id")
    return {pk: total for pk, total in rows.annotate(total=Sum("quantity")) if total}


def stock_faults() -> list[str]:
    """One sentence for each unit or pile whose count differs from the sum of its lines (4 queries)."""
    faults = []
    units = dict.fromkeys(Unit.objects.filter(state__in=STOCK).values_list("pk", flat=True), 1)
    piles = dict(Pile.objects.exclude(quantity=0).values_list("pk", "quantity"))
    for subject, held in (("unit", units), ("pile", piles)):
        sums = _sums(subject)
        faults += [
            f"{subject} {pk}: {held.get(pk, 0)} in stock, but its lines add up to {sums.get(pk, 0)}"
            for pk in sorted(sums.keys() | held.keys())
            if sums.get(pk, 0) != held.get(pk, 0)
        ]
    return faults
