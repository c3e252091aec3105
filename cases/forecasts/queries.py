"""What predictions have been worth so far, and what was used lately; a fixed number of queries each."""

from collections.abc import Collection, Mapping
from datetime import date, timedelta

from django.db.models import Count, F

from cases.forecasts.learnt import ErrorLaws, Foretold
from cases.forecasts.models import ErrorTable, ErrorTableRow, Outcome
from trays.parties.models import Site

MOST_OUTCOMES = 4000
"""Outcomes with a prediction that are learnt from, newest first, over all slots and methods of a site: what
lies further back has faded or no longer speaks for how work is done."""

HISTORY_DAYS = 540


def error_laws(*, site: Site, on: date) -> ErrorLaws:
    """The error tables in force on a day, with the site's outcomes (3 queries, whatever the history).

    All slots are read, so that the strength is the same whichever case is asked about.
    """
    newest: dict[tuple[str, str], ErrorTable] = {}
    for table in ErrorTable.objects.filter(valid_from__lte=on).order_by("valid_from"):
        newest[table.slot, table.method] = table
    rows: dict[int, dict[int, float]] = {table.pk: {} for table in newest.values()}
    for table_id, offset, weight in ErrorTableRow.objects.filter(table__in=sorted(rows)).values_list(
        "table_id", "offset", "weight"
    ):
        rows[table_id][offset] = weight
    tables = {
        key: (_centred(rows[table.pk]), table.source)
        for key, table in newest.items()
        if sum(rows[table.pk].values()) > 0
    }
    latest = (
        Outcome.objects.filter(site=site, used_on__lte=on, predicted_rank__isnull=False)
        .exclude(method="")
        .order_by("-used_on", "-pk")
        .values_list(
            "slot", "method", "planner_id", F("component__size_rank") - F("predicted_rank"), "reference"
        )[:MOST_OUTCOMES]
    )
    return ErrorLaws(tables, tuple(Foretold(*row) for row in reversed(latest)))


def used_lately(*, site: Site, slots: Collection[str], on: date) -> dict[str, dict[int, int]]:
    """How often each component was used in each slot in the last `HISTORY_DAYS` (1 query)."""
    found: dict[str, dict[int, int]] = {}
    rows = (
        Outcome.objects.filter(
            site=site, slot__in=slots, used_on__gt=on - timedelta(days=HISTORY_DAYS), used_on__lte=on
        )
        .order_by()
        .values_list("slot", "component_id")
        .annotate(times=Count("pk"))
    )
    for slot, component, times in rows:
        found.setdefault(slot, {})[component] = times
    return found


def use_rates(*, site: Site, since: date, until: date | None = None) -> dict[int, int]:
    """How many of each component the site used in since <= used_on < until, by its outcomes (1 query)."""
    rows = Outcome.objects.filter(site=site, used_on__gte=since)
    if until is not None:
        rows = rows.filter(used_on__lt=until)
    return dict(rows.order_by().values_list("component_id").annotate(times=Count("pk")))


def _centred(weights: Mapping[int, float]) -> tuple[float, ...]:
    """Weights by offset as a tuple from -h to +h."""
    half = max(3, *(abs(offset) for offset in weights))
    return tuple(weights.get(offset, 0.0) for offset in range(-half, half + 1))
