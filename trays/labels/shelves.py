"""Labels of the places where things are kept."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from trays.identifiers import ours
from trays.identifiers.gs1 import Malformed
from trays.labels.kinds import LabelKind, Refused, ShelfLabel
from trays.labels.living import lives_at
from trays.labels.sources import Group, Made, Source, refusing, register
from trays.places.models import Place

_KINDS = (Place.Kind.STORE, Place.Kind.SHELF, Place.Kind.STERILE_STORE, Place.Kind.TROLLEY)


def shelves() -> QuerySet[Place]:
    """Places where things are kept, in walking order."""
    return Place.objects.filter(kind__in=_KINDS).select_related("room").order_by("site", "walk", "code")


def shelf_labels(rows: QuerySet[Place]) -> Made:
    """Their labels, or why there is none. Four queries."""
    chosen = list(rows)
    living = lives_at([row.pk for row in chosen])
    return tuple(_shelf_label(row, *living.get(row.pk, ("", ""))) for row in chosen)


def _shelf_label(row: Place, what: str, size: str) -> ShelfLabel | Refused:
    refuse = refusing(row.pk, f"{row.code}, {row.name}")
    if not row.gln:
        return refuse(_("The place has no location number on file."))
    try:
        payload = ours.place(row.gln, row.extension)
    except Malformed as why:
        return refuse(str(why))
    named = row.room is None or row.name.startswith(row.room.name)
    room = row.name if named or row.room is None else f"{row.room.name} · {row.name}"
    return ShelfLabel(
        row_id=row.pk,
        called=row.code,
        payload=payload,
        place=row.code,
        room=room,
        what=what,
        size=size,
    )


def stores_of_shelves(rows: QuerySet[Any]) -> tuple[Group, ...]:
    """The places by their stores. One query."""
    found: dict[tuple[str, str], set[int]] = defaultdict(set)
    for place in rows:
        store = place.room or place
        found[store.code, store.name].add(place.pk)
    return tuple(Group(code, name, frozenset(ids)) for (code, name), ids in found.items())


register(
    Source(
        kind=LabelKind.SHELF,
        words=gettext_lazy("Shelves"),
        act="print_labels",
        subject="place",
        site="site",
        rows=shelves,
        labels=shelf_labels,
        caution=gettext_lazy("Compare each label with the shelf before it is stuck on."),
        groups=stores_of_shelves,
        group_words=(gettext_lazy("Shelves of one store"), gettext_lazy("all stores")),
    )
)
