"""What predictions have been worth so far, and what was used lately; a fixed number of queries each."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from django.db.models import Count
from django.utils.translation import gettext as _

from cases.bookings.models import Prediction
from cases.forecasts.models import ErrorTable, ErrorTableRow, Outcome
from cases.planning import sizing
from trays.parties.models import Site

STRENGTH = 10.0
"""A table counts as so many outcomes when our own outcomes are added to it."""

KEEP = 0.98
"""What is kept of the weight of earlier outcomes at each new one: about the last fifty speak."""

MOST_OUTCOMES = 4000
"""Outcomes read at most, newest first, over all slots and methods."""

MOST_OF_ONE = 400
"""Outcomes of one slot and method that are counted; an older one would weigh less than a three-thousandth."""

HISTORY_DAYS = 540

# (slot, method) -> the published table that stands in until the hospital's own is on file.
_METHOD = Prediction.Method
_PUBLISHED: dict[tuple[str, str], str] = {
    ("femoral", _METHOD.XRAY): "knee femur 2D",
    ("femoral", _METHOD.CT): "knee femur CT",
    ("femoral", _METHOD.PATIENT_DATA): "knee femur demographic",
    ("femoral", _METHOD.OTHER_SIDE): "knee other side",
    ("tibial", _METHOD.XRAY): "knee tibia 2D",
    ("tibial", _METHOD.PATIENT_DATA): "knee tibia demographic",
    ("tibial", _METHOD.OTHER_SIDE): "knee other side",
    ("cup", _METHOD.XRAY): "hip cup 2D",
    ("stem", _METHOD.XRAY): "hip stem 2D",
}
# For want of a table: the widest published one of the joint.
_WIDEST_OF_HIP = "hip cup 2D"
_WIDEST_OF_KNEE = "knee femur 2D"
_HIP_SLOTS = frozenset({"cup", "stem", "liner", "head"})


@dataclass(frozen=True, slots=True)
class ErrorLaw:
    """Chances of used minus predicted size, from -h to +h (odd length, sum 1).

    `source` names the table; `outcomes` of our own have been added to it.
    """

    offsets: tuple[float, ...]
    source: str
    outcomes: int


@dataclass(frozen=True)
class ErrorLaws:
    """The tables in force on one day, with what the site's outcomes taught."""

    tables: Mapping[tuple[str, str], tuple[tuple[float, ...], str]]
    errors: Mapping[tuple[str, str], tuple[int, ...]]
    _kept: dict[tuple[str, str], ErrorLaw] = field(default_factory=dict)

    def of(self, slot: str, method: str) -> ErrorLaw:
        """The law for a slot and a method of prediction."""
        key = (slot, method)
        if key not in self._kept:
            self._kept[key] = self._make(key)
        return self._kept[key]

    def _make(self, key: tuple[str, str]) -> ErrorLaw:
        weights, source = self.tables.get(key) or published(*key)
        prior = sizing.load_table(weights)
        half = len(prior) // 2
        counts = np.zeros(len(prior))
        errors = self.errors.get(key, ())
        for error in errors:
            cell = min(max(error + half, 0), len(prior) - 1)
            counts = sizing.forget_then_add(counts, cell, KEEP)
        law = sizing.posterior(prior, counts, STRENGTH)
        return ErrorLaw(tuple(float(p) for p in law), source, len(errors))


def error_laws(*, site: Site, slots: Collection[str], on: date) -> ErrorLaws:
    """The error tables in force on a day for these slots, with the site's outcomes (3 queries)."""
    newest: dict[tuple[str, str], ErrorTable] = {}
    for table in ErrorTable.objects.filter(slot__in=slots, valid_from__lte=on).order_by("valid_from"):
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
    errors: dict[tuple[str, str], list[int]] = {}
    latest = (
        Outcome.objects.filter(
            site=site, slot__in=slots, used_on__lte=on, predicted_rank__isnull=False, method__gt=""
        )
        .order_by("-used_on", "-pk")
        .values_list("slot", "method", "component__size_rank", "predicted_rank")[:MOST_OUTCOMES]
    )
    for slot, method, rank, predicted in latest:
        kept = errors.setdefault((slot, method), [])
        if predicted is not None and len(kept) < MOST_OF_ONE:
            kept.append(rank - predicted)
    return ErrorLaws(tables, {key: tuple(reversed(newest_first)) for key, newest_first in errors.items()})


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


def published(slot: str, method: str) -> tuple[tuple[float, ...], str]:
    """The published table that stands in until the hospital's own is on file, and where it comes from.

    For a slot or method without a table of its own the nearest wider one is taken, and the source says so.
    """
    key = _PUBLISHED.get((slot, method))
    if key is not None:
        table = sizing.PRIORS[key]
        return tuple(table.offsets), table.source
    table = sizing.PRIORS[_WIDEST_OF_HIP if slot in _HIP_SLOTS else _WIDEST_OF_KNEE]
    source = _("%(source)s (taken for want of a table for this slot and method)") % {"source": table.source}
    return tuple(table.offsets), source
