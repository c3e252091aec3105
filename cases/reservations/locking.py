"""The only lock: whoever promises a unit or a set takes its rows here first, in one order.

Call it once in a transaction, before looking at any state: what is read after it stays true until the
commit. Theatre lists come before their cases (whoever moves a case moves its neighbours), cases before units,
units before sets, each kind in the order of its keys, so that two callers wait for each other but never in
a circle. The chain of the record is locked after it, by the event itself.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db import connection
from django.db.models import F, Model
from django.utils.translation import gettext as _

from cases.bookings.models import Case, TheatreList
from trays.instruments.models import InstrumentSet
from trays.stock.models import Unit
from trays.web.errors import NotThere

Row = TypeVar("Row", bound=Model)


@dataclass(frozen=True, slots=True)
class Locked:
    """The rows as they are under the lock, by their keys."""

    cases: dict[int, Case]
    units: dict[int, Unit]
    sets: dict[int, InstrumentSet]


def lock(*, cases: Iterable[int] = (), units: Iterable[int] = (), sets: Iterable[int] = ()) -> Locked:
    """Lock the rows of these keys, and the theatre lists of the cases; return the rows fresh.

    Raises RuntimeError outside a transaction, where a lock would hold nothing, and NotThere
    "gone-meanwhile" when a row is no longer there.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("a lock is taken only inside the transaction of its act")
    keys = list(cases)
    if keys:
        lists = Case.objects.filter(pk__in=keys).values_list("list_id", flat=True)
        _rows(TheatreList, lists, touch="session")
    return Locked(
        cases=_rows(Case, keys, touch="status"),
        units=_rows(Unit, units, touch="state"),
        sets=_rows(InstrumentSet, sets, touch="tenure"),
    )


def _rows(model: type[Row], keys: Iterable[int], *, touch: str) -> dict[int, Row]:
    ordered = sorted(set(keys))
    if not ordered:
        return {}
    # Manager of the model by its public name; Model itself declares none.
    rows: Any = model._default_manager.filter(pk__in=ordered)
    if connection.features.has_select_for_update:
        # no_key: others may still point to the row (a new hold does), only not change it.
        rows = rows.select_for_update(no_key=connection.features.has_select_for_no_key_update)
    else:
        # No row locks: writing the rows makes this transaction the one writer.
        rows.update(**{touch: F(touch)})
    found: dict[int, Row] = {row.pk: row for row in rows.order_by("pk")}
    if len(found) != len(ordered):
        raise NotThere(
            "gone-meanwhile",
            _("Something on this list is no longer there."),
            _("Load the page again and look at what is there now."),
        )
    return found
